"""Shared tablets: enrolled once, signed in as their station from then on, until somebody revokes them."""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta
from hashlib import sha256

from django.db import transaction
from django.utils.translation import gettext as _

from brewbar.crew import record
from brewbar.crew.models import Change, Station, Tablet, User

USED_EVERY = timedelta(minutes=10)
"""Last use is for people to read: to the minute it would be a write with every request."""


def _hashed(key: str) -> str:
    return sha256(key.encode()).hexdigest()


@transaction.atomic
def enrol(
    station: Station, label: str, by: User, now: datetime, instead_of: Tablet | None = None
) -> tuple[Tablet, str]:
    """A new tablet, and the key that its browser keeps: nothing else knows it.

    ``instead_of`` is what this browser was before; it ends.
    """
    if instead_of is not None:
        revoke(instead_of, by, now)
    key = secrets.token_urlsafe(32)
    tablet = Tablet.objects.create(
        station=station, label=label, key_hash=_hashed(key), enrolled_at=now, enrolled_by=by
    )
    _note(tablet, _("enrolled as the station's tablet"), by)
    return tablet, key


@transaction.atomic
def revoke(tablet: Tablet, by: User, now: datetime) -> None:
    """From now on the tablet's key opens nothing. Revoking it twice changes nothing."""
    if Tablet.objects.filter(pk=tablet.pk, revoked_at=None).update(revoked_at=now, revoked_by=by):
        _note(tablet, _("revoked"), by)


def _note(tablet: Tablet, what: str, by: User) -> None:
    cafe = tablet.station.cafe
    record.note(company=cafe.company, cafe=cafe, about=Change.About.SIGN_IN, what=what, subject=tablet, by=by)


def found(key: str) -> Tablet | None:
    """The tablet whose browser shows ``key``, unless it was revoked or its station has left service."""
    if not key:
        return None
    rows = Tablet.objects.enrolled().filter(key_hash=_hashed(key), station__retired_at=None)
    tablet: Tablet | None = rows.select_related("station__cafe__company").first()
    return tablet


def mark_used(tablet: Tablet, now: datetime) -> bool:
    """Write that the tablet is in use, if that was not written lately; whether it was."""
    if tablet.last_used_at is not None and now - tablet.last_used_at < USED_EVERY:
        return False
    return bool(Tablet.objects.filter(pk=tablet.pk, revoked_at=None).update(last_used_at=now))
