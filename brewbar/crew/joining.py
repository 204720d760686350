"""Links that open once: to join a café or a company, or to choose a new password. Nobody needs a mail server.

Whoever holds a link can use it, so it lasts three days, is kept only as a hash, and is withdrawn as soon as what it
was made for no longer holds: see `begin`, and `brewbar.crew.roles`.
"""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils.translation import gettext as _

from brewbar.crew import record
from brewbar.crew.founding import new_person
from brewbar.crew.models import Cafe, Change, Company, Membership, OneTimeLink, Role, User

LASTS = timedelta(hours=72)


class Gone(Exception):
    """The link opens nothing: used, withdrawn, too old, or never made. Which of them, nobody is told."""


class AlreadyHere(Exception):
    """The person has a role at that place already: ``membership``."""

    def __init__(self, membership: Membership) -> None:
        super().__init__(str(membership))
        self.membership = membership


def address_of(key: str) -> str:
    return settings.BASE_URL + reverse("crew:join", args=[key])


def described(row: Membership | OneTimeLink) -> dict[str, str]:
    """What the record keeps of a role that somebody has or is invited to."""
    return {
        _("role"): str(row.get_role_display()),
        _("café"): str(row.cafe or ""),
        _("in training"): _("yes") if row.in_training else "",
    }


# --- made and withdrawn


@transaction.atomic
def invite(
    *,
    company: Company,
    cafe: Cafe | None,
    role: str,
    by: User | None,
    now: datetime,
    name: str = "",
    in_training: bool = False,
) -> tuple[OneTimeLink, str]:
    """A link that gives somebody new a role, and its key: nothing else knows it. ``by`` is None for the console."""
    link, key = _made(
        kind=OneTimeLink.Kind.JOIN,
        company=company,
        cafe=cafe,
        role=role,
        in_training=in_training,
        name=name,
        made_by=by,
        made_at=now,
    )
    _note(link, _("invited"), by, after=described(link))
    return link, key


@transaction.atomic
def offer_new_password(membership: Membership, by: User | None, now: datetime) -> tuple[OneTimeLink, str]:
    """A link with which the person chooses a new password, and its key. An earlier one is withdrawn."""
    withdraw_passwords_of(membership.user, by, now)
    link, key = _made(
        kind=OneTimeLink.Kind.PASSWORD,
        company=membership.company,
        cafe=membership.cafe,
        role=membership.role,
        for_user=membership.user,
        made_by=by,
        made_at=now,
    )
    _note(link, _("link for a new password made"), by)
    return link, key


@transaction.atomic
def withdraw(link: OneTimeLink, by: User | None, now: datetime) -> bool:
    """From now on the link opens nothing; False where it did not open anything before either."""
    still_open = OneTimeLink.objects.open_at(now).filter(pk=link.pk)
    if not still_open.update(withdrawn_at=now):
        return False
    what = _("invitation withdrawn") if link.for_user is None else _("link for a new password withdrawn")
    _note(link, what, by)
    return True


def withdraw_passwords_of(user: User, by: User | None, now: datetime) -> None:
    for link in OneTimeLink.objects.open_at(now).filter(for_user=user):
        withdraw(link, by, now)


def withdraw_made_in(role: Membership, by: User | None, now: datetime) -> None:
    """What somebody made in a role that they no longer have must not bring them back."""
    made = OneTimeLink.objects.open_at(now).filter(made_by=role.user, company=role.company)
    for link in made if role.role == Role.OWNER else made.filter(cafe=role.cafe):
        withdraw(link, by, now)


def _made(*, made_at: datetime, **fields: Any) -> tuple[OneTimeLink, str]:
    key = secrets.token_urlsafe(32)
    link = OneTimeLink.objects.create(
        key_hash=_hashed(key), made_at=made_at, expires_at=made_at + LASTS, **fields
    )
    return link, key


def _hashed(key: str) -> str:
    return sha256(key.encode()).hexdigest()


def _note(link: OneTimeLink, what: str, by: User | None, after: dict[str, str] | None = None) -> None:
    record.note(
        company=link.company,
        cafe=link.cafe,
        about=Change.About.CREW,
        what=what,
        subject=link.for_user or link.name or _("somebody new"),
        by=by,
        after=after,
    )


# --- opened


def opened(key: str, now: datetime) -> OneTimeLink:
    """The link that ``key`` opens. Raises Gone."""
    return _opened(key, now, OneTimeLink.objects.all())


def _opened(key: str, now: datetime, rows: Any) -> OneTimeLink:
    link: OneTimeLink | None = (
        rows.open_at(now)
        .filter(key_hash=_hashed(key))
        .select_related("company", "cafe", "for_user", "made_by")
        .first()
    )
    if link is None:
        raise Gone
    return link


def _taken(key: str, kind: str, now: datetime) -> OneTimeLink:
    """The link, held until the transaction ends: of two at once the second finds it used."""
    return _opened(key, now, OneTimeLink.objects.filter(kind=kind).select_for_update(of=("self",)))


def _use(link: OneTimeLink, user: User, now: datetime) -> None:
    link.used_at, link.used_by = now, user
    link.save(update_fields=["used_at", "used_by"])


@transaction.atomic
def join_as_new(key: str, *, name: str, username: str, password: str, now: datetime) -> Membership:
    """A new person with the role that the link gives.

    Raises Gone, or ValidationError when the sign-in name is taken or the password too easy.
    """
    link = _taken(key, OneTimeLink.Kind.JOIN, now)
    try:
        with transaction.atomic():
            user = new_person(username=username, name=name, password=password)
    except IntegrityError as taken:
        raise ValidationError({"username": _("This sign-in name is taken.")}) from taken
    return _join(link, user, now)


@transaction.atomic
def join(key: str, user: User, now: datetime) -> Membership:
    """The role that the link gives, to somebody who has an account. Raises Gone and AlreadyHere."""
    return _join(_taken(key, OneTimeLink.Kind.JOIN, now), user, now)


def _join(link: OneTimeLink, user: User, now: datetime) -> Membership:
    membership = begin(
        user, link.company, link.cafe, link.role, in_training=link.in_training, by=user, now=now
    )
    _use(link, user, now)
    record.note(
        company=link.company,
        cafe=link.cafe,
        about=Change.About.CREW,
        what=_("joined"),
        subject=user,
        by=user,
        after=described(membership),
        why=_("invited as %(name)s") % {"name": link.name} if link.name and link.name != user.name else "",
    )
    return membership


@transaction.atomic
def begin(
    user: User,
    company: Company,
    cafe: Cafe | None,
    role: str,
    *,
    by: User | None,
    now: datetime,
    in_training: bool = False,
    **pin: Any,
) -> Membership:
    """A role for somebody, with the ``pin`` fields of an earlier one if need be. Raises AlreadyHere.

    Whoever made a link for this person's password knew of fewer roles than it would open from now on.
    """
    withdraw_passwords_of(user, by, now)
    here = Membership.objects.filter(user=user, company=company, cafe=cafe, ended_at=None)
    if found := here.first():
        raise AlreadyHere(found)
    try:
        with transaction.atomic():
            return Membership.objects.create(
                user=user,
                company=company,
                cafe=cafe,
                role=role,
                in_training=in_training and role != Role.OWNER,
                **pin,
            )
    except IntegrityError:
        raise AlreadyHere(here.get()) from None


@transaction.atomic
def renew_password(key: str, password: str, now: datetime) -> User:
    """The new password. It ends all sessions of the person, since each carries a hash of the old one.

    Raises Gone, or ValidationError when the password is too easy.
    """
    link = _taken(key, OneTimeLink.Kind.PASSWORD, now)
    user = link.for_user
    assert user is not None, "held by the database"
    validate_password(password, user)
    user.set_password(password)
    user.save(update_fields=["password"])
    _use(link, user, now)
    _note(link, _("new password by link"), user)
    return user
