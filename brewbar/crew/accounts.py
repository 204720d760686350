"""What people change about themselves: told to every company that they work for."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from brewbar.crew import record
from brewbar.crew.models import Change, Key, User

TOLD = ("name",)
"""Of an account, what concerns others. An address and a taste in figures are the person's own."""


@transaction.atomic
def save(user: User) -> None:
    """Keep what somebody set for themselves."""
    before = record.snapshot(User.objects.select_for_update(no_key=True).get(pk=user.pk), TOLD)
    user.save()
    after = record.snapshot(user, TOLD)
    if before != after:
        _note(user, Change.About.CREW, _("renamed"), before, after)


@transaction.atomic
def change_password(user: User, password: str) -> None:
    """The new password. It ends all other sessions, since each carries a hash of the old one."""
    user.set_password(password)
    user.save(update_fields=["password"])
    _note(user, Change.About.SIGN_IN, _("password changed"))


def said_of_new_password(user: User, now: datetime) -> str:
    """What the new password ends, and what it does not: a program goes on with its key."""
    said = _("Your password is changed. Other devices are signed out.")
    if not Key.objects.working_at(now).filter(membership__user=user).exists():
        return said
    return f"{said} {_('Your keys for other programs still open: revoke those that you do not know.')}"


def _note(
    user: User,
    about: Change.About,
    what: str,
    before: Mapping[str, str] | None = None,
    after: Mapping[str, str] | None = None,
) -> None:
    memberships = list(user.memberships.active().select_related("company", "cafe"))
    for company in {one.company for one in memberships}:
        cafes = {one.cafe for one in memberships if one.company == company}
        record.note(
            company=company,
            # Of several cafés, or an owner's: theirs all.
            cafe=cafes.pop() if len(cafes) == 1 else None,
            about=about,
            what=what,
            subject=user,
            by=user,
            before=before,
            after=after,
        )
