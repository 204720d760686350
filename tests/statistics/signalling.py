"""Signals of a simulated crew in the order in which they would come, each one changing what is looked at after it.

A person who was signalled leaves the reference from the next day on and is not signalled again until their baseline
is learned anew. A day that was signalled gives the level a step: in what is foretold of people from the likeliest day
of the change on, for days from the next one on. What is found is a function of the readings alone, so that a voided
reading takes back what it led to.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from math import inf
from typing import Literal

from numpy.typing import ArrayLike

from calibration.statistics.crew_days import Day, Days, Since, listed, numbered
from calibration.statistics.following import Followed, OfDays, OfPeople, follow
from calibration.statistics.rows import Labels
from calibration.statistics.schemes import Ewma
from calibration.statistics.spreads import Spreads
from calibration.statistics.watching import Alarm, Watched, watch

Key = tuple[str, Hashable, int]


@dataclass(frozen=True, slots=True)
class Signal:
    """about: a person or a day; person: who, None for a day; day: on which it came; row: of the brew that raised it,
    from 0; alarm: of the chart; matters: whether the shift reaches the smallest difference, by its estimate."""

    about: Literal["person", "day"]
    person: Hashable | None
    day: Day
    row: int
    alarm: Alarm
    matters: bool

    @property
    def since(self) -> Day:
        """The likeliest day of the change."""
        return self.alarm.days[1] if self.alarm.days else self.day


@dataclass(frozen=True, slots=True)
class Signals:
    """signals: in order of days; followed: errors as they are once all of them are known; charts: of each person,
    and under None of days."""

    signals: tuple[Signal, ...]
    followed: Followed
    charts: dict[Hashable | None, Watched]


def signals_of(
    values: ArrayLike,
    people: Labels,
    days: Days,
    spreads: Spreads,
    scheme: Ewma,
    *,
    smallest: float = 0.0,
    versions: Labels | None = None,
    steps: Iterable[Day] = (),
    moves: Iterable[Day] = (),
    leaves: Since | None = None,
    restarts: Since | None = None,
) -> Signals:
    """All signals, arguments as `follow`. A shift below ``smallest`` is no signal: its chart starts again, and the
    person stays in the reference."""
    moved = [numbered(day) for day in moves]
    back = {who: listed(given) for who, given in (restarts or {}).items()}
    away = {who: listed(given) for who, given in (leaves or {}).items()}
    changes = list(steps)
    found: dict[Key, Signal] = {}
    while True:
        followed = follow(
            values, people, days, spreads,
            versions=versions, steps=changes, moves=moved, leaves=away, restarts=back,
        )  # fmt: skip
        charts = _charts(followed, scheme, back, moved)
        taken = _taken(followed, charts, found, smallest)
        found |= taken
        if not any(signal.matters for signal in taken.values()):
            break
        for signal in taken.values():
            if signal.matters and signal.about == "person":
                away.setdefault(signal.person, []).append(numbered(signal.day) + 1)
            elif signal.matters:
                moved.append(numbered(signal.day) + 1)
                changes.append(signal.since)
    in_order = sorted(found.values(), key=lambda signal: (numbered(signal.day), signal.row))
    return Signals(tuple(in_order), followed, charts)


def _charts(
    followed: Followed, scheme: Ewma, back: dict[Hashable, list[int]], moved: list[int]
) -> dict[Hashable | None, Watched]:
    charts: dict[Hashable | None, Watched] = {
        who: _watched(followed.of_people.of(who), scheme, back.get(who, []))
        for who in followed.of_people.people()
    }
    charts[None] = _watched(followed.of_days, scheme, moved)
    return charts


def _watched(of: OfPeople | OfDays, scheme: Ewma, fresh: list[int]) -> Watched:
    at = [numbered(day) for day in of.day]
    anew = [bisect_left(at, day) for day in fresh]
    return watch(of.z, scheme, of.day, error=of.error, se=of.se, keeps=of.keeps, anew=anew)


def _taken(
    followed: Followed, charts: dict[Hashable | None, Watched], found: Mapping[Key, Signal], smallest: float
) -> dict[Key, Signal]:
    """The next signals: up to and with the first day on which one matters, since that changes what comes after."""
    coming: list[Signal] = []
    for who, chart in charts.items():
        of = followed.of_days if who is None else followed.of_people.of(who)
        about: Literal["person", "day"] = "day" if who is None else "person"
        for alarm in chart.alarms:
            i = alarm.index
            watched = isinstance(of, OfDays) or bool(of.in_reference[i])
            if watched and (about, who, numbered(of.day[i])) not in found:
                matters = abs(alarm.size) >= smallest
                coming.append(Signal(about, who, of.day[i], int(of.row[i]), alarm, matters))
    coming.sort(key=lambda signal: numbered(signal.day))
    last = next((numbered(signal.day) for signal in coming if signal.matters), inf)
    return {
        (signal.about, signal.person, numbered(signal.day)): signal
        for signal in coming
        if numbered(signal.day) <= last
    }
