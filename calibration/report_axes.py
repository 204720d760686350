"""Axes of a report's figures, the same for screen and paper: how far each reaches, and what is written along it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, floor, log10

from brewbar import dates, units
from calibration.report_words import written
from calibration.reporting.result import Bars, Days

MOST_TICKS = 6
AIR = 0.06
"""Share of an axis that stays free beyond the outermost value."""
OF_TIME = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600)
DAYS_APART = (1, 2, 7, 14, 28, 56, 91, 182, 365)


@dataclass(frozen=True)
class Axis:
    """ticks: (value, what is written at it)."""

    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]


@dataclass(frozen=True)
class Mark:
    """What was changed on a day: its number in the figure, and the words beside that number."""

    number: int
    day: date
    says: str


def of_bars(figure: Bars) -> Axis:
    if figure.span:
        return _axis(*figure.span, figure.decimals)
    known = list(_known(edge for bar in figure.bars for edge in (bar.value, bar.low, bar.high)))
    known += _known(edge for bar in figure.bars for edge in bar.before or ())
    low, high = _reach(known + [0.0] * (figure.zero or figure.filled))
    return _axis(0.0 if figure.filled and low < 0 <= min(known or [0]) else low, high, figure.decimals)


def of_values(figure: Days) -> Axis:
    points = (
        (point.value, point.low, point.high, point.usual_low, point.usual_high) for point in figure.points
    )
    edges = [*_known(edge for point in points for edge in point)]
    edges += [edge for *_span, low, high in figure.targets for edge in (low, high)]
    return _axis(*_reach(edges), figure.decimals, figure.is_time)


def of_days(figure: Days) -> tuple[date, date, tuple[tuple[date, str], ...]]:
    """First day, last day, and the days that are written along the axis."""
    days = [point.day for point in figure.points]
    days += [day for first, last, *_band in figure.targets for day in (first, last)]
    first, last = min(days), max(days)
    span = (last - first).days
    step = next((step for step in DAYS_APART if span / step <= MOST_TICKS), DAYS_APART[-1])
    ticks = (first + timedelta(days=shift) for shift in range(0, span + 1, step))
    return first, last, tuple((day, dates.day(day)) for day in ticks)


def marks_of(figure: Days) -> tuple[Mark, ...]:
    """What was changed, a number for each day."""
    by_day: dict[date, list[str]] = {}
    for day, says in sorted(figure.marks):
        by_day.setdefault(day, []).append(says)
    return tuple(
        Mark(number, day, "; ".join(dict.fromkeys(says)))
        for number, (day, says) in enumerate(by_day.items(), start=1)
    )


def _known(values: Iterable[float | None]) -> Iterator[float]:
    return (value for value in values if value is not None)


def _reach(known: list[float]) -> tuple[float, float]:
    if not known:
        return 0.0, 1.0  # nothing to show: any axis will do
    air = AIR * (max(known) - min(known)) or 1.0
    return min(known) - air, max(known) + air


def _axis(low: float, high: float, decimals: int, is_time: bool = False) -> Axis:
    step = _time_step(high - low) if is_time else _step(high - low, decimals)
    places = max(0, -floor(log10(step) + 1e-9))
    first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
    values = [n * step for n in range(first, last + 1)]
    return Axis(low, high, tuple((v, units.clock(v) if is_time else written(v, places)) for v in values))


def _step(span: float, decimals: int) -> float:
    """The smallest of 1, 2, 5, 10 … that leaves few enough ticks, and none between what is shown."""
    power = 10.0 ** floor(log10(span / MOST_TICKS))
    fitting = next(power * size for size in (1, 2, 5, 10) if span / (power * size) <= MOST_TICKS)
    return max(float(fitting), 10.0**-decimals)


def _time_step(span: float) -> float:
    return float(next((step for step in OF_TIME if span / step <= MOST_TICKS), OF_TIME[-1]))
