"""What is fixed before the first brew of the invented ten weeks, and what is written down as they go."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date

from .calendar import DAYS, Calendar, Shift, on_duty
from .cast import CAFES
from .rows import CheckRun, OnDuty, Reading, RecipeVersion, Slot, SlotSetting
from .things import Person, RoastBatch
from .truth import BatchStep, Components, Drift, Effects, GainError, Mishap

TODAY = DAYS - 1


@dataclass(frozen=True)
class Story:
    calendar: Calendar
    people: tuple[Person, ...]
    versions: dict[str, RecipeVersion]
    level_tds: dict[str, float]
    batches: dict[str, RoastBatch]
    slots: dict[str, Slot]
    settings: dict[str, list[SlotSetting]]
    coffee_of: dict[str, str]
    components: Components
    effects: Effects
    drift: Drift
    batch_step: BatchStep
    gain_error: GainError
    asked_twice: frozenset[tuple[str, date]]

    def days_here(self, person: str, index: int) -> int:
        """How long somebody has belonged to the company on a day of the ten weeks."""
        joined_on = next(row.joined_on for row in self.people if row.key == person)
        return (self.calendar.day(index) - joined_on).days

    def in_training(self, person: str) -> bool:
        return any(row.trainee for row in self.people if row.key == person)


@dataclass
class Log:
    readings: list[Reading] = field(default_factory=list)
    on_duty: list[OnDuty] = field(default_factory=list)
    runs: list[CheckRun] = field(default_factory=list)
    mishaps: list[Mishap] = field(default_factory=list)
    brew_tds: dict[str, float] = field(default_factory=dict)
    cup_tds: dict[str, float] = field(default_factory=dict)


def attendance(calendar: Calendar, people: tuple[Person, ...]) -> Iterator[tuple[int, str, list[Shift]]]:
    for index in range(DAYS):
        for cafe in CAFES:
            yield index, cafe.key, on_duty(people, cafe.key, index, calendar.day(index))
