"""Check brews of a simulated café, many cafés at once: the invented scenario's crew, calendar and components."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from calibration.scenario.calendar import DAYS, Calendar, on_duty
from calibration.scenario.cast import CAFES, DRIFTING, people
from calibration.scenario.shifts import ASKED_TWICE, MISSED
from calibration.scenario.truth import Components
from calibration.statistics.crew_days import CrewDays
from calibration.statistics.following import Followed, walk
from calibration.statistics.spreads import Spreads
from calibration.statistics.watching import scheme_for

LEVEL = 1.4
TRUE = Components()
KNOWN = Spreads(TRUE.staff, TRUE.day, TRUE.staff_day, TRUE.brew, 0.0)
DRIFTS_AFTER, A_DAY = 27, 0.0015
BATCH_FROM, BATCH = 33, 0.06
GAIN_FROM, GAIN_TO, GAIN = 48, 54, 1.0286
FIRST_CAFE = CAFES[0].key
CALENDAR = Calendar(date(2026, 6, 17))
CREW = people(CALENDAR.day(0))


@dataclass(frozen=True)
class Attendance:
    """Who brewed when, row by row."""

    people: tuple[str, ...]
    days: np.ndarray

    @property
    def crew_days(self) -> CrewDays:
        return CrewDays(len(self.people), self.people, self.days, None, None, None)

    def drift(self) -> np.ndarray:
        """What the drifting barista adds, row by row."""
        mine = np.array([person == DRIFTING for person in self.people])
        return mine * A_DAY * np.maximum(self.days - DRIFTS_AFTER, 0)

    def batch(self) -> np.ndarray:
        return BATCH * (self.days >= BATCH_FROM)

    def gain(self) -> np.ndarray:
        """What the instrument adds for a week, at the café's level."""
        return (GAIN - 1) * LEVEL * ((self.days >= GAIN_FROM) & (self.days <= GAIN_TO))

    def brews(self, rng: np.random.Generator, series: int = 1, true: Components = TRUE) -> np.ndarray:
        """Quiet brews of so many cafés, shape (rows, series)."""
        cells = sorted(set(zip(self.people, self.days.tolist(), strict=True)))
        place = {cell: i for i, cell in enumerate(cells)}
        cell = np.array([place[key] for key in zip(self.people, self.days.tolist(), strict=True)])
        crew = sorted(set(self.people))
        who = np.array([crew.index(person) for person in self.people])
        return (
            LEVEL
            + rng.normal(0, true.staff, (len(crew), series))[who]
            + rng.normal(0, true.day, (self.days.max() + 1, series))[self.days]
            + rng.normal(0, true.staff_day, (len(cells), series))[cell]
            + rng.normal(0, true.brew, (len(who), series))
        )


def attendance(rng: np.random.Generator, days: int = DAYS, cafe: str = FIRST_CAFE) -> Attendance:
    """As the scenario's calendar has it: one check a shift, one in five twice, a few missed."""
    rows = [
        (shift.person, index)
        for index in range(days)
        for shift in on_duty(CREW, cafe, index, CALENDAR.day(index))
        if rng.random() >= MISSED
        for _brew in range(1 + (rng.random() < ASKED_TWICE))
    ]
    return Attendance(tuple(row[0] for row in rows), np.array([row[1] for row in rows]))


def walked(
    there: Attendance, brews: np.ndarray, steps: tuple[int, ...] = (), spreads: Spreads = KNOWN
) -> Followed:
    return walk(brews, there.crew_days, spreads, steps, ())


def path_of(there: Attendance, added: np.ndarray, steps: tuple[int, ...] = ()) -> Followed:
    """The means of all errors where ``added`` is added to quiet brews: errors are linear in brews."""
    nothing = np.zeros_like(added)
    return walked(there, np.c_[nothing, added], steps)


def scheme_of(there: Attendance):
    """One false alarm a month of all charts of strength and time, of people and of days."""
    cells = len(set(zip(there.people, there.days.tolist(), strict=True)))
    days = len(set(there.days.tolist()))
    return scheme_for(2 * (cells + days) / days * 30)


def first_signals(z: np.ndarray, scheme) -> np.ndarray:
    """Of each series, z of shape (points, series): place of the first signal, the number of points without one."""
    average, first = np.zeros(z.shape[1]), np.full(z.shape[1], len(z))
    for i, x in enumerate(z):
        average = (1 - scheme.lambda_) * average + scheme.lambda_ * x
        beyond = (np.abs(average) > scheme.limit) | (np.abs(x) > scheme.outer)
        first[beyond & (first == len(z))] = i
    return first
