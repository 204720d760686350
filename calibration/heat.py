"""Who and when: each person's brews of each day, week or month, above or below the mean of all."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.utils.translation import gettext as _

from brewbar import dates
from brewbar.crew.access import Member
from calibration import crowd, spread
from calibration.crowd import FEWEST_OTHERS_A_DAY, Sight
from calibration.drift import Asked
from calibration.spread import Beside
from calibration.statistics.sums import Sums, at_one_level, parted

MOST_COLUMNS = 62
OTHERS = 0
"""The key of the line for everybody else, which no person has."""


@dataclass(frozen=True)
class Line:
    """name; values and brews: of each column, None and 0 where nothing was brewed; key: of the person."""

    key: int
    name: str
    values: tuple[float | None, ...]
    brews: tuple[int, ...]
    mean: float | None


@dataclass(frozen=True)
class Seen:
    """columns: first days of the days, weeks or months; lines: by name; level: the mean of all; furthest: from it."""

    asked: Asked
    columns: tuple[date, ...]
    each: str
    lines: tuple[Line, ...]
    level: float
    furthest: float
    beside: Beside
    sight: Sight
    why_not: str
    answer: str = ""

    def heading(self, column: date) -> str:
        if self.each == "month":
            return f"{column:%Y-%m}"
        return dates.day(column)


def look(member: Member, asked: Asked) -> Seen:
    found = spread.brews(member, asked)
    sight = crowd.sight_of(member, found.sums.people, asked.first, asked.last)
    beside = spread.beside(member, found)
    each, first_of = _columns(asked)
    why_not = sight.why_not
    if sight.names and not sight.by_day:
        why_not = _(
            "Your company shows you people without their names. A chart of who brewed on which day would give them "
            "away."
        )
    if not len(found.sums) or not sight.by_day:
        return Seen(asked, (), each, (), 0.0, 0.0, beside, sight, why_not)
    sums = spread.remembered(
        "level",
        found.sums,
        lambda: at_one_level(found.sums, parted(found.sums)) if asked.others else found.sums,
    )
    level = float(sums.total.sum() / sums.n.sum())
    sums = sums.less(np.full(len(sums), level)).by("who", "day")
    columns, lines = _lines(member, sums, sight, first_of)
    furthest = max((abs(v) for line in lines for v in line.values if v is not None), default=0.0)
    answer = _answer(asked, columns, lines, each)
    return Seen(asked, columns, each, lines, level, furthest, beside, sight, why_not, answer)


def _answer(asked: Asked, columns: tuple[date, ...], lines: tuple[Line, ...], each: str) -> str:
    """Where to look first."""
    found = [
        (abs(value), value, line.name, column)
        for line in lines
        for column, value in zip(columns, line.values, strict=True)
        if value is not None
    ]
    if not found:
        return ""
    _size, value, name, column = max(found, key=lambda one: one[0])
    words = {
        "name": name,
        "day": f"{column:%Y-%m}" if each == "month" else dates.day(column, weekday=True),
        "size": asked.measure.said(value),
        "way": asked.measure.way(value),
    }
    if each == "day":
        return _("Furthest off: %(name)s on %(day)s, %(size)s %(way)s than all together.") % words
    return _("Furthest off: %(name)s from %(day)s on, %(size)s %(way)s than all together.") % words


def _columns(asked: Asked) -> tuple[str, Callable[[date], date]]:
    """Days while they fit, then weeks from Monday on, then months."""
    days = (asked.last - asked.first).days + 1
    if days <= MOST_COLUMNS:
        return "day", lambda day: day
    if days <= 7 * MOST_COLUMNS - 6:
        return "week", lambda day: day - timedelta(days=day.weekday())
    return "month", lambda day: day.replace(day=1)


def _lines(
    member: Member, sums: Sums, sight: Sight, first_of: Callable[[date], date]
) -> tuple[tuple[date, ...], tuple[Line, ...]]:
    known = {day: first_of(date.fromordinal(day)).toordinal() for day in sums.days.tolist()}
    own = np.isin(sums.who, list(sight.names))
    others = _others(sums, own) if member.is_barista and sight.sees_crew else None
    shown = sums.only(own)
    starts = sorted(
        {known[day] for part in (shown, others) if part is not None for day in part.days.tolist()}
    )
    place = {start: i for i, start in enumerate(starts)}

    def line(key: int, name: str, rows: Sums) -> Line:
        at = np.array([place[known[day]] for day in rows.day.tolist()], dtype=np.intp)
        n = np.bincount(at, rows.n, len(starts))
        total = np.bincount(at, rows.total, len(starts))
        values = tuple(float(t / k) if k else None for t, k in zip(total.tolist(), n.tolist(), strict=True))
        mean = float(total.sum() / n.sum()) if n.sum() else None
        return Line(key, name, values, tuple(int(k) for k in n.tolist()), mean)

    lines = []
    starts_of = np.searchsorted(shown.who, shown.people)
    ends_of = np.searchsorted(shown.who, shown.people, side="right")
    for who, start, end in zip(shown.people.tolist(), starts_of.tolist(), ends_of.tolist(), strict=True):
        chosen = np.zeros(len(shown), dtype=np.bool_)
        chosen[start:end] = True
        lines.append(line(who, sight.names[who], shown.only(chosen)))
    lines.sort(key=lambda one: one.name)
    if others is not None and len(others):
        lines.append(line(OTHERS, _("The rest of the crew, unnamed"), others))
    return tuple(date.fromordinal(start) for start in starts), tuple(lines)


def _others(sums: Sums, own: np.ndarray) -> Sums:
    rest = sums.only(~own)
    days, people = np.unique(rest.day, return_counts=True)
    return rest.only(np.isin(rest.day, days[people >= FEWEST_OTHERS_A_DAY]))
