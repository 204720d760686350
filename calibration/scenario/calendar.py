"""Days, local times and who works when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from .things import Cafe, Person

DAYS = 70
WEEK = 7


def instant(day: date, minutes: float, cafe: Cafe) -> datetime:
    """UTC for so many minutes after midnight on the café's wall clock; past 1,440 come the small hours.

    The cafés open after the clocks have changed and close before, so that every time used here exists once.
    """
    midnight = datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(cafe.time_zone))
    # adding to a local time moves the wall clock, whatever the zone does meanwhile
    return (midnight + timedelta(seconds=round(minutes * 60))).astimezone(UTC)


@dataclass(frozen=True)
class Calendar:
    """The seventy days that end today, counted from 0; earlier days are negative."""

    today: date

    def day(self, index: int) -> date:
        return self.today - timedelta(days=DAYS - 1 - index)


@dataclass(frozen=True)
class Shift:
    person: str
    early: bool
    closes: bool
    """Last one of the day."""


def on_duty(people: tuple[Person, ...], cafe: str, index: int, day: date) -> list[Shift]:
    """Five days in seven each, days off moving on by two every week, so that who meets whom changes.

    Whoever belongs to two cafés goes to the first one three days of the five.
    """
    week, weekday = divmod(index, WEEK)
    brewing = [person for person in people if person.brews]
    here = []
    for person in brewing:
        crew = [other for other in brewing if other.cafes[0] == person.cafes[0]]
        off = (2 * crew.index(person) + 2 * week) % WEEK
        worked = (weekday - off) % WEEK - 2
        if worked < 0 or day < person.joined_on:
            continue
        if person.cafes[worked % len(person.cafes)] == cafe:
            here.append(person.key)
    turn = index % len(here)
    here = here[turn:] + here[:turn]
    early = (len(here) + 1) // 2
    return [Shift(person, i < early, i == len(here) - 1) for i, person in enumerate(here)]
