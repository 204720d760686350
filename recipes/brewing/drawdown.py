"""The water over the bed and what runs out below: Darcy's law through bed and paper, stepped along a plan.

The head is measured from the outlet to the surface, so it includes the bed; the column is what stands above the
bed. The bed takes up `RETAINED_WATER_G_PER_G` before anything runs out. Water that passes the bed through the
paper above it is left out: ribbed cones drain sooner than this says. What is not computed here at all is a brew
time for a grind and paper that nobody has brewed: `fit_conductance` takes it from logged brews.

Darcy's law and the cake are in `bed`, with their sources.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import exp, inf, log

from recipes.brewing.bed import (
    DENSITY_G_ML,
    TYPICAL_CONDUCTANCE_M2_S,
    WET_BED_ML_PER_G,
    Bed,
    Brewer,
    relative_fluidity,
)
from recipes.brewing.censored import middle
from recipes.brewing.extraction import RETAINED_WATER_G_PER_G
from recipes.brewing.roots import crossing
from recipes.brewing.slurry import WATER_J_GK, Flows, Heat, HeatAt, after_C, usual_heat

LONGEST_S = 1200.0  # a bed that still stands under water by then has stalled
BREWS_FOR_A_FIT = 5  # the interval's factor t falls from 3.2 to 2.4 by then: the house's choice
# Scatter of ln C between brews of one coffee, grinder setting and paper: engineering estimate, no source
USUAL_SCATTER = 0.15
SEEN_WITHIN_S = 3.0  # when a bed is seen to show, and a thumb on a clock: engineering estimate, no source
FORECAST_STEP_S = 2.0  # ends are within 0.3 s of those of fine steps; fits step alike
_DROP_G = 1e-9


@dataclass(frozen=True, slots=True)
class Inflow:
    """One pour as the bed gets it, from starts_s to ends_s after first water; water_C as it leaves the spout."""

    starts_s: float
    ends_s: float
    flow_g_s: float
    water_C: float


@dataclass(frozen=True, slots=True)
class Course:
    """A brew from its first water on, in short steps.

    At their edges, so one more than there are steps: at_s; poured_g since the beginning; column_mm, the water
    over the bed; slurry_C, its temperature, None while dry. Within them: pours, the index of the pour that runs,
    or None; half_mm, the column half-way; flows, what came and went. ends_s: when the bed shows for good, None if
    not within `LONGEST_S`; drained_g: what has run out by then.
    """

    at_s: tuple[float, ...]
    poured_g: tuple[float, ...]
    column_mm: tuple[float, ...]
    slurry_C: tuple[float | None, ...]
    pours: tuple[int | None, ...]
    half_mm: tuple[float, ...]
    flows: Flows
    ends_s: float | None
    drained_g: float


def drain(
    inflows: Sequence[Inflow],
    brewer: Brewer,
    dose_g: float,
    bed: Bed,
    heat: HeatAt,
    air_C: float,
    *,
    bed_mL: float | None = None,
    keeps_g: float | None = None,
    standing_g: float = 0.0,
    step_s: float = 1.0,
) -> Course:
    """Follow the water of a brew until the bed shows. Pours come in their order and do not overlap.

    The midpoint rule in steps of at most step_s, which end wherever a pour begins or ends; temperature by the
    closed form of `after_C` with the step's flows. bed_mL and keeps_g are the bed's volume and what it takes up,
    by the dose if not given; standing_g is water that stands over it at first, as warm as the air.
    """
    surface_mm = brewer.surface_mm(WET_BED_ML_PER_G * dose_g if bed_mL is None else bed_mL)
    bed_mm = surface_mm(0.0)
    room_g = RETAINED_WATER_G_PER_G * dose_g if keeps_g is None else keeps_g
    pull_g_s_mm = bed.conductance_m2_s * 1e3 * DENSITY_G_ML
    dry_g = (dose_g * heat.coffee_J_gK + heat.brewer_J_K) / WATER_J_GK
    now_s, poured, kept, out_g, out, slurry_C = 0.0, 0.0, 0.0, 0.0, 0.0, air_C
    wet, ends_s = standing_g > 0, inf
    edges = [(now_s, poured, surface_mm(standing_g) - bed_mm, slurry_C if wet else None)]
    steps: list[tuple[int | None, float, float, float, float, float, float]] = []
    poured_out_s = inflows[-1].ends_s if inflows else 0.0
    for until_s, pour in _steps(inflows, step_s):
        if now_s >= poured_out_s and standing_g <= 0:
            ends_s = now_s
            break
        seconds, inside_g = until_s - now_s, kept + standing_g
        flow, water_C = (0.0, air_C) if pour is None else (inflows[pour].flow_g_s, inflows[pour].water_C)
        soaks = min(flow, (room_g - kept) / seconds)
        rises = flow - soaks
        out_by_half_g = out_g + out * seconds / 2  # at the rate of the step before
        out, half_mm = 0.0, bed_mm
        if standing_g > 0 or rises > 0:
            per_mm = pull_g_s_mm * relative_fluidity(slurry_C) / (1 + bed.clogging_per_g * out_by_half_g)
            half_g = standing_g + (rises - per_mm * surface_mm(standing_g)) * seconds / 2
            half_mm = surface_mm(half_g if half_g > 0 else standing_g)
            out = per_mm * half_mm
            if standing_g + (rises - out) * seconds <= _DROP_G:
                if now_s >= poured_out_s:
                    seconds = standing_g / out
                    until_s = now_s + seconds
                out = standing_g / seconds + rises
        wet = wet or flow > 0
        if wet:
            in_C, heat_g = water_C - heat.flight_K, dry_g + inside_g
            slurry_C = after_C(slurry_C, heat_g, seconds, flow, in_C, out, heat.loss_W_K, air_C)
        steps.append((pour, half_mm - bed_mm, seconds, flow, water_C, out, inside_g))
        now_s, poured, kept = until_s, poured + flow * seconds, kept + soaks * seconds
        standing_g, out_g = standing_g + (rises - out) * seconds, out_g + out * seconds
        if standing_g <= _DROP_G:
            standing_g = 0.0
        edges.append((now_s, poured, surface_mm(standing_g) - bed_mm, slurry_C if wet else None))
    at_s, poured_g, column_mm, temperatures = zip(*edges, strict=True)
    within = zip(*steps, strict=True) if steps else iter([()] * 7)
    pours, halves, seconds_, inflow, hot, outflow, inside = within
    flows = Flows(seconds_, inflow, hot, outflow, inside)
    return Course(
        at_s, poured_g, column_mm, temperatures, pours, halves, flows, ends_s if ends_s < inf else None, out_g
    )


def _steps(inflows: Sequence[Inflow], step_s: float) -> Iterator[tuple[float, int | None]]:
    """Ends of the steps up to `LONGEST_S`, each with the pour that runs up to it: whole multiples of step_s, and
    every edge of a pour."""
    now_s = 0.0
    spans = []
    for index, inflow in enumerate(inflows):
        spans += [(inflow.starts_s, None), (inflow.ends_s, index)]
    for edge_s, pour in [*spans, (LONGEST_S, None)]:
        edge_s = min(edge_s, LONGEST_S)
        if edge_s <= now_s:
            continue
        tick = int(now_s / step_s + 1e-9) + 1
        while tick * step_s < edge_s - 1e-9:
            yield tick * step_s, pour
            tick += 1
        yield edge_s, pour
        now_s = edge_s


@dataclass(frozen=True, slots=True)
class ObservedBrew:
    """A logged brew: its pours as planned, its dose, and when the bed showed."""

    inflows: tuple[Inflow, ...]
    dose_g: float
    brew_time_s: float


@dataclass(frozen=True, slots=True)
class BedFit:
    """The conductance of one coffee, grinder setting and paper, in m²/s at `REFERENCE_C`.

    conductance_m2_s: best estimate; u_relative: its standard uncertainty as a share of it; low, high: its 95 %
    interval; next_low, next_high: the same for the next single brew. All None until a brew shows a drawdown.
    scatter: standard deviation of ln C between brews; brews: those used; left_out: those that cannot have been
    poured as planned, or stalled.
    """

    conductance_m2_s: float | None
    u_relative: float | None
    low: float | None
    high: float | None
    next_low: float | None
    next_high: float | None
    scatter: float
    brews: int
    left_out: int

    @property
    def brews_needed(self) -> int:
        """How many more make it a fit."""
        return max(0, BREWS_FOR_A_FIT - self.brews, 0 if self.conductance_m2_s else 1)

    @property
    def fitted(self) -> bool:
        return self.brews_needed == 0


def fit_conductance(
    brews: Iterable[ObservedBrew], brewer: Brewer, air_C: float = 22.0, heat: Heat | None = None
) -> BedFit:
    """From brews of the same coffee, grinder setting and paper, each solved for the C that ends it when it ended.

    ln C is taken as normal, since a resistance is positive and its causes multiply. A bed that showed within
    `SEEN_WITHIN_S` of the last pour says 'at least this C'.
    """
    lost = (heat or usual_heat(brewer.heat_capacity_J_K)).best
    seen: list[float] = []
    at_least: list[float] = []
    left_out = 0
    plans: dict[tuple[tuple[Inflow, ...], float], _Ends] = {}
    for brew in brews:
        last_s = brew.inflows[-1].ends_s if brew.inflows else inf
        if not last_s - SEEN_WITHIN_S <= brew.brew_time_s < LONGEST_S:
            left_out += 1
            continue
        ends_s = max(brew.brew_time_s, last_s + SEEN_WITHIN_S)
        ends = plans.setdefault((brew.inflows, brew.dose_g), _Ends(brew, brewer, lost, air_C))
        found = ends.conductance(ends_s)
        (seen if brew.brew_time_s > last_s + SEEN_WITHIN_S else at_least).append(log(found))
    if not seen:
        nothing = (None,) * 6
        return BedFit(*nothing, USUAL_SCATTER, len(at_least), left_out)
    ln = middle(seen, at_least, USUAL_SCATTER)
    assert ln.mean is not None
    assert ln.reach is not None
    return BedFit(
        conductance_m2_s=exp(ln.mean),
        u_relative=ln.u,
        low=exp(ln.low),
        high=exp(ln.high),
        next_low=exp(ln.mean - ln.reach),
        next_high=exp(ln.mean + ln.reach),
        scatter=ln.sd,
        brews=len(seen) + len(at_least),
        left_out=left_out,
    )


@dataclass(frozen=True, slots=True)
class BrewTime:
    """When the bed shows, in s after first water: best estimate and 95 % interval for a single brew. None: not
    within `LONGEST_S`."""

    low_s: float | None
    best_s: float | None
    high_s: float | None


def forecast(
    inflows: Sequence[Inflow], brewer: Brewer, dose_g: float, fit: BedFit, heat: HeatAt, air_C: float
) -> BrewTime | None:
    """None until there are brews enough."""
    if not fit.fitted or not fit.conductance_m2_s or not fit.next_low or not fit.next_high:
        return None
    fast, best, slow = (
        drain(inflows, brewer, dose_g, Bed(conductance), heat, air_C, step_s=FORECAST_STEP_S).ends_s
        for conductance in (fit.next_high, fit.conductance_m2_s, fit.next_low)
    )
    return BrewTime(fast, best, slow)


class _Ends:
    """When the brews of one plan end, by their resistance 1/C, in which that is nearly a straight line.

    It keeps what it has solved, so that the next brew of the plan is sought between two that are known.
    """

    def __init__(self, brew: ObservedBrew, brewer: Brewer, heat: HeatAt, air_C: float) -> None:
        self._brew, self._brewer, self._heat, self._air_C = brew, brewer, heat, air_C
        self._known: dict[float, float] = {}

    def conductance(self, ends_s: float) -> float:
        """The one that ends the brew then."""
        early = max(self._where(lambda end: end <= ends_s), default=1 / TYPICAL_CONDUCTANCE_M2_S)
        while self._end_s(early) > ends_s:
            early /= 2
        late = min(self._where(lambda end: end >= ends_s), default=early)
        while self._end_s(late) < ends_s:
            late *= 2
        return 1 / crossing(lambda resistance: self._end_s(resistance) - ends_s, early, late, near=0.02)

    def _where(self, is_so: Callable[[float], bool]) -> Iterator[float]:
        return (resistance for resistance, end in self._known.items() if is_so(end))

    def _end_s(self, resistance: float) -> float:
        if resistance not in self._known:
            bed, brew = Bed(1 / resistance), self._brew
            end = drain(
                brew.inflows, self._brewer, brew.dose_g, bed, self._heat, self._air_C, step_s=FORECAST_STEP_S
            ).ends_s
            self._known[resistance] = LONGEST_S if end is None else end
        return self._known[resistance]
