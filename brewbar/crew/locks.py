"""How guessing is slowed down: what django-axes counts tries by, and how long it locks.

A password is locked for its name and the address it came from together, so that one forgotten password never locks
a whole shop. A PIN is locked for its person on one station, wherever the tries come from: a second tablet of the
station, or another browser, is no second set of tries, and nobody else on the tablet notices.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from axes.models import AccessAttempt
from axes.utils import reset
from django.conf import settings
from django.db import transaction
from django.db.models import Max, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew import record
from brewbar.crew.models import Cafe, Change, Membership, Station, User

PIN = "pin:"
PASSWORD_LOCKED_FOR = timedelta(minutes=15)
PIN_LOCKED_FOR = timedelta(hours=12)


def name_of(station_pk: int, membership_pk: int) -> str:
    """What the tries of a PIN are counted under. A request that tries one carries it as ``pin_name``."""
    return f"{PIN}{station_pk}:{membership_pk}"


def who(request: Any, credentials: dict[str, Any] | None) -> str | None:
    """The name that a try counts for. Nobody counts as a PIN's by typing such a name where a password is asked."""
    if name := getattr(request, "pin_name", ""):
        return str(name)
    typed = (credentials or request.POST).get("username")
    return f"?{typed}" if typed and str(typed).startswith(PIN) else typed


def counted_by(request: Any, credentials: dict[str, Any] | None = None) -> list[str | list[str]]:
    return ["username"] if getattr(request, "pin_name", "") else [["username", "ip_address"]]


def lasts(request: Any) -> timedelta:
    return PIN_LOCKED_FOR if getattr(request, "pin_name", "") else PASSWORD_LOCKED_FOR


@dataclass(frozen=True)
class Locked:
    """Somebody's PIN that no longer opens one station's tablet; ``since`` is the last wrong try."""

    membership: Membership
    station: Station
    since: datetime


def locked(memberships: Iterable[Membership], stations: Iterable[Station], now: datetime) -> list[Locked]:
    pairs = {name_of(s.pk, m.pk): (m, s) for m in memberships for s in stations}
    tries = (
        AccessAttempt.objects.filter(username__in=pairs, attempt_time__gte=now - PIN_LOCKED_FOR)
        .values_list("username")
        .annotate(tries=Sum("failures_since_start"), last=Max("attempt_time"))
        .order_by("last")
    )
    return [Locked(*pairs[name], last) for name, count, last in tries if count >= settings.AXES_FAILURE_LIMIT]


def locked_in(cafe: Cafe, now: datetime) -> list[Locked]:
    """Every locked PIN of the café's crew."""
    return locked(
        Membership.objects.active().filter(cafe=cafe).select_related("user"), cafe.stations.all(), now
    )


@transaction.atomic
def unlock(membership: Membership, by: User) -> bool:
    """Let the person try again on every station of the café; False where nothing was locked."""
    cafe = membership.cafe
    assert cafe is not None, "an owner has no PIN"
    was_locked = locked([membership], cafe.stations.all(), timezone.now())
    for one in was_locked:
        reset(username=name_of(one.station.pk, membership.pk))
    if was_locked:
        stations = ", ".join(str(one.station) for one in was_locked)
        record.note(
            company=cafe.company,
            cafe=cafe,
            about=Change.About.SIGN_IN,
            what=_("PIN unlocked at %(stations)s") % {"stations": stations},
            subject=membership.user,
            by=by,
        )
    return bool(was_locked)
