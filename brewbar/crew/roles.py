"""Who has which role: changed and ended by those above, never by oneself, and never the last owner's.

A role that changes ends and another begins, so that it stays known who could do what, and when.
"""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from brewbar.crew import joining, record
from brewbar.crew.access import Member
from brewbar.crew.models import Cafe, Change, Company, Membership, Role, User


def given_by(member: Member) -> tuple[Role, ...]:
    """The roles that ``member`` may give, take and renew the password of."""
    return tuple(Role) if member.is_owner else (Role.BARISTA,)


def may_change(member: Member, membership: Membership) -> bool:
    """Whether this role is the member's to change or end. One's own never is."""
    in_reach = membership.company == member.company if member.is_owner else membership.cafe == member.cafe
    return in_reach and membership.role in given_by(member) and membership.user_id != member.user.pk


def why_no_new_password(member: Member, membership: Membership) -> str:
    """Why ``member`` may not make a link for this person's password; empty where nothing speaks against it.

    Whoever makes it could use it: it must open nothing that is above or beyond them.
    """
    theirs = list(Membership.objects.active().filter(user=membership.user_id))
    words = {"name": membership.user.name, "username": membership.user.username}
    if any(one.company_id != member.company.pk for one in theirs):
        return (
            _(
                "%(name)s works for another company too. Whoever runs the server can set a new password there: "
                "python manage.py changepassword %(username)s"
            )
            % words
        )
    if any(one.role == Role.OWNER for one in theirs):
        return (
            _(
                "The password of an owner is renewed on the server: "
                "python manage.py new_owner_link --for %(username)s"
            )
            % words
        )
    if member.is_owner or all(one.cafe_id == member.cafe.pk and one.role == Role.BARISTA for one in theirs):
        return ""
    return _("%(name)s has another role too. An owner can make a link for a new password.") % words


@transaction.atomic
def add(
    user: User,
    *,
    company: Company,
    cafe: Cafe | None,
    role: str,
    by: User,
    now: datetime,
    in_training: bool = False,
) -> Membership:
    """A further role for somebody who has an account. Raises `joining.AlreadyHere`."""
    membership = joining.begin(user, company, cafe, role, in_training=in_training, by=by, now=now)
    _note(membership, _("given a further role"), by, after=joining.described(membership))
    return membership


@transaction.atomic
def set_in_training(membership: Membership, is_so: bool, by: User) -> None:
    """Mark somebody as learning, or as having learnt."""
    changed = Membership.objects.filter(pk=membership.pk, ended_at=None, in_training=not is_so)
    if not changed.update(in_training=is_so):
        return
    before = joining.described(membership)
    membership.in_training = is_so
    what = _("training begun") if is_so else _("training done")
    _note(membership, what, by, before=before, after=joining.described(membership))


@transaction.atomic
def change(
    membership: Membership,
    *,
    role: str,
    cafe: Cafe | None,
    by: User,
    now: datetime,
    in_training: bool = False,
) -> Membership:
    """Another role, or the same one in another café; the PIN for the tablets goes along.

    Raises ValidationError for one's own role and for the last owner's, and `joining.AlreadyHere`.
    """
    old = _held(membership, by)
    if (role, cafe) == (old.role, old.cafe):
        set_in_training(old, in_training, by)
        return old
    if role != Role.OWNER:
        _refuse_the_last_owner(old)
    before = joining.described(old)
    keeps_pin = old.pin_hash and role != Role.OWNER
    pin = {"pin_hash": old.pin_hash, "pin_set_at": old.pin_set_at} if keeps_pin else {}
    _close(old, by, now)
    new = joining.begin(old.user, old.company, cafe, role, in_training=in_training, by=by, now=now, **pin)
    stays = old.cafe if old.cafe == new.cafe else None
    record.note(
        company=old.company,
        cafe=stays,
        about=Change.About.CREW,
        what=_("role changed"),
        subject=old.user,
        by=by,
        before=before,
        after=joining.described(new),
    )
    return new


@transaction.atomic
def end(membership: Membership, by: User, now: datetime) -> None:
    """The role ends at once, on every device. What the person entered stays, under their name.

    Raises ValidationError for one's own role and for the last owner's.
    """
    old = _held(membership, by)
    _refuse_the_last_owner(old)
    before = joining.described(old)
    _close(old, by, now)
    joining.withdraw_passwords_of(old.user, by, now)
    _note(old, _("membership ended"), by, before=before)


def _held(membership: Membership, by: User) -> Membership:
    """The row as it stands, with all roles of its company held still: two owners might end each other at once."""
    if membership.user_id == by.pk:
        raise ValidationError(_("Your own role is for somebody else to change: another owner."))
    Company.objects.select_for_update(no_key=True).get(pk=membership.company_id)
    rows = Membership.objects.select_related("user", "company", "cafe").filter(ended_at=None)
    held = rows.filter(pk=membership.pk).first()
    if held is None:
        raise ValidationError(_("This membership has ended in the meantime."), code="ended")
    return held


def _refuse_the_last_owner(membership: Membership) -> None:
    if membership.role != Role.OWNER:
        return
    owners = Membership.objects.active().filter(company=membership.company, role=Role.OWNER)
    if not owners.exclude(pk=membership.pk).exists():
        raise ValidationError(
            _("%(name)s is the only owner of %(company)s. Make somebody else an owner first."),
            code="last owner",
            params={"name": membership.user, "company": membership.company},
        )


def _close(membership: Membership, by: User, now: datetime) -> None:
    membership.ended_at, membership.pin_hash, membership.pin_set_at = now, "", None
    membership.save(update_fields=["ended_at", "pin_hash", "pin_set_at"])
    joining.withdraw_made_in(membership, by, now)


def _note(
    membership: Membership,
    what: str,
    by: User,
    before: dict[str, str] | None = None,
    after: dict[str, str] | None = None,
) -> None:
    record.note(
        company=membership.company,
        cafe=membership.cafe,
        about=Change.About.CREW,
        what=what,
        subject=membership.user,
        by=by,
        before=before,
        after=after,
    )
