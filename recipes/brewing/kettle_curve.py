"""What is known of where a kettle's stream breaks, as curves over its flows, and which pours it cannot make.

A curve holds at one temperature. It comes in stretches, since its band is narrow only where the kettle's own points
reach; where theory and trade part ways about hot water (R6), no side is taken: a stretch that was not measured has
the wide band.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

from recipes.brewing import stream
from recipes.brewing.cautions import SPOUT_HIGH_MM, flow_the_kettle_can_hold, high_spout
from recipes.brewing.findings import Bar, Finding
from recipes.brewing.pours import Kettle, Pour, PourPlan, water_C
from recipes.brewing.practice import stream_whole_at_the_bed
from recipes.brewing.stream import Basis, Breakup, Observation
from recipes.brewing.water import WATER_MIN_C

BREWING_C = 93.0  # SCAA Standard, Golden Cup, version of 23 December 2015: 93.0 ± 3 °C
SLOWEST_DRAWN_G_S = 1.0
ALIKE_K = 10.0  # the model moves a breakup height by about 1 % in 10 K: engineering estimate
MOST_ROWS = 8
_SAMPLES = 24
_WITHIN = 1e-6  # share of a flow by which the ends of a stretch stay inside it


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a curve that rests on one basis: flows in g/s, rising, and where the stream breaks at each."""

    basis: Basis
    flows_g_s: tuple[float, ...]
    breaks: tuple[Breakup, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One flow of a curve, for a table."""

    flow_g_s: float
    breaks: Breakup


@dataclass(frozen=True, slots=True)
class Curve:
    temperature_C: float
    stretches: tuple[Stretch, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Points whose temperatures lie close together; is_hot: about brewing temperature."""

    temperature_C: float
    is_hot: bool
    points: tuple[Observation, ...]


@dataclass(frozen=True, slots=True)
class Known:
    """A kettle, what was measured of it, and what follows.

    brewing: the curve at brewing temperature; measured: once there is a fit, one for each other temperature at
    which there are points; groups: the points of each temperature, coldest first.
    """

    kettle: Kettle
    points: tuple[Observation, ...]
    brewing: Curve
    measured: tuple[Curve, ...]
    groups: tuple[Group, ...]

    @property
    def fitted(self) -> bool:
        return self.kettle.growth is not None and self.kettle.growth.fitted

    @property
    def curves(self) -> tuple[Curve, ...]:
        return (self.brewing, *self.measured)


def known(kettle: Kettle, points: Sequence[Observation], boiling_C: float) -> Known:
    """``kettle`` comes with the fit of ``points``; both of its flows have to be known."""
    hot_C = min(BREWING_C, boiling_C)
    flows = _reach(kettle, points)
    groups = _groups(points, hot_C)
    measured = [group.temperature_C for group in groups if not group.is_hot]
    if kettle.growth is None or not kettle.growth.fitted:
        measured = []
    return Known(
        kettle,
        tuple(points),
        _curve(kettle, hot_C, flows),
        tuple(_curve(kettle, at_C, flows) for at_C in measured),
        groups,
    )


def breaks_at(kettle: Kettle, flow_g_s: float, temperature_C: float) -> Breakup:
    return stream.breakup(flow_g_s, temperature_C, kettle.effective_bore_mm, kettle.growth)


def beyond(plan: PourPlan, kettle: Kettle, boiling_C: float) -> tuple[Finding, ...]:
    """The pours of a plan that this kettle cannot make: too fast or slow for it (R8), or broken on the way (R5)."""
    bar = Bar(boiling_C, kettle)
    found = [*flow_the_kettle_can_hold(plan, bar), *stream_whole_at_the_bed(plan, bar)]
    for finding in high_spout(plan, bar):
        if not _stays_whole(plan, plan.pours[int(finding.where)], bar):
            found.append(finding)
    return tuple(sorted(found, key=lambda finding: int(finding.where)))


def _stays_whole(plan: PourPlan, pour: Pour, bar: Bar) -> bool:
    """Whether the kettle is known to pour so high: of spouts above what splashes, the rule of the stream is silent."""
    hot = water_C(plan, pour, bar.boiling_C)
    if bar.kettle is None or not pour.flow_g_s or hot is None or hot < WATER_MIN_C:
        return False
    breaks = breaks_at(bar.kettle, pour.flow_g_s, hot)
    return breaks.measured and (pour.spout_height_mm or SPOUT_HIGH_MM) <= breaks.best_mm


# --- curves


def _reach(kettle: Kettle, points: Sequence[Observation]) -> tuple[float, float]:
    assert kettle.flow_min_g_s is not None
    assert kettle.flow_max_g_s is not None
    flows = [kettle.flow_min_g_s, kettle.flow_max_g_s, *(point.flow_g_s for point in points)]
    return max(SLOWEST_DRAWN_G_S, min(flows)), max(2 * SLOWEST_DRAWN_G_S, *flows)


def middle_flow_g_s(kettle: Kettle) -> float:
    low, high = _reach(kettle, ())
    return round(low + high) / 2


def _groups(points: Sequence[Observation], hot_C: float) -> tuple[Group, ...]:
    groups: list[list[Observation]] = []
    for point in sorted(points, key=lambda point: point.temperature_C):
        if groups and point.temperature_C - groups[-1][0].temperature_C <= ALIKE_K:
            groups[-1].append(point)
        else:
            groups.append([point])
    return tuple(_group(group, hot_C) for group in groups)


def _group(points: Sequence[Observation], hot_C: float) -> Group:
    middle_C = fmean(point.temperature_C for point in points)
    return Group(middle_C, abs(middle_C - hot_C) <= ALIKE_K, tuple(points))


def _curve(kettle: Kettle, at_C: float, flows: tuple[float, float]) -> Curve:
    low, high = flows
    bends = [
        stream.flow_at_reynolds_g_s(number, at_C, kettle.effective_bore_mm)
        for number in (stream.TRANSITIONAL_FROM_RE, stream.TURBULENT_ABOVE_RE)
    ]
    edges = [low, *(bend for bend in bends if low < bend < high), high]
    found: list[tuple[Basis, float, float]] = []
    for start, end in pairwise(edges):
        basis = breaks_at(kettle, (start + end) / 2, at_C).basis
        if found and found[-1][0] is basis:
            start = found.pop()[1]
        found.append((basis, start, end))
    stretches = tuple(_stretch(kettle, at_C, *one) for one in found)
    rows = tuple(Row(flow, breaks_at(kettle, flow, at_C)) for flow in _round_flows(low, high))
    return Curve(at_C, stretches, rows)


def _stretch(kettle: Kettle, at_C: float, basis: Basis, low: float, high: float) -> Stretch:
    low, high = low * (1 + _WITHIN), high * (1 - _WITHIN)
    flows = tuple(low + (high - low) * step / (_SAMPLES - 1) for step in range(_SAMPLES))
    return Stretch(basis, flows, tuple(breaks_at(kettle, flow, at_C) for flow in flows))


def _round_flows(low: float, high: float) -> Iterator[float]:
    step = next(step for step in (0.5, 1, 2, 5, 10) if (high - low) / step < MOST_ROWS)
    number = -int(-low // step)
    while number * step <= high:
        yield number * step
        number += 1
