"""PINs: chosen by their owner, tried on a shared tablet, and good for nothing else.

A PIN is short because it is typed with wet hands many times a day; what makes it safe is that it only works on an
enrolled tablet, opens a barista's rights alone, and locks after few wrong tries (`locks`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from django.conf import settings
from django.contrib.auth import authenticate
from django.contrib.auth.backends import ModelBackend
from django.contrib.auth.hashers import check_password, make_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew import locks, record
from brewbar.crew.models import Change, Membership, Tablet, User

SHORTEST, LONGEST = 4, 8
ALONG_THE_KEYS = frozenset({"2580", "0852", "1397", "7931", "1379", "9731", "159357", "147258", "258369"})
"""Straight down, round the corners, across, and column by column of a telephone's keys."""


def check_pin(pin: str, known: Iterable[str] = ()) -> None:
    """Raise ValidationError, saying why, for what is no PIN or the first that anybody would try.

    ``known`` are texts that others at the bar know, such as the café's name; their digits are refused as well.
    """
    if not (pin.isascii() and pin.isdecimal() and SHORTEST <= len(pin) <= LONGEST):
        raise ValidationError(
            _("A PIN is %(shortest)d to %(longest)d digits, nothing else."),
            code="form",
            params={"shortest": SHORTEST, "longest": LONGEST},
        )
    if why := _too_easy(pin, known):
        raise ValidationError(_("%(why)s Choose another one."), code="easy", params={"why": why})


def _too_easy(pin: str, known: Iterable[str]) -> str:
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(pin)}
    if steps == {0}:
        return _("The same digit all along is tried first.")
    if steps in ({1}, {9}):
        return _("Digits that count up or down are tried first.")
    if any(pin == pin[:size] * (len(pin) // size) for size in range(2, len(pin) // 2 + 1)):
        return _("The same digits over again are tried first.")
    if pin[0::2] == pin[1::2]:
        return _("Doubled digits are tried first.")
    if re.fullmatch(r"(19|20)\d\d", pin):
        return _("That looks like a year, and years are tried first.")
    if pin in ALONG_THE_KEYS:
        return _("That is a line or a corner on the keys, and those are tried first.")
    if any(pin in re.sub(r"\D", "", text) for text in known):
        return _("Others at the bar know these digits from a name or an address.")
    return ""


def known_of(membership: Membership) -> list[str]:
    """What everybody at the bar knows that has digits in it."""
    cafe, user = membership.cafe, membership.user
    assert cafe is not None, "an owner has no PIN"
    return [cafe.name, membership.company.name, str(cafe.altitude_m), user.username, user.name, user.email]


@transaction.atomic
def set_pin(membership: Membership, pin: str, by: User) -> None:
    """Give ``membership`` the PIN that its owner ``by`` chose. Raises ValidationError for an easy one."""
    if by.pk != membership.user_id:
        raise ValueError("A PIN is chosen by its owner.")
    check_pin(pin, known_of(membership))
    had_one = bool(membership.pin_hash)
    membership.pin_hash, membership.pin_set_at = make_password(pin), timezone.now()
    membership.save(update_fields=["pin_hash", "pin_set_at"])
    _note(membership, _("PIN changed") if had_one else _("PIN chosen"), membership.user, by=by)


@dataclass(frozen=True)
class Tried:
    """What came of one try: ``left`` more before the PIN is locked."""

    user: User | None
    left: int = 0

    @property
    def is_locked(self) -> bool:
        return self.user is None and not self.left


def try_pin(request: Any, tablet: Tablet, membership: Membership, pin: str) -> Tried:
    """Whether ``pin`` opens the tablet for this member of its crew."""
    with transaction.atomic():
        # One try after the other: sent all at once, they would all be looked at before the first is counted.
        locked_row = Membership.objects.select_for_update().get(pk=membership.pk)
        request.pin_name = locks.name_of(tablet.station_id, membership.pk)
        if locks.locked([membership], [tablet.station], timezone.now()):
            return Tried(None)
        user = authenticate(request, username=request.pin_name, pin=pin, membership=locked_row)
        if user is not None:
            return Tried(user, left=settings.AXES_FAILURE_LIMIT)
        left = max(settings.AXES_FAILURE_LIMIT - (request.axes_failures_since_start or 0), 0)
        # The page for a locked PIN says it more kindly than the one for passwords.
        request.axes_locked_out = False
        what = _("PIN refused") if left else _("PIN refused, and locked")
        _note(membership, what, tablet.station, by_name=membership.user.name)
        return Tried(None, left)


def _note(
    membership: Membership, what: str, subject: object, by: User | None = None, by_name: str = ""
) -> None:
    record.note(
        company=membership.company,
        cafe=membership.cafe,
        about=Change.About.SIGN_IN,
        what=what,
        subject=subject,
        by=by,
        by_name=by_name,
    )


class PinBackend(ModelBackend):
    """Knows a member of a café's crew by PIN. Django asks it only when a PIN is what it is given."""

    def authenticate(  # type: ignore[override]
        self, request: Any, *, username: str, pin: str, membership: Membership
    ) -> User | None:
        is_right = bool(membership.pin_hash) and check_password(pin, membership.pin_hash)
        return membership.user if is_right and self.user_can_authenticate(membership.user) else None
