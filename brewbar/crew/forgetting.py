"""Whoever left becomes a pseudonym some months later, as their companies have set: the name goes, the results stay.

It goes from the account, from the links that they came by, and from the record of changes. Not from what people typed
as free text, a note or a reason: nothing can find a name there surely. And not from backups made before.

A pseudonym is no anonymity. Whoever remembers when somebody worked here can still tell who that was.
"""

from __future__ import annotations

import calendar
import re
import secrets
from dataclasses import dataclass
from datetime import datetime

from axes.utils import reset
from django.apps import apps
from django.db import transaction
from django.db.models import Exists, Max, Min, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from brewbar import frozen
from brewbar.crew import joining, record
from brewbar.crew.models import Answered, Change, Company, Membership, OneTimeLink, Role, User

AT_ONCE = 500
NUMBERED = re.compile(r"(\d+)$")


@dataclass(frozen=True)
class Leaver:
    """Somebody without a role anywhere. on: from when their name is due to go."""

    user: User
    left_at: datetime
    on: datetime


def leavers(company: Company | None = None) -> list[Leaver]:
    """Everybody whose name is to go some day, the next first; with ``company`` those who had a role there.

    With several companies the shortest time that any of them has set runs from the end of the last role at all.
    """
    still_here = Membership.objects.filter(user=OuterRef("pk"), ended_at=None)
    users: QuerySet[User] = User.objects.filter(~Exists(still_here), forgotten_at=None)
    if company is not None:
        users = users.filter(Exists(Membership.objects.filter(user=OuterRef("pk"), company=company)))
    gone = users.annotate(
        left_at=Max("memberships__ended_at"), months=Min("memberships__company__forget_after_months")
    ).filter(left_at__isnull=False, months__isnull=False)
    found = [Leaver(user, user.left_at, months_after(user.left_at, user.months)) for user in gone]
    return sorted(found, key=lambda one: (one.on, one.user.pk))


def months_after(at: datetime, months: int) -> datetime:
    """The same day of a later month, or its last where it has no such day."""
    years, month = divmod(at.month - 1 + months, 12)
    year, month = at.year + years, month + 1
    return at.replace(year=year, month=month, day=min(at.day, calendar.monthrange(year, month)[1]))


def due(now: datetime) -> list[Leaver]:
    """Whose name goes now, in an order that tells nothing."""
    found = [one for one in leavers() if one.on <= now]
    secrets.SystemRandom().shuffle(found)
    return found


@transaction.atomic
def forget(user: User, now: datetime) -> str:
    """Let the name of somebody go who is due, and say the pseudonym; "" where they came back or are forgotten."""
    theirs_of = Membership.objects.filter(user=user).values("company")
    # Held still, in the order of keys: two at once would take the same number.
    companies = Company.objects.select_for_update(no_key=True).filter(pk__in=theirs_of)
    theirs = list(companies.order_by("pk"))
    row = User.objects.select_for_update(no_key=True).get(pk=user.pk)
    if row.forgotten_at or row.memberships.filter(ended_at=None).exists():
        return ""
    names = _names_of(row)
    pseudonym = _pseudonym(row, theirs)
    reset(username=row.username)
    _rename_links(row, pseudonym)
    _rename_record(row, names, theirs, pseudonym)
    row.name, row.username, row.email = pseudonym, f"former-{secrets.token_hex(12)}", ""
    row.decimal_mark = row.temperature_unit = row.date_order = ""
    row.is_active, row.last_login, row.forgotten_at = False, None, now
    # Each session carries a hash of the password, so that this ends them all.
    row.set_unusable_password()
    row.save()
    row.memberships.update(pin_hash="", pin_set_at=None)
    for link in OneTimeLink.objects.open_at(now).filter(Q(for_user=row) | Q(made_by=row)):
        joining.withdraw(link, None, now)
    # They hold names; a younger one is of a time when this person had left.
    Answered.objects.drop_old(now)
    for company in theirs:
        what = _("became a pseudonym")
        record.note(company=company, about=Change.About.CREW, what=what, subject=row, by=None, at=now)
    return pseudonym


def _pseudonym(user: User, companies: list[Company]) -> str:
    """Numbered in the order of going, on from the highest of all these companies, so that no number comes twice."""
    forgotten = User.objects.filter(memberships__company__in=companies, forgotten_at__isnull=False)
    taken = [
        int(found[1]) for name in forgotten.values_list("name", flat=True) if (found := NUMBERED.search(name))
    ]
    only_owned = not user.memberships.exclude(role=Role.OWNER).exists()
    said = _("Former owner %(number)d") if only_owned else _("Former barista %(number)d")
    return said % {"number": max(taken, default=0) + 1}


def _names_of(user: User) -> set[str]:
    """Every name that the person is known to have had here, and those they were invited by."""
    by = Change.objects.filter(by=user).values_list("by_name", flat=True)
    about = Change.objects.filter(row=record.row_key(user))
    links = OneTimeLink.objects.filter(used_by=user).values_list("name", flat=True)
    names = {user.name, *by.distinct(), *links}
    for subject, before, after in about.values_list("subject", "before", "after"):
        names.add(subject)
        # A name that was changed: what it became is what the row is about.
        names.update(before.get(field, "") for field, value in after.items() if value == subject)
    return names - {""}


def _rename_links(user: User, pseudonym: str) -> None:
    with frozen.names_lifted("crew_onetimelink"):
        OneTimeLink.objects.filter(used_by=user).exclude(name="").update(name=pseudonym)


def _rename_record(user: User, names: set[str], companies: list[Company], pseudonym: str) -> None:
    """Where a namesake works in the same company, only what is surely about the person or by them."""
    others = User.objects.filter(memberships__company__in=companies).exclude(pk=user.pk)
    namesakes = {name.casefold() for name in others.values_list("name", flat=True)}
    own = {name for name in names if name.casefold() not in namesakes}
    key = record.row_key(user)
    wanted = Q(by=user) | Q(row=key)
    for name in own:
        wanted |= Q(company__in=companies, words__contains=name.casefold())
    keys = list(Change.objects.filter(wanted).order_by("pk").values_list("pk", flat=True))
    with frozen.names_lifted("crew_change"):
        for start in range(0, len(keys), AT_ONCE):
            rows = list(Change.objects.filter(pk__in=keys[start : start + AT_ONCE]))
            for row in rows:
                _rename(row, user, names if row.row == key else own, pseudonym)
            Change.objects.bulk_update(rows, sorted(frozen.NAMES_IN["crew_change"]))


def _rename(row: Change, user: User, names: set[str], pseudonym: str) -> None:
    """Where a name stands by itself; within a sentence only of what is about the person."""
    is_about = row.row == record.row_key(user)
    if row.by_id == user.pk or (row.by_id is None and row.by_name in names):
        row.by_name = pseudonym
    if is_about or (not row.row and row.subject in names):
        row.subject = pseudonym
    kept = frozenset() if is_about else _no_people_in(row.row)
    for values in (row.before, row.after):
        values |= {f: pseudonym for f, value in values.items() if value in names and f not in kept}
    if is_about:
        for name in sorted(names, key=len, reverse=True):
            row.why = row.why.replace(name, pseudonym)
    row.words = record.words_of(row)


def _no_people_in(key: str) -> frozenset[str]:
    """Fields of a row, such as "recipes.coffee 3", that hold no person: a coffee may be called as somebody is."""
    try:
        fields = apps.get_model(key.split(" ")[0])._meta.concrete_fields
    except (LookupError, ValueError):
        return frozenset()
    return frozenset(str(field.verbose_name) for field in fields if field.related_model is not User)
