"""What the cells of a column look like, whatever its heading says."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from statistics import median

from calibration.importing import days
from calibration.importing.cells import duration_s, figure_of
from calibration.importing.fields import Field, Holds
from calibration.importing.headings import plain
from calibration.importing.raw import Cell, Percent, Trouble

_BARE_SECONDS = 0.6
"""A whole number can be seconds, and much else."""


@dataclass
class Looks:
    """count: cells that hold something; days, moments, times, durations, words: how many can be one; numbers: what
    the numbers are, with a decimal comma or point; units: what stands behind them; texts: the words, plain."""

    count: int = 0
    days: int = 0
    moments: int = 0
    times: int = 0
    durations: float = 0
    numbers: list[float] = field(default_factory=list)
    units: set[str] = field(default_factory=set)
    texts: list[str] = field(default_factory=list)
    percents: int = 0

    @property
    def middle(self) -> float:
        return median(self.numbers) if self.numbers else 0.0

    @property
    def ends(self) -> tuple[float, float]:
        return (min(self.numbers), max(self.numbers)) if self.numbers else (0, 0)

    def fits(self, wanted: Field) -> float:
        """From 0, the cells cannot be that, to 1, they look just like it."""
        if not self.count:
            return 0.5
        match wanted.holds:
            case Holds.DAY:
                return (self.days - 0.5 * self.moments) / self.count
            case Holds.MOMENT:
                return self.moments / self.count
            case Holds.TIME:
                return self.times / self.count
            case Holds.DURATION:
                return self.durations / self.count
            case Holds.NAME | Holds.TEXT:
                figures = 0.8 if wanted.key in ("grind_setting", "batch") else 0.2
                return (len(self.texts) + figures * len(self.numbers)) / self.count
            case Holds.CHOICE:
                known = {plain(word) for _key, words in wanted.choices for word in words}
                return max(0.3, sum(text in known for text in self.texts) / self.count) if self.texts else 0
            case _:
                return self._fits_number(wanted)

    def _fits_number(self, wanted: Field) -> float:
        share = len(self.numbers) / self.count
        middle = self.middle
        in_usual = _within(middle, wanted.usual)
        if wanted.holds is Holds.STRENGTH and _within(100 * middle, wanted.usual) and not self.percents:
            return 0.9 * share
        if wanted.holds is Holds.TEMPERATURE and _within((middle - 32) / 1.8, wanted.usual) and not in_usual:
            return 0.8 * share
        if wanted.holds is Holds.MASS and not in_usual and _within(1000 * middle, wanted.usual):
            return 0.6 * share
        if in_usual:
            return share
        return share * (0.5 if _within(middle, wanted.possible) else 0.2)


def looks_of(cells: Iterable[Cell]) -> Looks:
    looks = Looks()
    for cell in cells:
        if cell is None or isinstance(cell, Trouble):
            continue
        looks.count += 1
        _look(cell, looks)
    return looks


def _look(cell: Cell, looks: Looks) -> None:
    if isinstance(cell, datetime):
        looks.days += 1
        looks.moments += 1
    elif isinstance(cell, date):
        looks.days += 1
    elif isinstance(cell, time | timedelta):
        _look_at_clock(cell, looks)
    elif isinstance(cell, str):
        _look_at_text(cell, looks)
    else:
        looks.percents += isinstance(cell, Percent)
        _look_at_figure(cell, looks)


def _look_at_text(text: str, looks: Looks) -> None:
    day, hour = days.parted(text)
    if days.day_readings(day) and not figure_of(text):
        looks.days += 1
        looks.moments += bool(hour) and _is_time(hour.rstrip("Z"))
    elif ":" in text and not text.strip(":0123456789"):
        _look_at_clock(text, looks)
    elif figure_of(text):
        _look_at_figure(text, looks)
    elif _is_time(text):
        looks.times += 1
    elif _duration(text):
        looks.durations += 1
    elif pieces := [found for piece in text.split("/") if (found := figure_of(piece))]:
        looks.numbers += [
            float(one.by_point if one.by_point is not None else one.by_comma or 0) for one in pieces
        ]
        looks.numbers = looks.numbers[: looks.count]
    else:
        looks.texts.append(plain(text))


def _look_at_clock(cell: str | time | timedelta, looks: Looks) -> None:
    """2:45 is a brew time, 14:05 an hour; 6:30 could be either."""
    found = _duration(cell)
    looks.durations += 60 <= found <= 720
    with suppress(ValueError):
        looks.times += 5 <= days.time_of_day(cell).hour <= 23


def _look_at_figure(cell: Cell, looks: Looks) -> None:
    found = figure_of(cell)
    if found is None:
        return
    both = [one for one in (found.by_point, found.by_comma) if one is not None]
    value = float(min(both))
    looks.numbers.append(value)
    if found.unit:
        looks.units.add(found.unit)
    if 60 <= value <= 720 and found.unit in ("", "s") and value.is_integer():
        looks.durations += 1 if found.unit else _BARE_SECONDS
    if days.day_of_number(cell):
        looks.days += 1
    elif isinstance(cell, float) and 0 < cell < 1 and 1440 * cell % 1 < 1e-6:
        looks.times += 1


def _duration(cell: Cell) -> int:
    try:
        return duration_s(cell, "")[0]
    except ValueError:
        return 0


def _is_time(text: str) -> bool:
    try:
        days.time_of_day(text)
    except ValueError:
        return False
    return True


def _within(value: float, ends: tuple[float, float]) -> bool:
    return ends[0] <= value <= ends[1]
