"""Who changed what: written in the transaction of the change itself, so that neither stands without the other.

A job module takes a `snapshot` of a row before it changes it and calls `note` after. What is noted is text as a
page would write it: the record stays readable when what it names has long been renamed or retired.
Numbers and dates are kept in one style, whoever made the change: `brewbar.units.AS_KEPT`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import models, transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.text import Truncator
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from brewbar.crew import how_named
from brewbar.crew.access import Member
from brewbar.crew.models import Cafe, Change, Company, Naming, User
from brewbar.units import AS_KEPT, written_as

CONSOLE = gettext_lazy("the server's console")

_through: ContextVar[str] = ContextVar("through", default="")


@contextmanager
def through(device: str) -> Iterator[None]:
    """Whatever is noted inside came from ``device``, such as a tablet."""
    token = _through.set(device)
    try:
        yield
    finally:
        _through.reset(token)


@written_as(AS_KEPT)
def snapshot(row: models.Model, fields: Iterable[str] | None = None) -> dict[str, str]:
    """{name of a field: what a page would write} of ``row``: all that people fill in, or only ``fields``."""
    wanted = None if fields is None else set(fields)
    return {
        str(field.verbose_name): _written(row, field)
        for field in row._meta.concrete_fields
        if (_is_filled_in(field) if wanted is None else field.name in wanted)
    }


def _is_filled_in(field: models.Field[object, object]) -> bool:
    return field.editable and not field.primary_key and field.name != "company"


def _written(row: models.Model, field: models.Field[object, object]) -> str:
    if field.is_relation:
        related = getattr(row, field.name)
        return "" if related is None else str(related)
    value = getattr(row, field.name)
    if value is None:
        return ""
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if field.choices:
        return str(getattr(row, f"get_{field.name}_display")())
    # 250 and 250.0 say the same, and a row just typed has not been through the database yet.
    return f"{value.normalize():f}" if isinstance(value, Decimal) else str(value)


def row_key(row: models.Model) -> str:
    """What a row is called in the record for good, such as "recipes.kettle 12"."""
    return f"{row._meta.label_lower} {row.pk}"


def note(
    *,
    company: Company,
    about: str,
    what: str,
    subject: object,
    by: User | None,
    cafe: Cafe | None = None,
    before: Mapping[str, str] | None = None,
    after: Mapping[str, str] | None = None,
    why: str = "",
    by_name: str = "",
    row: models.Model | None = None,
    at: datetime | None = None,
) -> Change:
    """Add to the record; of ``before`` and ``after`` only what differs is kept.

    ``about`` is a `Change.About`; ``what`` a short phrase such as "renamed"; ``row`` what the subject stands for,
    where that is not a row itself; ``at`` when, where that is not now. ``by`` is None for the server's console, or
    for somebody not signed in whom ``by_name`` names. Raises RuntimeError outside a transaction.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("A change and its record are written in one transaction.")
    old, new = dict(before or {}), dict(after or {})
    differing = [name for name in {**old, **new} if old.get(name, "") != new.get(name, "")]
    old = {name: old[name] for name in differing if old.get(name)}
    new = {name: new[name] for name in differing if new.get(name)}
    row = subject if row is None and isinstance(subject, models.Model) else row
    change = Change(
        company=company,
        cafe=cafe,
        at=at or timezone.now(),
        by=by,
        by_name=by.name if by else by_name or str(CONSOLE),
        through=_through.get(),
        about=about,
        what=Truncator(what).chars(200),
        subject=Truncator(str(subject)).chars(200),
        row=row_key(row) if row is not None and row.pk else "",
        before=old,
        after=new,
        why=Truncator(why).chars(300),
    )
    change.words = words_of(change)
    change.save(force_insert=True)
    return change


def words_of(change: Change) -> str:
    """All of a change in small letters, for searching."""
    told = [change.by_name, change.through, change.what, change.subject, change.why]
    # In one order, whichever the database keeps the keys of JSON in.
    told += sorted({*change.before, *change.after, *change.before.values(), *change.after.values()})
    return "\n".join(told).casefold()


# --- looking back


@dataclass(frozen=True)
class Noted:
    """One change as a member may read it: ``values`` are (field, before, after).

    ``who`` may stay unnamed, and then ``why`` and ``through`` unsaid, since they may tell who it was.
    """

    change: Change
    who: str
    why: str
    through: str
    values: tuple[tuple[str, str, str], ...]


def looked_up(
    member: Member,
    text: str = "",
    about: str = "",
    since: datetime | None = None,
    until: datetime | None = None,
) -> QuerySet[Change]:
    """What ``member`` may read of the record, newest first; every word of ``text`` has to occur.

    Owners find changes of readings too, but not by a name or a number in them unless they were always shown names.
    """
    rows = Change.objects.for_member(member)
    if about:
        rows = rows.filter(about=about)
    if since:
        rows = rows.filter(at__gte=since)
    if until:
        rows = rows.filter(at__lt=until)
    words = text.casefold().split()
    if words and member.is_owner and how_named.of(member.company).always != Naming.NAMES:
        rows = rows.exclude(about=Change.About.READING)
    for word in words:
        rows = rows.filter(words__contains=word)
    found: QuerySet[Change] = rows.select_related("cafe")
    return found


def of_row(member: Member, row: models.Model) -> QuerySet[Change]:
    """What ``member`` may read of what was changed in ``row``, newest first."""
    found: QuerySet[Change] = Change.objects.for_member(member).filter(row=row_key(row))
    return found


def as_read_by(member: Member, changes: Iterable[Change]) -> list[Noted]:
    """The changes as a page may write them for ``member``."""
    shown = how_named.of(member.company) if member.is_owner else None
    return [
        Noted(change, _("somebody of the crew"), "", "", ())
        if shown and change.about == Change.About.READING and shown.on(_brewed_on(change)) != Naming.NAMES
        else Noted(change, change.by_name, change.why, change.through, _values(change))
        for change in changes
    ]


def _brewed_on(change: Change) -> date:
    """The business day that the subject of a reading ends with; where it ends otherwise, before all others."""
    try:
        return date.fromisoformat(change.subject[-10:])
    except ValueError:
        return date.min


def _values(change: Change) -> tuple[tuple[str, str, str], ...]:
    names = {**change.before, **change.after}
    return tuple((name, change.before.get(name, ""), change.after.get(name, "")) for name in names)
