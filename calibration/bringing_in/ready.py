"""Rows that are good -> rows of tables, and what must be known of all of them before the first is written."""

from __future__ import annotations

from array import array
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from brewbar.crew.models import Cafe, User
from calibration import attempts, beds, recording
from calibration.bringing_in.looking import GOOD, Looked
from calibration.bringing_in.slots import Made
from calibration.bringing_in.turning import With
from calibration.bulk import Prepare, Table, remembered
from calibration.entry import Entry
from calibration.models import Drop, Reading
from recipes import happenings

Laid = tuple[list[Any], int, list[list[Any]]]
"""A row of the table of readings, the place of its slot among those to be made (-1 if it has one), and its drops."""


@dataclass
class Ready:
    """What was laid aside, and what must be known of all rows together before the first is written."""

    cafe: Cafe
    now: datetime
    keys: dict[attempts.Key, int] = field(default_factory=dict)
    slots: list[Made] = field(default_factory=list)
    whose: dict[int, User] = field(default_factory=dict)
    days: set[tuple[int, date]] = field(default_factory=set)
    beds: set[beds.Bed] = field(default_factory=set)
    first_days: dict[int, date] = field(default_factory=dict)
    rows: int = 0
    left_out: int = 0
    checks: array[int] = field(default_factory=lambda: array("i"))
    """The key of each row, -1 for one that is no check."""
    brewed_at: array[float] = field(default_factory=lambda: array("d"))

    def take_with(self, made_with: With) -> None:
        """With what some rows were brewed; their slot, where it is to be made, has a place afterwards."""
        entry, made = made_with.entry, made_with.made
        same = {"version": entry.slot.version, "roast_batch": entry.roast_batch, "grinder": entry.grinder}
        if bed := beds.bed_of(Reading(cafe=self.cafe, grind_setting=entry.grind_setting, **same)):
            self.beds.add(bed)
        if made is not None and made.place < 0:
            made.place = len(self.slots)
            self.slots.append(made)

    def take(self, entry: Entry, day: date) -> None:
        barista = entry.barista.pk
        self.whose.setdefault(barista, entry.barista)
        self.days.add((barista, day))
        self.rows += 1
        if entry.kind != Reading.Kind.CHECK:
            self.checks.append(-1)
            return
        recipe = entry.slot.version.recipe_id
        self.checks.append(self.keys.setdefault((barista, recipe, day), len(self.keys)))
        if day < self.first_days.setdefault(recipe, day):
            self.first_days[recipe] = day


class Laying:
    """Turns good rows of one sheet into rows of tables."""

    def __init__(self, ready: Ready, by: User, sha256: str) -> None:
        self._ready, self._by, self._sha256 = ready, by, sha256
        self._table, self._drop = Table(Reading), _drops()
        self._waters = happenings.waters_of(ready.cafe)
        self._since = [at for at, _water in self._waters]

    def laid(self, rows: Iterable[Looked]) -> Iterator[Laid]:
        ready, drop = self._ready, self._drop
        for one in rows:
            if one.state != GOOD or one.entry is None or one.made_with is None:
                continue
            entry, made_with, at = one.entry, one.made_with, one.entry.brewed_at
            assert at is not None
            if not made_with.columns:
                made_with.columns = self._table.new(recording.with_what(entry, self._by, ready.now))
                ready.take_with(made_with)
            row = made_with.columns.copy()
            said = recording.cup(entry) | recording.computed(entry)
            said["brewed_at"], said["business_day"] = at, ready.cafe.business_day(at)
            said["brew_water"] = (
                self._waters[place - 1][1] if (place := bisect_right(self._since, at)) else None
            )
            said["fingerprint"] = f"{self._sha256[:48]}{one.number:016x}"
            self._table.fill(row, said)
            ready.take(entry, said["business_day"])
            ready.brewed_at.append(at.timestamp())
            slot, sample = made_with.made, entry.sample_temperature_C
            drops = [drop((*which, sample)) for which in enumerate(entry.drops, start=1)]
            yield row, -1 if slot is None else slot.place, drops


def _drops() -> Prepare:
    """(order, TDS, temperature) -> a row of the table of drops; those of many brews are alike."""
    table = Table(Drop)
    return remembered(lambda one: table.new(zip(("order", "tds", "sample_temperature_C"), one, strict=True)))
