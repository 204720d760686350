"""The small drawing beside a barista's last readings: strength, brew by brew, in the recipe's target band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from brewbar.units import fixed, pointed
from calibration.models import Reading
from calibration.statistics.uncertainty import COVERAGE_K
from recipes.aims import Aims

WIDTH, HEIGHT = 340, 128
LEFT, RIGHT, TOP, BOTTOM = 44, 12, 10, 10
PLACES = 10
LEAST_SPAN_TDS = 0.2


@dataclass(frozen=True)
class Point:
    """Where one reading stands; ``high`` and ``low`` are the ends of its ± U."""

    x: str
    y: str
    high: str
    low: str
    is_this: bool
    counts: bool


@dataclass(frozen=True)
class Line:
    y: str
    text: str


@dataclass(frozen=True)
class Strip:
    points: tuple[Point, ...]
    lines: tuple[Line, ...]
    band_top: str
    """Empty without a band."""
    band_height: str
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    inner: int = WIDTH - RIGHT - LEFT
    label_x: int = LEFT - 8


def draw(readings: Sequence[Reading], this: Reading, aims: Aims) -> Strip:
    """The strip of ``readings``, newest first; the band is what ``this`` is held to."""
    target, tolerance = aims.tds_target, float(aims.tds_tolerance)
    band = () if target is None else (float(target) - tolerance, float(target) + tolerance)
    middles = [float(reading.tds) for reading in readings]
    spreads = [COVERAGE_K * reading.u_tds_relative for reading in readings]
    marks = [float(target), *band] if target is not None else [min(middles), max(middles)]
    edges = [*marks, *(m + side * s for m, s in zip(middles, spreads, strict=True) for side in (-1, 1))]
    low, high = min(edges), max(edges)
    short = max(0.0, LEAST_SPAN_TDS - (high - low)) / 2
    low, high = low - short, high + short

    def at(tds: float) -> float:
        return TOP + (high - tds) / (high - low) * (HEIGHT - TOP - BOTTOM)

    def y(tds: float) -> str:
        return pointed(at(tds), 1)

    step = (WIDTH - LEFT - RIGHT) / PLACES
    points = tuple(
        Point(
            x=pointed(WIDTH - RIGHT - step * (place + 0.5), 1),
            y=y(middle),
            high=y(middle + spread),
            low=y(middle - spread),
            is_this=reading.pk == this.pk,
            counts=reading.kind == Reading.Kind.CHECK and reading.attempt != Reading.Attempt.REBREW,
        )
        for place, (reading, middle, spread) in enumerate(zip(readings, middles, spreads, strict=True))
    )
    lines = tuple(Line(y(mark), fixed(mark, 2)) for mark in dict.fromkeys(marks))
    if not band:
        return Strip(points, lines, "", "0")
    return Strip(points, lines, y(band[1]), pointed(at(band[0]) - at(band[1]), 1))
