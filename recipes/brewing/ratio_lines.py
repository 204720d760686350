"""Brew-ratio lines of the strength–yield chart: which are worth drawing in a view, and where they run in it.

A line holds every brew of one ratio whose bed keeps as much water as beds usually do; see `extraction`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

from recipes.brewing.extraction import RETAINED_WATER_G_PER_G, tds_on_line_pct, yield_on_line_pct

MOST_WHOLE_RATIOS = 6
STEPS = (1, 2, 5, 10)
SHORTEST = 0.3
"""Share of the view's width that a line has to cross: one that cuts a corner says nothing."""
LINE_POINTS = 16
FAINTEST_PCT = 0.05
"""Below this TDS there is more water than any recipe has."""
APART = 0.4
"""How far a whole ratio keeps from one that a recipe names."""


@dataclass(frozen=True, slots=True)
class View:
    """What a chart shows: yield from left to right, TDS from bottom to top, in %."""

    ey_pct: tuple[float, float]
    tds_pct: tuple[float, float]


@dataclass(frozen=True, slots=True)
class RatioLine:
    """ratio: all the water over the dose; ey_pct, tds_pct: points inside the view, from low to high;
    ends_above: whether it leaves by the upper edge rather than by the right one."""

    ratio: float
    ey_pct: tuple[float, ...]
    tds_pct: tuple[float, ...]
    ends_above: bool


def line_in(view: View, ratio: float) -> RatioLine | None:
    """The line of ``ratio`` as far as it runs through ``view``; None where it hardly does."""
    if ratio <= RETAINED_WATER_G_PER_G:
        return None
    left, right = view.ey_pct
    first = max(left, yield_on_line_pct(view.tds_pct[0], 1, ratio))
    at_the_top = yield_on_line_pct(view.tds_pct[1], 1, ratio)
    last = min(right, at_the_top)
    if last - first < SHORTEST * (right - left):
        return None
    ey = tuple(first + (last - first) * step / LINE_POINTS for step in range(LINE_POINTS + 1))
    return RatioLine(ratio, ey, tuple(tds_on_line_pct(e, 1, ratio) for e in ey), at_the_top < right)


def whole_ratios_in(view: View, besides: Sequence[float] = ()) -> list[float]:
    """Whole ratios that run through ``view``, few enough to read, none right beside one of ``besides``."""
    lowest = _ratio_through(view.ey_pct[0], view.tds_pct[1])
    highest = _ratio_through(view.ey_pct[1], view.tds_pct[0])
    drawn: list[float] = []
    for step in STEPS:
        ratios = [float(r) for r in range(ceil(lowest / step) * step, floor(highest) + 1, step)]
        drawn = [r for r in ratios if line_in(view, r) and all(abs(r - b) >= APART for b in besides)]
        if len(drawn) <= MOST_WHOLE_RATIOS:
            break
    return drawn[:: ceil(len(drawn) / MOST_WHOLE_RATIOS) or 1]


def _ratio_through(ey_pct: float, tds_pct: float) -> float:
    """R = r + E·(1 - T)/T, with the yield of one gram of water more as the unit."""
    one_more = yield_on_line_pct(max(tds_pct, FAINTEST_PCT), 1, RETAINED_WATER_G_PER_G + 1)
    return RETAINED_WATER_G_PER_G + max(ey_pct, 0.0) / one_more
