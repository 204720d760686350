"""What was changed or happened at a bar on which day: to stand beside what its cups did."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.access import Member
from calibration.drift import Asked
from calibration.models import InstrumentCheck, Signal
from recipes import happenings
from recipes.models import Slot, SlotSetting

KINDS = ("batch", "version", "grind", "event", "instrument", "signal")


@dataclass(frozen=True)
class Marker:
    """day: the business day; kind: one of `KINDS`; says: in words; known: whether it may well have moved the cup."""

    day: date
    kind: str
    says: str
    known: bool = True


def markers(member: Member, asked: Asked) -> tuple[Marker, ...]:
    """All of the span, by day. Six queries."""
    found = [
        *_from_the_board(member, asked),
        *_events(asked),
        *_instruments(member, asked),
        *_signals(member, asked),
    ]
    inside = {one for one in found if asked.first <= one.day <= asked.last}
    return tuple(sorted(inside, key=lambda one: (one.day, KINDS.index(one.kind), one.says)))


def _edges(asked: Asked) -> tuple[datetime, datetime]:
    """Moments between which the span surely lies, wherever the café is."""
    zone = asked.cafe.zone
    start = datetime.combine(asked.first, time.min, zone)
    return start.astimezone(UTC), datetime.combine(asked.last, time.max, zone) + timedelta(days=1)


def _from_the_board(member: Member, asked: Asked) -> Iterator[Marker]:
    start, end = _edges(asked)
    slots = Slot.objects.for_member(member).filter(
        board__cafe=asked.cafe, card__recipe__in=[recipe.pk for recipe in asked.recipes]
    )
    day_of = asked.cafe.business_day
    several = len(asked.recipes) > 1
    for slot in slots.filter(published_at__range=(start, end)).select_related("version__recipe"):
        if slot.published_at and slot.version.number > 1:
            what = str(slot.version) if several else _("version %(n)d") % {"n": slot.version.number}
            yield Marker(day_of(slot.published_at), "version", what)
    rows = SlotSetting.objects.filter(slot__in=slots, set_at__lte=end).select_related(
        "roast_batch", "grinder", "slot__card"
    )
    before: dict[int, SlotSetting] = {}
    # Of one station and recipe: a new slot there goes on where the one before ended.
    for row in rows.order_by("set_at", "pk"):
        last = before.get(row.slot.card_id)
        before[row.slot.card_id] = row
        if row.set_at < start or last is None:
            continue
        if row.roast_batch_id != last.roast_batch_id:
            yield Marker(day_of(row.set_at), "batch", _("batch %(label)s") % {"label": row.roast_batch.label})
        if (row.grinder_id, row.grind_setting) != (last.grinder_id, last.grind_setting):
            says = _("grind %(old)s → %(new)s") % {"old": last.grind_setting, "new": row.grind_setting}
            yield Marker(day_of(row.set_at), "grind", says)


def _events(asked: Asked) -> Iterator[Marker]:
    start, end = _edges(asked)
    for event in happenings.events_between(asked.cafe, start, end):
        thing = f" ({event.thing})" if event.thing else ""
        says = f"{event.get_kind_display()}{thing}"
        yield Marker(asked.cafe.business_day(event.happened_at), "event", says)


def _instruments(member: Member, asked: Asked) -> Iterator[Marker]:
    start, end = _edges(asked)
    rows = InstrumentCheck.objects.for_member(member).filter(
        refractometer__cafe=asked.cafe, checked_at__range=(start, end)
    )
    passed: dict[date, int] = {}
    for check in rows.select_related("refractometer"):
        day = asked.cafe.business_day(check.checked_at)
        if check.passed:
            passed[day] = passed.get(day, 0) + 1
        elif not check.unclear:
            yield Marker(day, "instrument", _("%(name)s failed its check") % {"name": check.refractometer})
    for day, n in passed.items():
        says = ngettext("%(n)d instrument check passed", "%(n)d instrument checks passed", n) % {"n": n}
        yield Marker(day, "instrument", says, known=False)


def _signals(member: Member, asked: Asked) -> Iterator[Marker]:
    rows: Any = Signal.objects.for_member(member).filter(
        cafe=asked.cafe,
        question__in=(Signal.Question.MOVED, Signal.Question.INSTRUMENT),
        day__range=(asked.first, asked.last),
    )
    for signal in rows.exclude(state=Signal.State.WITHDRAWN):
        said = {"what": signal.get_question_display(), "side": signal.get_side_display()}
        yield Marker(signal.day, "signal", _("signal: %(what)s, %(side)s") % said, known=False)
