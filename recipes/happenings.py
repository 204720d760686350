"""What happened at the bar that may move the cup: new burrs, a descaled kettle, another water.

Events are added and, if wrong, taken back. Which water a café brews with follows from them alone: the newest event
of another water that stands says it, so that it is known for any moment in the past too.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import models, transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from brewbar.crew import record
from brewbar.crew.access import Member
from brewbar.crew.models import Cafe, User
from recipes.catalogue import NotDone, noted
from recipes.models import BarEvent, BrewWater

Kind = BarEvent.Kind

THING_FIELDS: dict[type[models.Model], str] = {
    model: name
    for name in BarEvent.THINGS
    if isinstance(model := BarEvent._meta.get_field(name).related_model, type)
}
"""Under which name an event keeps which kind of equipment."""

ANYTHING = frozenset({"", *BarEvent.THINGS})
"""The name "" stands for the bar as a whole."""
MACHINES = ANYTHING - {"paper", "brew_water"}
HAPPENS_TO: dict[str, frozenset[str]] = {
    Kind.BURRS: frozenset({"grinder"}),
    Kind.ALIGNED: frozenset({"grinder"}),
    Kind.CLEANED: MACHINES,
    Kind.DESCALED: frozenset({"kettle", ""}),
    Kind.PAPER: frozenset({"paper"}),
    Kind.CARTRIDGE: frozenset({"brew_water", ""}),
    Kind.WATER: frozenset({"brew_water"}),
    Kind.SWAPPED: ANYTHING,
    Kind.REPAIRED: MACHINES,
    Kind.OTHER: ANYTHING,
}
"""Which equipment each kind of event can be about."""

CLOCKS_APART = timedelta(minutes=1)
"""A form shows whole minutes, and a phone's clock may run ahead of the server's."""
OLDEST = timedelta(days=3653)
"""Ten years: what is older is a slip of the year."""


def field_of(thing: models.Model | None) -> str:
    return "" if thing is None else THING_FIELDS[type(thing)]


def key_of(thing: models.Model) -> str:
    """What an address calls a piece of equipment, such as "kettle-12"."""
    return f"{field_of(thing)}-{thing.pk}"


# --- written down and taken back


def add(
    cafe: Cafe,
    kind: str,
    happened_at: datetime,
    by: User,
    now: datetime,
    thing: models.Model | None = None,
    note: str = "",
) -> BarEvent:
    """Write down what happened. Raises NotDone if it cannot be, or if it names a water that is retired."""
    if happened_at > now + CLOCKS_APART:
        raise NotDone(_("This moment is still to come."))
    if field_of(thing) not in HAPPENS_TO[kind]:
        raise NotDone(_("This does not happen to %(thing)s.") % {"thing": thing or _("the bar as a whole")})
    if thing is not None and not _is_at_home(thing, cafe):
        raise NotDone(_("This stands in another café."))
    with transaction.atomic():
        waters = _locked_waters(cafe)
        event = BarEvent(cafe=cafe, kind=kind, happened_at=happened_at, note=note, noted_at=now, noted_by=by)
        if thing is not None:
            setattr(event, field_of(thing), thing)
        event.save(force_insert=True)
        said = {_("when"): _on_the_wall(event)} | ({_("note"): note} if note else {})
        noted(event, _("happened"), by, after=said)
        if kind == Kind.WATER:
            _follow(cafe, waters)
        return event


def take_back(event: BarEvent, by: User, now: datetime) -> None:
    """Have a wrong event count for nothing; it stays to be seen. Raises NotDone if it was taken back before."""
    with transaction.atomic():
        waters = _locked_waters(event.cafe)
        # of=("self",): the tables that a nullable way leads to cannot be locked along with it.
        event = BarEvent.objects.select_for_update(of=("self",)).select_related("cafe").get(pk=event.pk)
        if event.taken_back_at:
            raise NotDone(_("This was taken back already."))
        event.taken_back_at, event.taken_back_by = now, by
        event.save(update_fields=["taken_back_at", "taken_back_by"])
        noted(event, _("taken back"), by, before={_("when"): _on_the_wall(event)})
        if event.kind == Kind.WATER:
            _follow(event.cafe, waters)


def brew_with(water: BrewWater, by: User, now: datetime) -> None:
    """From now on the bar brews with ``water``. Raises NotDone if it is retired."""
    with transaction.atomic():
        there = _locked_waters(water.cafe)[water.pk]
        if not there.in_use_since:
            add(water.cafe, Kind.WATER, now, by, now, there)


def _is_at_home(thing: Any, cafe: Cafe) -> bool:
    if hasattr(thing, "cafe_id"):
        return bool(thing.cafe_id == cafe.pk)
    return bool(thing.company_id == cafe.company_id)


def _locked_waters(cafe: Cafe) -> dict[int, BrewWater]:
    """The café's waters as they are now; whoever retires one, or brews with another, waits."""
    rows = BrewWater.objects.select_for_update().filter(cafe=cafe).order_by("pk")
    return {water.pk: water for water in rows}


def _follow(cafe: Cafe, waters: dict[int, BrewWater]) -> None:
    newest = _standing(cafe).filter(kind=Kind.WATER).first()
    water = waters[newest.brew_water_id] if newest and newest.brew_water_id else None
    if water and water.retired_at:
        raise NotDone(_("The bar would brew with %(name)s, which is retired.") % {"name": water})
    BrewWater.objects.filter(cafe=cafe).update(in_use_since=None)
    if newest and water:
        BrewWater.objects.filter(pk=water.pk).update(in_use_since=newest.happened_at)


def _on_the_wall(event: BarEvent) -> str:
    return f"{event.happened_at.astimezone(event.cafe.zone):%Y-%m-%d %H:%M}"


# --- looking back


def _standing(cafe: Cafe) -> QuerySet[BarEvent]:
    rows: QuerySet[BarEvent] = BarEvent.objects.filter(cafe=cafe, taken_back_at=None)
    return rows


def water_at(cafe: Cafe, at: datetime) -> BrewWater | None:
    """What the café brewed with then; None where nobody has said."""
    newest = (
        _standing(cafe)
        .filter(kind=Kind.WATER, happened_at__lte=at)
        .select_related("brew_water")
        .order_by("-happened_at", "-pk")
        .first()
    )
    return newest.brew_water if newest else None


def waters_of(cafe: Cafe) -> list[tuple[datetime, BrewWater]]:
    """From when on the café brewed with which water, oldest first: what `water_at` says, for many moments."""
    rows = _standing(cafe).filter(kind=Kind.WATER).select_related("brew_water")
    events = rows.order_by("happened_at", "pk")
    return [(event.happened_at, event.brew_water) for event in events if event.brew_water]


def events_between(cafe: Cafe, start: datetime, end: datetime) -> list[BarEvent]:
    """What happened in a café from ``start`` until before ``end`` and was not taken back, oldest first."""
    rows = _standing(cafe).filter(happened_at__gte=start, happened_at__lt=end)
    return list(rows.select_related(*BarEvent.THINGS).order_by("happened_at", "pk"))


def seen_by(member: Member, thing: tuple[str, int] | None = None, kind: str = "") -> QuerySet[BarEvent]:
    """Events that ``member`` may see, newest first, those taken back too; ``thing`` is a field and a key."""
    rows: QuerySet[BarEvent] = BarEvent.objects.for_member(member)
    if thing:
        rows = rows.filter(**{f"{thing[0]}_id": thing[1]})
    if kind:
        rows = rows.filter(kind=kind)
    return rows.select_related("cafe", "noted_by", "taken_back_by", *BarEvent.THINGS)


def last_events(member: Member) -> dict[str, BarEvent]:
    """The newest event of each thing that has one, by its `key_of`."""
    last: dict[str, BarEvent] = {}
    for event in seen_by(member).filter(taken_back_at=None):
        if event.thing is not None:
            last.setdefault(key_of(event.thing), event)
    return last


@dataclass(frozen=True)
class Moment:
    """One line of a thing's history: what happened to it, or what was changed in how it is described."""

    at: datetime
    what: str
    who: str
    note: str = ""
    values: tuple[tuple[str, str, str], ...] = ()
    is_taken_back: bool = False


def history_of(member: Member, thing: models.Model) -> list[Moment]:
    """All that is known of a piece of equipment, newest first."""
    events: Iterable[Any] = seen_by(member, (field_of(thing), thing.pk))
    happened = [
        Moment(
            event.happened_at,
            event.get_kind_display(),
            event.noted_by.name,
            event.note,
            is_taken_back=event.taken_back_at is not None,
        )
        for event in events
    ]
    return sorted([*happened, *changes_of(member, thing)], key=lambda moment: moment.at, reverse=True)


def changes_of(member: Member, row: models.Model) -> list[Moment]:
    """What the record says of a row, newest first; of how it was added, only that it was."""
    return [
        Moment(
            one.change.at,
            one.change.what,
            one.who,
            one.change.why,
            one.values if one.change.before else (),
        )
        for one in record.as_read_by(member, record.of_row(member, row))
    ]
