"""A pour plan made ready to be read: one row of words a pour, and a drawing of water against time.

Whatever a draft leaves open is an empty string in a row, and is passed over by the drawing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _

from brewbar.units import clock, degree_figure, ratio, trimmed
from recipes.brewing.plan import PourPlan, added_g, brew_ratio, ends_at_s, gaps
from recipes.models import Pour

WIDTH, HEIGHT = 360, 216
LEFT, RIGHT, TOP, BOTTOM = 38, 8, 20, 28
STEPS_S = (15, 30, 60, 120, 300, 600)
MOST_TICKS = 6
LABEL_APART = 13
AIR = 1.03
SAME_S = 0.5
"""Nobody can tell half a second on the clock of a scale."""


@dataclass(frozen=True)
class PlanRow:
    """One pour in the words of a card; units stand in the headings of its table."""

    number: int
    starts: str
    ends: str
    gap: str
    to: str
    added: str
    flow: str
    height: str
    temperature: str
    pattern: str
    pattern_name: str
    after: str
    after_name: str
    note: str
    overlaps: bool


def plan_rows(plan: PourPlan) -> list[PlanRow]:
    return [
        PlanRow(
            number=number,
            starts=_shown(pour.starts_at_s, clock),
            ends=_shown(end, clock),
            gap=_shown(gap, clock),
            to=_shown(pour.to_g, _short),
            added=_shown(added, _signed),
            flow=_shown(pour.flow_g_s, _short),
            height=_shown(pour.spout_height_mm, _short),
            temperature=_shown(pour.temperature_C, degree_figure),
            pattern=pour.pattern.value,
            pattern_name=str(Pour.Pattern(pour.pattern.value).label),
            after=pour.after.value,
            after_name=str(Pour.After(pour.after.value).label) if pour.after.value else "",
            note=pour.note,
            overlaps=gap is not None and gap < -SAME_S,
        )
        for number, (pour, added, end, gap) in enumerate(
            zip(plan.pours, added_g(plan), ends_at_s(plan), gaps(plan), strict=True), start=1
        )
    ]


@dataclass(frozen=True)
class Totals:
    """What follows from a plan as a whole; an empty string where it cannot be said yet."""

    dose: str
    water: str
    temperature: str
    ratio: str
    poured: str
    ends: str
    drawdown: str
    """From the end of the last pour to the planned brew time."""
    complete: bool
    """Whether the pours end at the brew water."""


def totals(plan: PourPlan) -> Totals:
    poured = next((pour.to_g for pour in reversed(plan.pours) if pour.to_g is not None), None)
    end = max((end for end in ends_at_s(plan) if end is not None), default=None)
    left = None if end is None or plan.brew_time_s is None else plan.brew_time_s - end
    return Totals(
        dose=_shown(plan.dose_g, _short),
        temperature=_shown(plan.water_temperature_C, degree_figure),
        ratio="" if not brew_ratio(plan) else ratio(plan.water_g or 0, plan.dose_g or 1),
        poured=_shown(poured, _short),
        water=_shown(plan.water_g, _short),
        ends=_shown(end, clock),
        drawdown="" if left is None or left < 0 else clock(left),
        complete=poured is not None and plan.water_g is not None and abs(poured - plan.water_g) < 0.005,
    )


@dataclass(frozen=True)
class Mark:
    """A label on an axis: where, and what it says."""

    at: str
    text: str


@dataclass(frozen=True)
class Stroke:
    """One pour in the drawing: its line, at whose upper end its number stands, and the ground under it."""

    number: int
    x1: str
    y1: str
    x2: str
    y2: str
    area: str
    waits_until: str
    """Where the level line after it ends."""
    problem: bool


@dataclass(frozen=True)
class Timeline:
    """A drawing in units of its view box; every number is ready to be written into SVG."""

    strokes: list[Stroke]
    times: list[Mark]
    weights: list[Mark]
    water: str
    target: Mark | None
    target_from: str
    target_width: str
    summary: str
    width: str = str(WIDTH)
    height: str = str(HEIGHT)
    left: str = str(LEFT)
    right: str = str(WIDTH - RIGHT)
    top: str = str(TOP)
    bottom: str = str(HEIGHT - BOTTOM)
    depth: str = str(HEIGHT - TOP - BOTTOM)
    label_x: str = str(LEFT - 7)
    tick_y: str = str(HEIGHT - BOTTOM + 5)
    time_y: str = str(HEIGHT - BOTTOM + 18)


@dataclass(frozen=True)
class TimeAxis:
    """From first water to ``until_s``, the same in every drawing that stands under another."""

    until_s: float

    def x(self, at_s: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * min(at_s, self.until_s) / self.until_s

    def marks(self) -> list[Mark]:
        step = next((s for s in STEPS_S if self.until_s / s <= MOST_TICKS), STEPS_S[-1])
        return [Mark(coordinate(self.x(s)), clock(s)) for s in range(0, int(self.until_s) + 1, step)]


@dataclass(frozen=True)
class _Scale:
    time: TimeAxis
    until_g: float

    def x(self, at_s: float) -> float:
        return self.time.x(at_s)

    def y(self, at_g: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * max(at_g, 0) / self.until_g


def time_axis(plan: PourPlan, beside: PourPlan | None = None, ends_s: float = 0) -> TimeAxis:
    """Long enough for ``plan``, for what stands ``beside`` it, and for a brew that ends at ``ends_s``."""
    return TimeAxis(max(ends_s * AIR, *(_reach(one)[0] for one in (plan, beside) if one is not None)))


def draw(plan: PourPlan, beside: PourPlan | None = None, axis: TimeAxis | None = None) -> Timeline | None:
    """The drawing of a plan; None while no pour has its start, weight and flow.

    It has the scale that ``beside`` needs too, so that two drawings next to one another can be compared by eye.
    """
    drawn = list(_drawn(plan))
    if not drawn:
        return None
    until_g = max(_reach(one)[1] for one in (plan, beside) if one is not None)
    scale = _Scale(axis or time_axis(plan, beside), until_g)
    last_s = max(d.end_s for d in drawn)
    brew_s = plan.brew_time_s
    tolerance_s = plan.brew_time_tolerance_s or 0
    after = [d.start_s for d in drawn[1:]] + [max(brew_s or last_s, last_s)]
    return Timeline(
        strokes=[_stroke(d, until, scale) for d, until in zip(drawn, after, strict=True)],
        times=scale.time.marks(),
        weights=_weights([*(d.to_g for d in drawn), *([plan.water_g] if plan.water_g else [])], scale),
        water=coordinate(scale.y(plan.water_g)) if plan.water_g else "",
        target=None if brew_s is None else Mark(coordinate(scale.x(brew_s)), clock(brew_s)),
        target_from="" if brew_s is None else coordinate(scale.x(max(brew_s - tolerance_s, 0))),
        target_width=""
        if brew_s is None
        else coordinate(scale.x(brew_s + tolerance_s) - scale.x(max(brew_s - tolerance_s, 0))),
        summary=_summary(drawn, brew_s),
    )


def _reach(plan: PourPlan) -> tuple[float, float]:
    """Up to when, and up to what weight, a drawing of the plan goes."""
    drawn = list(_drawn(plan))
    ends = [d.end_s for d in drawn] + [(plan.brew_time_s or 0) + (plan.brew_time_tolerance_s or 0), 30]
    return max(ends) * AIR, max([d.to_g for d in drawn] + [plan.water_g or 0, 1]) * 1.04


@dataclass(frozen=True)
class _Drawn:
    number: int
    start_s: float
    end_s: float
    from_g: float
    to_g: float
    overlaps: bool


def _drawn(plan: PourPlan) -> Iterator[_Drawn]:
    numbers = zip(plan.pours, added_g(plan), ends_at_s(plan), gaps(plan), strict=True)
    for number, (pour, added, end, gap) in enumerate(numbers, start=1):
        start, to = pour.starts_at_s, pour.to_g
        if start is None or to is None or added is None or end is None:
            continue
        overlaps = added <= 0 or (gap is not None and gap < -SAME_S)
        yield _Drawn(number, start, max(end, start), to - added, to, overlaps)


def _stroke(drawn: _Drawn, until_s: float, scale: _Scale) -> Stroke:
    x1, x2 = scale.x(drawn.start_s), scale.x(drawn.end_s)
    y1, y2 = scale.y(drawn.from_g), scale.y(drawn.to_g)
    end, floor = max(scale.x(until_s), x2), scale.y(0)
    corners = ((x1, floor), (x1, y1), (x2, y2), (end, y2), (end, floor))
    return Stroke(
        number=drawn.number,
        x1=coordinate(x1),
        y1=coordinate(y1),
        x2=coordinate(x2),
        y2=coordinate(y2),
        area=" ".join(f"{coordinate(x)},{coordinate(y)}" for x, y in corners),
        waits_until=coordinate(end),
        problem=drawn.overlaps,
    )


def _weights(wanted: list[float], scale: _Scale) -> list[Mark]:
    """Labels of the weights, the heaviest first, leaving out those that would run into one already there."""
    marks: list[Mark] = []
    taken: list[float] = []
    for weight in sorted(set(wanted), reverse=True):
        y = scale.y(weight)
        if all(abs(y - other) >= LABEL_APART for other in taken):
            taken.append(y)
            marks.append(Mark(coordinate(y), _short(weight)))
    return marks


def _summary(drawn: list[_Drawn], brew_s: float | None) -> str:
    told = [
        _("%(start)s to %(end)s: up to %(weight)s g")
        % {"start": clock(d.start_s), "end": clock(d.end_s), "weight": _short(d.to_g)}
        for d in drawn
    ]
    if brew_s is not None:
        told.append(_("brew time %(time)s") % {"time": clock(brew_s)})
    return "; ".join(told) + "."


def coordinate(value: float) -> str:
    """As it is written into SVG."""
    return f"{value:.1f}".removesuffix(".0")


def _short(value: float) -> str:
    return trimmed(value, 1)


def _signed(value: float) -> str:
    size = trimmed(abs(value), 1)
    return f"{'−' if value < 0 else '+'}{size}"


def _shown(value: float | None, how: Callable[[float], str]) -> str:
    return "" if value is None else how(value)
