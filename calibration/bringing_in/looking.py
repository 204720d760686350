"""Every row of a sheet with its verdict: whether it is a reading as the form would take one, and what is doubtful.

The same sheet is looked at twice, once to be shown and once more as it is brought in.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from itertools import islice
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _

from brewbar import dates
from brewbar.crew.models import Cafe
from calibration import checking, recording
from calibration.bringing_in.known import Known
from calibration.bringing_in.slots import Slots
from calibration.bringing_in.turning import Given, Missing, Turner, With
from calibration.bringing_in.uploads import Upload
from calibration.entry import FEWEST_DROPS, Entry
from calibration.importing import settling
from calibration.importing.mapping import Mapping
from calibration.importing.raw import address
from calibration.importing.reading import Sheet
from calibration.importing.said import Said
from calibration.importing.verdicts import Row, Verdicts
from calibration.models import Drop, Reading

TOGETHER = 500
GOOD, BAD, OUT = "good", "bad", "out"

Tell = Callable[[int, int], object]
"""Is told how many rows are done, of how many."""

_STANDS_UNDER = {
    "minutes": "brew_time_s",
    "brewed_at": "day",
    "roast_batch": "batch",
    "refractometer": "instrument",
}
"""Fields of an entry that have another name in a sheet."""


@dataclass(slots=True)
class Looked:
    """number: of the row; state: GOOD, BAD or OUT; doubts: what the form would have asked; entry: None unless good."""

    number: int
    state: str
    problems: tuple[Said, ...] = ()
    remarks: tuple[Said, ...] = ()
    doubts: tuple[Said, ...] = ()
    left_out: str = ""
    entry: Entry | None = None
    made_with: With | None = None


@dataclass
class Look:
    """All that is needed to look at one upload's rows, read once. now: the moment that holds for all of them."""

    cafe: Cafe
    mapping: Mapping
    given: Given
    known: Known
    now: datetime
    slots: Slots

    @classmethod
    def at(cls, upload: Upload, cafe: Cafe, now: datetime) -> Look:
        known = Known(cafe, upload.names)
        return cls(cafe, upload.columns, Given.of(known, upload.given), known, now, Slots.of(cafe))

    def __post_init__(self) -> None:
        self._ground = recording.Ground.of(self.cafe)
        self._places = {one.field: one.place for one in reversed(self.mapping.columns)}

    def rows(self, sheet: Sheet, tell: Tell = lambda done, of: None) -> Iterator[Looked]:
        today = self.cafe.business_day(self.now)
        settled = settling.settle(sheet, self.mapping, today)
        verdicts = Verdicts(sheet, self.mapping, settled, self.known.names(self.mapping.kind), today)
        self.slots.made.clear()
        self._turner = Turner(self.cafe, self.known, self.slots, self.given)
        rows, done = iter(verdicts), 0
        while together := [self._looked(row) for row in islice(rows, TOGETHER)]:
            _mark_known(self.cafe, together)
            for one in together:
                if one.made_with is not None and one.made_with.made is not None and one.entry is not None:
                    one.made_with.made.count(one.entry)
                yield one
            done += len(together)
            tell(done, sheet.count)

    def _looked(self, row: Row) -> Looked:
        if row.left_out:
            return Looked(row.number, OUT, left_out=row.left_out)
        if row.problems:
            return Looked(row.number, BAD, row.problems, row.remarks)
        try:
            entry, said, made_with = self._turner.entry(row.values)
        except Missing as missing:
            return Looked(row.number, BAD, (self._said(row, missing.field, missing.says),), row.remarks)
        remarks = (*row.remarks, self._said(row, "time", said)) if said else row.remarks
        if problems := checking.problems(entry, self.now, made_with.problems):
            told = dict.fromkeys(self._said(row, one.field, one.says) for one in problems)
            return Looked(row.number, BAD, tuple(told), remarks)
        if len(entry.drops) < FEWEST_DROPS:
            remarks = (*remarks, self._said(row, "tds", _one_drop()))
        doubts = tuple(self._doubts(row, entry))
        return Looked(row.number, GOOD, (), remarks, doubts, entry=entry, made_with=made_with)

    def _doubts(self, row: Row, entry: Entry) -> Iterator[Said]:
        question = recording.ask(entry, self.now, self._ground)
        for doubt in question.doubts:
            yield self._said(row, _ABOUT.get(doubt.key.partition(":")[0], ""), doubt.says)
        if question.rinse_water:
            says = _("More coffee than the bed can have let through: was rinse water left in the server?")
            yield self._said(row, "weight_g", says)
        left = self.known.left.get(entry.barista.pk)
        if left is not None and entry.brewed_at is not None and entry.brewed_at > left:
            says = _("%(who)s had left this crew by then, on %(day)s.")
            day = dates.day(left.astimezone(self.cafe.zone), year=True)
            yield self._said(row, "barista", says % {"who": entry.barista.name, "day": day})
        if question.more_drops:
            yield self._said(row, "tds", question.more_drops)

    def _said(self, row: Row, about: str, says: str) -> Said:
        key = "tds" if about.startswith("drop_") else _STANDS_UNDER.get(about, about)
        if key == "weight_g":
            key = "beverage_g" if "beverage_g" in row.values else "gross_g"
        if key == "day" and "day" not in self._places:
            key = "moment"
        place = self._places.get(key)
        return Said(f"{row.number}" if place is None else address(row.number, place), key, says)


_ABOUT = {"tds": "tds", "ey": "tds", "time": "brew_time_s", "dose": "dose_g", "water": "water_g",
          "light": "weight_g", "roasted": "roast_batch", "sample": "sample_temperature_C"}  # fmt: skip


def _one_drop() -> str:
    return _(
        "One drop: how far drops of this cup would lie apart is not known, and it counts with the spread that is usual "
        "for the refractometer."
    )


# --- what is there already


def _mark_known(cafe: Cafe, together: list[Looked]) -> None:
    """A brew of the same person at the same moment with the same values was entered, or brought in, before.

    A sheet that grows is brought in again and again: what was corrected or voided since doesn't come back with it.
    """
    entries = [(one, one.entry) for one in together if one.entry is not None]
    if not entries:
        return
    there = _there(cafe, [entry for _one, entry in entries])
    for one, entry in entries:
        if (stands := there.get(_values(entry))) is not None:
            one.state, one.entry, one.made_with = BAD, None, None
            if stands:
                says = _("This brew is in brewbar already: the same barista, moment and values.")
            else:
                says = _("This brew was in brewbar with these values, and was corrected or voided there.")
            one.problems = (Said(f"{one.number}", "", says),)


def _there(cafe: Cafe, entries: Iterable[Entry]) -> dict[tuple[Any, ...], bool]:
    """Values of a brew -> whether it stands. One that was typed and then voided is not there any more; one that a
    spreadsheet brought is, until all of that is taken back."""
    moments = {entry.brewed_at for entry in entries if entry.brewed_at}
    rows = Reading.objects.filter(barista__in={entry.barista.pk for entry in entries}).order_by()
    if not rows.filter(brewed_at__range=(min(moments), max(moments))).exists():
        return {}
    rows = rows.filter(Q(voided_at=None) | Q(brought_in__isnull=False, brought_in__undone_at=None))
    rows = rows.filter(cafe=cafe, brewed_at__in=moments)
    values = ("barista", "brewed_at", "dose_g", "water_g", "brew_time_s")
    found = list(rows.values_list("pk", "voided_at", "correction", *values))
    drops: dict[int, list[Decimal]] = defaultdict(list)
    if found:
        kept = Drop.objects.filter(reading__in=[row[0] for row in found]).order_by("reading", "order")
        for reading, tds in kept.values_list("reading", "tds"):
            drops[reading].append(tds)
    there: dict[tuple[Any, ...], bool] = {}
    for pk, voided_at, correction, *rest in found:
        key = (*rest, tuple(drops[pk]))
        there[key] = there.get(key, False) or (voided_at is None and correction is None)
    return there


def _values(entry: Entry) -> tuple[Any, ...]:
    return (
        *(entry.barista.pk, entry.brewed_at, entry.dose_g, entry.water_g, entry.brew_time_s),
        entry.drops,
    )
