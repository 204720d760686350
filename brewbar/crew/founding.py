"""Opening a company with its first café and owner, and adding people to it."""

from __future__ import annotations

import unicodedata

from django.contrib.auth.password_validation import validate_password
from django.db import transaction
from django.utils.translation import gettext as _

from brewbar.crew import record
from brewbar.crew.models import Cafe, Change, Company, Membership, Role, Station, User

FIRST_STATION = "Station 1"
"""A board needs one; it can be renamed."""


def sign_in_name(typed: str) -> str:
    """The sign-in name as it is kept: one for all the ways in which it can be typed."""
    return unicodedata.normalize("NFKC", typed).strip().lower()


def new_person(*, username: str, name: str, password: str) -> User:
    """A person without a role. Raises ValidationError when the name is taken or the password too easy."""
    user = User(username=sign_in_name(username), name=name.strip())
    user.set_unusable_password()
    user.full_clean()
    validate_password(password, user)
    user.set_password(password)
    user.save()
    return user


@transaction.atomic
def open_company(
    *,
    company: str,
    cafe: str,
    time_zone: str,
    altitude_m: int,
    username: str,
    name: str,
    password: str,
    **style: str,
) -> Cafe:
    """A company with one café, one station and an owner; altitude in metres.

    ``style`` are the company's decimal mark, unit of temperature and order of dates, where they are not the usual
    ones. Raises ValidationError when a name is taken, the time zone unknown or the password too easy.
    """
    owned = Company(name=company.strip(), **style)
    owned.full_clean()
    owned.save()
    first = Cafe(company=owned, name=cafe.strip(), time_zone=time_zone, altitude_m=altitude_m)
    first.full_clean()
    first.save()
    Station.objects.create(cafe=first, name=FIRST_STATION)
    owner = new_person(username=username, name=name, password=password)
    Membership.objects.create(user=owner, company=owned, role=Role.OWNER)
    record.note(
        company=owned,
        about=Change.About.SETTING,
        what=_("opened"),
        subject=owned,
        by=owner,
        after=record.snapshot(first),
    )
    return first


@transaction.atomic
def add_person(*, cafe: Cafe, role: Role, username: str, name: str, password: str) -> Membership:
    """A new person with a role in ``cafe``, or over its company for an owner.

    Raises ValidationError when the sign-in name is taken or the password too easy.
    """
    user = new_person(username=username, name=name, password=password)
    at = None if role == Role.OWNER else cafe
    membership = Membership(user=user, company=cafe.company, cafe=at, role=role)
    membership.full_clean()
    membership.save()
    record.note(
        company=membership.company,
        cafe=at,
        about=Change.About.CREW,
        what=_("added as %(role)s") % {"role": membership.get_role_display()},
        subject=user,
        by=None,
    )
    return membership
