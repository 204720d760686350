"""Who drifts, who is off, whether the day moved: the charts of a café's check brews, asked about one business day."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property, lru_cache
from math import isfinite
from typing import Any

import numpy as np

from calibration.models import Signal
from calibration.signal_rows import Brew, Measured
from calibration.statistics.alongside import alongside
from calibration.statistics.following import Followed, OfDays, OfPeople, follow
from calibration.statistics.run_length import average_run_length
from calibration.statistics.schemes import Ewma
from calibration.statistics.spreads import Spreads, spreads_of
from calibration.statistics.watching import Alarm, Watched, off, scheme_for, watch

FEWEST_BREWS = 50
"""Of the crew together, before its charts begin: from fewer, how far brews scatter is known too badly for limits."""
DAYS_OFF = 28
"""Whether somebody is off is asked of four weeks: what was long ago has been answered."""
FEWEST_DAYS_OFF = 5
MONTH = 30
UNIT = {Signal.Measure.TDS: "%", Signal.Measure.TIME: "s", Signal.Measure.STANDARD: "%"}

_run_length = lru_cache(maxsize=64)(average_run_length)


@dataclass(frozen=True)
class Finding:
    """What would be a signal. brews: that it rests on, oldest first; evidence: numbers alone."""

    question: str
    person: int | None
    side: str
    brews: tuple[Brew, ...]
    since: date | None = None
    since_low: date | None = None
    since_high: date | None = None
    run_length: int | None = None
    evidence: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Charts:
    """Of one measure, with limits as they were reckoned at the beginning of the week."""

    of: Measured

    @cached_property
    def earlier(self) -> int:
        """How many brews the limits rest on."""
        return bisect_left(self.of.days, self.of.limits_from)

    @cached_property
    def spreads(self) -> Spreads:
        return _spreads(
            self.of.values[: self.earlier].tobytes(),
            tuple(self.of.people[: self.earlier]),
            tuple(self.of.days[: self.earlier]),
            tuple(self.of.versions[: self.earlier]),
            tuple(day for day in self.of.steps if day < self.of.limits_from),
        )

    @property
    def is_known_enough(self) -> bool:
        return self.earlier >= FEWEST_BREWS and bool(self.spreads.brew)

    @cached_property
    def followed(self) -> Followed:
        of = self.of
        return _followed(
            of.values.tobytes(), tuple(of.people), tuple(of.days), tuple(of.versions), self.spreads,
            of.steps, of.moves, _hashable(of.leaves), _hashable(of.restarts),
        )  # fmt: skip

    @cached_property
    def scheme(self) -> Ewma:
        """Its share of the café's false alarms: of both measures, of people and of days."""
        end = self.of.limits_from
        start = max(end - timedelta(days=DAYS_OFF), self.of.days[0])
        of_both = [*map(date_of, self.followed.of_people.day), *map(date_of, self.followed.of_days.day)]
        points = 2 * sum(start <= day < end for day in of_both) / self.of.of.share
        a_month = points * MONTH / max((end - start).days, 1)
        return scheme_for(max(a_month, 1.0), float(self.of.of.plan.false_alarms_a_month))

    def errors(self, person: int | None) -> OfPeople | OfDays:
        return self.followed.of_days if person is None else self.followed.of_people.of(person)

    def watched(self, person: int | None) -> Watched:
        """The chart of a person, or of the days."""
        of = self.errors(person)
        days = [date_of(day) for day in of.day]
        anew = {bisect_left(days, day) for day in self.of.fresh(person)}
        return watch(of.z, self.scheme, of.day, error=of.error, se=of.se, keeps=of.keeps, anew=anew)

    @property
    def run_length(self) -> int:
        return round(_run_length(self.scheme))

    def findings(self, day: date) -> list[Finding]:
        """What ``day`` would make a signal of, whether or not that is said already."""
        if not self.is_known_enough:
            return []
        here = sorted({brew.person for brew in self.of.brews if brew.day == day})
        drifting, without = self._drifting(here, day)
        said = {finding.person for finding in drifting if finding.person is not None}
        return [*without.moved(day), *self._off(here, day, said), *drifting]

    def _drifting(self, people: list[int], day: date) -> tuple[list[Finding], Charts]:
        """One after the other, the farthest first, each without those found before: a brew that went wrong pulls
        nobody else along. Also the charts without them all, which say whether the day itself moved."""
        found: list[Finding] = []
        charts = self
        while told := [(person, alarm) for person in people if (alarm := charts.alarm(person, day))]:
            person, alarm = max(told, key=lambda one: abs(float(charts.errors(one[0]).z[one[1].index])))
            found.append(charts.of_alarm(Signal.Question.DRIFTING, person, alarm, day))
            people = [one for one in people if one != person]
            charts = Charts(replace(self.of, aside=(*charts.of.aside, (person, day))))
        return found, charts

    def moved(self, day: date) -> list[Finding]:
        alarm = self.alarm(None, day)
        if alarm is None or self.followed.of_days.people[alarm.index] < 2:
            return []
        return [self.of_alarm(Signal.Question.MOVED, None, alarm, day)]

    def alarm(self, person: int | None, day: date) -> Alarm | None:
        """The alarm of that day, if there is one and the shift may be large enough to matter.

        Somebody who has left the reference is signalled already, and nothing more is learned of their baseline.
        """
        of = self.errors(person)
        if day not in of.day or (isinstance(of, OfPeople) and not of.in_reference[of.day.index(day)]):
            return None
        found = (alarm for alarm in self._chart(person).alarms if alarm.days and alarm.days[0] == day)
        alarm = next(found, None)
        # Only what is known to be smaller than matters is let go: a drift is seen before it has come far.
        return alarm if alarm and max(-alarm.low, alarm.high) >= (self.smallest or 0.0) else None

    def _chart(self, person: int | None) -> Watched:
        if person not in self._charts:
            self._charts[person] = self.watched(person)
        return self._charts[person]

    @cached_property
    def _charts(self) -> dict[int | None, Watched]:
        return {}

    @property
    def smallest(self) -> float | None:
        return self.of.of.smallest[self.of.measure]

    def of_alarm(self, question: str, person: int | None, alarm: Alarm, day: date) -> Finding:
        assert alarm.days is not None
        _day, since, low, high = map(date_of, alarm.days)
        beside = [brew for brew in self.of.brews if since <= brew.day <= day]
        brews = tuple(brew for brew in beside if person in {None, brew.person})
        others = len({brew.person for brew in beside} - {person})
        return Finding(
            question, person, "high" if alarm.side > 0 else "low", brews, since, low, high, self.run_length,
            self._numbers(alarm.size, alarm.low, alarm.high, len(brews), others) | {"rule": alarm.rule},
        )  # fmt: skip

    def _off(self, people: list[int], day: date, said: set[int]) -> list[Finding]:
        """One after the other, the farthest first, each without those found before."""
        found: list[Finding] = []
        away = self.of.flagged_on(day) | said
        while told := [one for one in self._farthest_off(people, day, away) if one.person is not None]:
            finding = max(told, key=lambda one: abs(float(one.evidence["estimate"])))
            found.append(finding)
            away = away | {one.person for one in found if one.person is not None}
        return found

    def _farthest_off(self, people: list[int], day: date, away: set[int]) -> Iterator[Finding]:
        """By brews of four weeks beside others; of somebody who was signalled and closed, by those since."""
        if self.smallest is None:
            return
        first = day - timedelta(days=DAYS_OFF - 1)
        recent = [
            brew
            for brew in self.of.brews
            if max(first, self.of.counts_from(brew.person)) <= brew.day <= day and brew.person not in away
        ]
        # A brew or two say nothing of anybody, and would still pull at what all others are held against.
        there = Counter(person for person, _day in {(brew.person, brew.day) for brew in recent})
        brews = [brew for brew in recent if there[brew.person] >= FEWEST_DAYS_OFF]
        values = np.array([brew.value(self.of.measure) for brew in brews], dtype=np.float64)
        cups = [f"{brew.day} {brew.version}" for brew in brews]
        for one in alongside(values, [brew.person for brew in brews], cups, self.spreads):
            verdict = off(one.estimate, one.low, one.high, self.smallest)
            if one.person not in people or one.days < FEWEST_DAYS_OFF or not verdict.startswith("off "):
                continue
            own = tuple(brew for brew in brews if brew.person == one.person)
            numbers = self._numbers(one.estimate, one.low, one.high, len(own), one.others)
            side = verdict.removeprefix("off ")
            yield Finding(Signal.Question.OFF, own[0].person, side, own, own[0].day, evidence=numbers)

    def _numbers(self, estimate: float, low: float, high: float, n: int, others: int) -> dict[str, Any]:
        digits = 4 if self.of.measure == Signal.Measure.TDS else 1
        sizes = {
            "estimate": estimate,
            "low": low,
            "high": high,
            "brew_sd": self.spreads.brew,
            "smallest": self.smallest,
        }
        return {
            **{key: _rounded(value, digits) for key, value in sizes.items()},
            "n": n,
            "others": others,
        }


def date_of(day: Any) -> date:
    assert isinstance(day, date)
    return day


def _rounded(value: float | None, digits: int) -> float | None:
    return round(value, digits) if value is not None and isfinite(value) else None


@lru_cache(maxsize=32)
def _spreads(
    values: bytes,
    people: tuple[int, ...],
    days: tuple[date, ...],
    versions: tuple[int, ...],
    steps: tuple[date, ...],
) -> Spreads:
    """Kept for the week."""
    y = np.frombuffer(values, dtype=np.float64)
    if not len(y):
        return Spreads(None, None, None, None)
    return spreads_of(y, people, days, versions=versions, steps=steps)


Since = tuple[tuple[int, tuple[date, ...]], ...]


def _hashable(since: dict[int, list[date]]) -> Since:
    return tuple((person, tuple(days)) for person, days in sorted(since.items()))


@lru_cache(maxsize=32)
def _followed(
    values: bytes, people: tuple[int, ...], days: tuple[date, ...], versions: tuple[int, ...], spreads: Spreads,
    steps: tuple[date, ...], moves: tuple[date, ...], leaves: Since, restarts: Since,
) -> Followed:  # fmt: skip
    """Kept until the next brew, for the pages that show it."""
    return follow(
        np.frombuffer(values, dtype=np.float64), people, days, spreads,
        versions=versions, steps=steps, moves=moves, leaves=dict(leaves), restarts=dict(restarts),
    )  # fmt: skip
