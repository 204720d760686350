"""What was changed at the bars of a report, and when: new versions, batches, grinds, and what happened to equipment.

As `calibration.markers` tells it of one recipe in one café, here of all cafés at once.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from django.utils.translation import gettext as _

from calibration.markers import KINDS
from calibration.models import InstrumentCheck
from calibration.reporting.result import Asked
from recipes.models import BarEvent, Slot, SlotSetting

Found = tuple[int, "Changed"]


@dataclass(frozen=True)
class Changed:
    """day: the café's business day; kind: one of `markers.KINDS`; recipe: which it is about, None for the whole bar."""

    day: date
    kind: str
    recipe: int | None
    says: str


def changes_of(asked: Asked) -> dict[int, list[Changed]]:
    """By café, those of both spans, by day. Four queries."""
    found: dict[int, set[Changed]] = defaultdict(set)
    for cafe, changed in (*_versions(asked), *_settings(asked), *_events(asked), *_instruments(asked)):
        if asked.before[0] <= changed.day <= asked.last:
            found[cafe].add(changed)
    return {
        cafe: sorted(rows, key=lambda one: (one.day, KINDS.index(one.kind), one.recipe or 0, one.says))
        for cafe, rows in found.items()
    }


def edges(asked: Asked) -> tuple[datetime, datetime]:
    """Moments between which both spans surely lie, wherever the cafés are."""
    start = datetime.combine(asked.before[0] - timedelta(days=1), time.min, UTC)
    return start, datetime.combine(asked.last + timedelta(days=2), time.max, UTC)


def _versions(asked: Asked) -> Iterator[Found]:
    slots = Slot.objects.filter(board__cafe__in=asked.cafes, published_at__range=edges(asked))
    cafes = {cafe.pk: cafe for cafe in asked.cafes}
    rows = slots.filter(version__number__gt=1).order_by("published_at", "pk")
    for cafe, at, recipe, number in rows.values_list(
        "board__cafe", "published_at", "version__recipe", "version__number"
    ):
        says = _("version %(n)d") % {"n": number}
        assert at is not None, "in the range that was asked for"
        yield cafe, Changed(cafes[cafe].business_day(at), "version", recipe, says)


def _settings(asked: Asked) -> Iterator[Found]:
    start, end = edges(asked)
    cafes = {cafe.pk: cafe for cafe in asked.cafes}
    rows = SlotSetting.objects.filter(slot__board__cafe__in=asked.cafes, set_at__lte=end)
    rows = rows.select_related("roast_batch", "slot__card", "slot__board").order_by("set_at", "pk")
    before: dict[int, SlotSetting] = {}
    for row in rows:
        # Of one station and recipe: a new slot there goes on where the one before ended.
        card = row.slot.card
        last = before.get(card.pk)
        before[card.pk] = row
        if row.set_at < start or last is None:
            continue
        cafe = row.slot.board.cafe_id
        day = cafes[cafe].business_day(row.set_at)
        if row.roast_batch_id != last.roast_batch_id:
            says = _("batch %(label)s") % {"label": row.roast_batch.label}
            yield cafe, Changed(day, "batch", card.recipe_id, says)
        if (row.grinder_id, row.grind_setting) != (last.grinder_id, last.grind_setting):
            says = _("grind %(old)s → %(new)s") % {"old": last.grind_setting, "new": row.grind_setting}
            yield cafe, Changed(day, "grind", card.recipe_id, says)


def _events(asked: Asked) -> Iterator[Found]:
    cafes = {cafe.pk: cafe for cafe in asked.cafes}
    rows = BarEvent.objects.filter(cafe__in=asked.cafes, happened_at__range=edges(asked), taken_back_at=None)
    for event in rows.select_related(*BarEvent.THINGS).order_by("happened_at", "pk"):
        thing = f" ({event.thing})" if event.thing else ""
        day = cafes[event.cafe_id].business_day(event.happened_at)
        yield event.cafe_id, Changed(day, "event", None, f"{event.get_kind_display()}{thing}")


def _instruments(asked: Asked) -> Iterator[Found]:
    cafes = {cafe.pk: cafe for cafe in asked.cafes}
    rows = InstrumentCheck.objects.filter(
        refractometer__cafe__in=asked.cafes, checked_at__range=edges(asked), passed=False, unclear=False
    )
    for check in rows.select_related("refractometer").order_by("checked_at", "pk"):
        cafe = check.refractometer.cafe_id
        says = _("%(name)s failed its check") % {"name": check.refractometer}
        yield cafe, Changed(cafes[cafe].business_day(check.checked_at), "instrument", None, says)
