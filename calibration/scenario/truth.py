"""What is really so in the invented scenario, and the arithmetic by which a cup comes from it.

The strength of a cup is a sum, all in % TDS:

    cup = level of the version + batch step + ageing x (days off roast - reference)
        + staff + drift x days since it began + day + staff x day + mishap + brew

where staff, day (of one café), staff x day and brew are drawn from normal distributions with the standard
deviations of `Components`. A drop then reads cup x gain of the instrument that day + its own noise, in
steps of 0.01. A change of grind undoes what the weather did and is no term of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

CafeDay = tuple[str, date]
StaffDay = tuple[str, date]


@dataclass(frozen=True)
class Components:
    """Standard deviations in % TDS."""

    staff: float = 0.03
    day: float = 0.02
    staff_day: float = 0.015
    brew: float = 0.025
    drop: float = 0.01


@dataclass(frozen=True)
class Effects:
    """One draw of every effect that more than one brew shares, in % TDS."""

    staff: Mapping[str, float]
    day: Mapping[CafeDay, float]
    staff_day: Mapping[StaffDay, float]

    def of(self, person: str, cafe: str, day: date) -> float:
        return self.staff[person] + self.day[cafe, day] + self.staff_day[person, day]


@dataclass(frozen=True)
class Drift:
    person: str
    after: date
    """The last day without drift."""
    tds_per_day: float

    def on(self, person: str, day: date) -> float:
        return self.tds_per_day * max(0, (day - self.after).days) if person == self.person else 0.0


@dataclass(frozen=True)
class BatchStep:
    """A new crop: every batch named here brews this much stronger than those before."""

    coffee: str
    batches: tuple[str, ...]
    tds: float

    def of(self, batch: str) -> float:
        return self.tds if batch in self.batches else 0.0


@dataclass(frozen=True)
class Ageing:
    coffee: str
    tds_per_day: float
    reference_days_off_roast: int

    def of(self, coffee: str, days_off_roast: int) -> float:
        return (
            self.tds_per_day * (days_off_roast - self.reference_days_off_roast)
            if coffee == self.coffee
            else 0.0
        )


@dataclass(frozen=True)
class GainError:
    """From the first to the last day the instrument reads `gain` times what is there."""

    instrument: str
    first_day: date
    last_day: date
    gain: float

    def on(self, instrument: str, day: date) -> float:
        return self.gain if instrument == self.instrument and self.first_day <= day <= self.last_day else 1.0


@dataclass(frozen=True)
class Mishap:
    reading: str
    tds: float
    story: str


@dataclass(frozen=True)
class Truth:
    components: Components
    effects: Effects
    drift: Drift
    batch_step: BatchStep
    ageing: Ageing
    gain_error: GainError
    shows_of_sucrose: Mapping[str, float]
    """Instrument key -> what it shows of a degree Brix, in % TDS."""
    stream_n: Mapping[str, float]
    """Kettle key -> how smoothly water leaves its spout: the N of recipes.brewing.stream."""
    mishaps: tuple[Mishap, ...]
    level_tds: Mapping[str, float]
    """Version key -> the strength that version settles at."""
    brew_tds: Mapping[str, float]
    """Reading key -> the brew's own deviation."""
    cup_tds: Mapping[str, float]
    """Reading key -> what a perfect instrument would have read."""


def draw_effects(
    components: Components,
    staff: Iterable[str],
    days: Iterable[CafeDay],
    staff_days: Iterable[StaffDay],
    rng: np.random.Generator,
) -> Effects:
    return Effects(
        staff={person: rng.normal(0.0, components.staff) for person in staff},
        day={cafe_day: rng.normal(0.0, components.day) for cafe_day in days},
        staff_day={staff_day: rng.normal(0.0, components.staff_day) for staff_day in staff_days},
    )


def draw_brew(components: Components, rng: np.random.Generator) -> float:
    return rng.normal(0.0, components.brew)


def draw_drop(cup_tds: float, gain: float, components: Components, rng: np.random.Generator) -> float:
    """What the display shows."""
    return round(cup_tds * gain + rng.normal(0.0, components.drop), 2)
