"""What stands under the drawing of a plan, on the same time axis: water over the bed, and how warm the slurry is.

Where the bed was never fitted they end with the last pour: how it drains is not known, so it is not drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

from django.utils.translation import gettext as _

from brewbar.units import clock, degree_figure, degree_unit, in_degrees, trimmed
from recipes.brewing.foresight import Foresight
from recipes.timeline import LEFT, RIGHT, WIDTH, Mark, TimeAxis, coordinate

HEIGHT, TOP, BOTTOM = 84, 8, 8
STEPS = (2, 5, 10, 20, 50, 100, 200)
MOST_MARKS = 4
LAST_HEIGHT = HEIGHT + 16
"""Of the undermost panel, which carries the times."""

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Panel:
    """One curve over time, in units of its view box. ``band`` is a polygon, or empty."""

    key: str
    title: str
    line: str
    area: str
    band: str
    marks: list[Mark]
    times: list[Mark]
    shows_times: bool
    summary: str
    height: str
    tick_y: str
    width: str = str(WIDTH)
    left: str = str(LEFT)
    right: str = str(WIDTH - RIGHT)
    top: str = str(TOP)
    bottom: str = str(HEIGHT - BOTTOM)
    label_x: str = str(LEFT - 7)
    time_y: str = str(LAST_HEIGHT - 6)


@dataclass(frozen=True)
class Moment:
    """One line of the table that says the same."""

    at: str
    what: str
    poured: str
    column: str
    slurry: str


@dataclass(frozen=True)
class Curves:
    panels: list[Panel]
    moments: list[Moment]


def draw_curves(seen: Foresight, axis: TimeAxis) -> Curves | None:
    """None until there is a dose and a first pour with its start, weight and flow."""
    curves = seen.curves
    if curves is None:
        return None
    until_s = drawn_until_s(seen)
    upto = sum(1 for at in curves.t_s if at <= until_s)
    at_s, column = curves.t_s[:upto], curves.column_mm[:upto]
    wet = [
        (at, low, best, high)
        for at, low, best, high in zip(
            at_s, curves.slurry_low_C, curves.slurry_C, curves.slurry_high_C, strict=False
        )
        if low is not None and best is not None and high is not None
    ]
    panels = [
        _column(list(zip(at_s, column, strict=True)), axis),
        _slurry(
            [(at, low) for at, low, _b, _h in wet],
            [(at, best) for at, _l, best, _h in wet],
            [(at, high) for at, _l, _b, high in wet],
            axis,
        ),
    ]
    return Curves(panels, list(_moments(seen, at_s)))


def drawn_until_s(seen: Foresight) -> float:
    """To the end of the brew where that can be forecast, else to the end of what is poured."""
    if seen.brew_time is not None and seen.brew_time.best_s is not None:
        return ceil(seen.brew_time.best_s)
    poured = seen.curves.poured_g if seen.curves else ()
    last = next((at for at, grams in enumerate(poured) if grams >= poured[-1]), 0)
    return float(last)


def _column(points: Points, axis: TimeAxis) -> Panel:
    tallest = max(value for _at, value in points)
    scale = _Upright(0, max(tallest * 1.1, 10))
    line = _path(points, axis, scale)
    floor_y = coordinate(scale.y(0))
    first, last = (coordinate(axis.x(points[end][0])) for end in (0, -1))
    return Panel(
        key="column",
        title=_("Water over the bed, mm"),
        line=line,
        area=f"{first},{floor_y} {line} {last},{floor_y}",
        band="",
        marks=scale.marks(),
        times=axis.marks(),
        shows_times=False,
        height=str(HEIGHT),
        tick_y=str(HEIGHT - BOTTOM + 3),
        summary=_("At most %(tallest)s mm of water stand over the bed.") % {"tallest": trimmed(tallest, 0)},
    )


def _slurry(low: Points, best: Points, high: Points, axis: TimeAxis) -> Panel:
    shown = [[(at, float(in_degrees(value))) for at, value in curve] for curve in (low, best, high)]
    coldest = min(value for _at, value in shown[0])
    warmest = max(value for _at, value in shown[2])
    scale = _Upright(floor(coldest / 5) * 5, ceil(warmest / 5) * 5)
    there, back = _path(shown[0], axis, scale), _path(shown[2][::-1], axis, scale)
    words = {
        "first": degree_figure(best[0][1], 0),
        "last": degree_figure(best[-1][1], 0),
        "unit": degree_unit(),
    }
    return Panel(
        key="slurry",
        title=_("Slurry, %(unit)s: likeliest, and as cold or warm as it may be") % {"unit": degree_unit()},
        line=_path(shown[1], axis, scale),
        area="",
        band=f"{there} {back}",
        marks=scale.marks(),
        times=axis.marks(),
        shows_times=True,
        height=str(LAST_HEIGHT),
        tick_y=str(HEIGHT - BOTTOM + 5),
        summary=_("From about %(first)s %(unit)s at first to about %(last)s %(unit)s at last.") % words,
    )


def _moments(seen: Foresight, at_s: Sequence[int]) -> list[Moment]:
    curves = seen.curves
    if curves is None:
        return []
    wanted: dict[int, tuple[str, str]] = {}
    """Of the first whole second at which it is so: the clock, and what."""
    for number, (pour, ahead) in enumerate(zip(seen.plan.pours, seen.pours, strict=True), start=1):
        if pour.starts_at_s is None or ahead is None or ahead.ends_at_s is None:
            break
        begins, ends = _("pour %(number)d begins"), _("pour %(number)d ends")
        wanted.setdefault(ceil(pour.starts_at_s), (clock(pour.starts_at_s), begins % {"number": number}))
        wanted[ceil(ahead.ends_at_s)] = (clock(ahead.ends_at_s), ends % {"number": number})
    if seen.brew_time is not None:
        wanted[at_s[-1]] = (clock(at_s[-1]), _("the bed shows"))
    rows = []
    for at, (shown, what) in sorted(wanted.items()):
        if at > at_s[-1]:
            break
        low, high = curves.slurry_low_C[at], curves.slurry_high_C[at]
        rows.append(
            Moment(
                at=shown,
                what=what,
                poured=trimmed(curves.poured_g[at], 0),
                column=trimmed(curves.column_mm[at], 0),
                slurry=""
                if low is None or high is None
                else _("%(low)s to %(high)s")
                % {"low": degree_figure(low, 0), "high": degree_figure(high, 0)},
            )
        )
    return rows


@dataclass(frozen=True)
class _Upright:
    low: float
    high: float

    def y(self, value: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (value - self.low) / (self.high - self.low)

    def marks(self) -> list[Mark]:
        apart = next((s for s in STEPS if (self.high - self.low) / s <= MOST_MARKS), STEPS[-1])
        first, last = ceil(self.low / apart), floor(self.high / apart)
        values = (apart * count for count in range(first, last + 1))
        return [Mark(coordinate(self.y(value)), trimmed(value, 0)) for value in values]


def _path(points: Points, axis: TimeAxis, scale: _Upright) -> str:
    return " ".join(f"{coordinate(axis.x(at))},{coordinate(scale.y(value))}" for at, value in points)
