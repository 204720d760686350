"""What a plan will do, before a gram of coffee is spent: each pour's stream, and the brew as it goes on.

Nothing is refused here. A draft says what it can: a pour without flow or temperature has no stream, and the course
of the brew ends before the first pour that is not complete. What a plan should not ask for is `plan.review`'s.

Energy is what the stream brings to the bed, less what the column over it takes up. None is claimed for a stream
that has probably broken, drips, runs down the paper, or is raised and lowered: no number for those is known.
"""

from dataclasses import dataclass
from enum import StrEnum

from recipes.brewing import stream
from recipes.brewing.bed import Bed, Brewer, typical_bed
from recipes.brewing.drawdown import (
    BREWS_FOR_A_FIT,
    LONGEST_S,
    BedFit,
    BrewTime,
    Course,
    Inflow,
    drain,
    forecast,
)
from recipes.brewing.findings import Conditions, Finding
from recipes.brewing.pours import Kettle, Pattern, Pour, PourPlan, added_g, ends_at_s, water_C
from recipes.brewing.practice import FLOW_MAX_G_S, brew_time_against_target
from recipes.brewing.slurry import Range, outflow_C, temperatures_C, usual_heat
from recipes.brewing.stream import Breakup, Heights, Regime
from recipes.brewing.water import WATER_MAX_C, WATER_MIN_C, boiling_point_C

CLOCK_S = 0.5  # a pour may end this much after the next begins: clocks show whole seconds
_NO_ENERGY_KNOWN = frozenset({Pattern.BROKEN_STREAM, Pattern.WALL, Pattern.RISE_AND_FALL})


class State(StrEnum):
    """What the stream is when it meets the bed."""

    WHOLE = "whole"
    MAY_BREAK = "may break"
    BROKEN = "broken"
    DRIPS = "drips"


@dataclass(frozen=True, slots=True)
class PourForesight:
    """One pour. What hangs on a number that a draft does not have yet is None.

    added_g, ends_at_s; water_C: as it leaves the kettle; exit_velocity_m_s, reynolds, weber, ohnesorge, regime: in
    the spout; breakup_height_mm, recommended_height_mm: below it; impact_velocity_m_s,
    stream_diameter_at_impact_mm, state: after the fall; momentum_mN_s: what it brings in all. From the course of
    the brew: column_mm, the water over the bed as it begins and as it ends; energy_mJ: at the bed, None where none
    is claimed.
    """

    added_g: float | None
    ends_at_s: float | None
    water_C: float
    exit_velocity_m_s: float
    reynolds: float
    weber: float
    ohnesorge: float
    regime: Regime
    breakup_height_mm: Breakup
    recommended_height_mm: Heights
    impact_velocity_m_s: float | None
    stream_diameter_at_impact_mm: float | None
    state: State | None
    momentum_mN_s: float | None
    column_mm: tuple[float, float] | None
    energy_mJ: float | None


@dataclass(frozen=True, slots=True)
class Curves:
    """One value for each whole second: t_s, poured_g, column_mm; slurry temperature in °C, None while dry, with
    every parameter at its cold end, at its best, and at its warm end."""

    t_s: tuple[int, ...]
    poured_g: tuple[float, ...]
    column_mm: tuple[float, ...]
    slurry_low_C: tuple[float | None, ...]
    slurry_C: tuple[float | None, ...]
    slurry_high_C: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Foresight:
    """A plan and what it will do.

    pours: one for each, None where a pour has no stream yet; curves: None without a dose and a complete first
    pour; complete: whether they cover the whole plan, and only then: energy_mJ, the sum at the bed, None if a pour
    claims none; momentum_mN_s; poured_out_s, the end of the last pour; tallest_mm, the tallest column; mean_C, mean
    temperature of what runs out, as a band; brew_time, None without a fit of this bed; findings about it.
    brews_needed: how many more logged brews a fit needs, 0 where there is one.
    """

    plan: PourPlan
    pours: tuple[PourForesight | None, ...]
    curves: Curves | None
    complete: bool
    energy_mJ: float | None
    momentum_mN_s: float | None
    poured_out_s: float | None
    tallest_mm: float | None
    mean_C: Range | None
    brew_time: BrewTime | None
    brews_needed: int
    findings: tuple[Finding, ...]


def foresee(
    plan: PourPlan,
    kettle: Kettle | None = None,
    brewer: Brewer | None = None,
    bed: BedFit | None = None,
    conditions: Conditions | None = None,
) -> Foresight:
    """Raises ValueError for an altitude outside the range of `boiling_point_C`, or a brewer that cannot be."""
    kettle, brewer, conditions = kettle or Kettle(""), brewer or Brewer(), conditions or Conditions()
    boiling_C = boiling_point_C(conditions.altitude_m)
    heat = usual_heat(brewer.heat_capacity_J_K)
    inflows = inflows_of(plan, boiling_C)
    course = None
    if plan.dose_g is not None and plan.dose_g > 0 and inflows:
        fitted = bed.conductance_m2_s if bed and bed.fitted else None
        lets_through = Bed(fitted) if fitted else typical_bed(brewer, plan.dose_g)
        course = drain(inflows, brewer, plan.dose_g, lets_through, heat.best, conditions.air_C)
    complete = course is not None and len(inflows) == len(plan.pours)
    pours = _pours(plan, kettle, boiling_C, course)
    curves, mean_C = None, None
    if course and plan.dose_g:
        cold = temperatures_C(course.flows, plan.dose_g, heat.cold, conditions.air_C)
        warm = temperatures_C(course.flows, plan.dose_g, heat.warm, conditions.air_C)
        curves = _curves(course, cold, warm)
        mean_C = _band(*(outflow_C(course.flows, edges) for edges in (cold, course.slurry_C, warm)))
    brew_time = None
    if complete and bed and plan.dose_g:
        brew_time = forecast(inflows, brewer, plan.dose_g, bed, heat.best, conditions.air_C)
    return Foresight(
        plan=plan,
        pours=pours,
        curves=curves,
        complete=complete,
        energy_mJ=_total([None if pour is None else pour.energy_mJ for pour in pours]) if complete else None,
        momentum_mN_s=_total([None if pour is None else pour.momentum_mN_s for pour in pours])
        if complete
        else None,
        poured_out_s=inflows[-1].ends_s if complete else None,
        tallest_mm=max(course.column_mm) if course and complete else None,
        mean_C=mean_C if complete else None,
        brew_time=brew_time,
        brews_needed=bed.brews_needed if bed else BREWS_FOR_A_FIT,
        findings=tuple(brew_time_against_target(plan, brew_time)) if brew_time else (),
    )


def inflows_of(plan: PourPlan, boiling_C: float) -> tuple[Inflow, ...]:
    """The pours of a plan as a bed gets them, up to the first that is not complete or begins too early."""
    inflows: list[Inflow] = []
    free_s = 0.0
    for pour, added, end in zip(plan.pours, added_g(plan), ends_at_s(plan), strict=True):
        hot = _liquid_C(plan, pour, boiling_C)
        if end is None or not added or added <= 0 or not pour.flow_g_s or hot is None:
            break
        if end > LONGEST_S or pour.flow_g_s > FLOW_MAX_G_S:
            break
        if pour.starts_at_s is None or pour.starts_at_s < free_s - CLOCK_S or pour.starts_at_s < 0:
            break
        starts_s = max(pour.starts_at_s, free_s)
        free_s = starts_s + added / pour.flow_g_s
        inflows.append(Inflow(starts_s, free_s, pour.flow_g_s, hot))
    return tuple(inflows)


def _liquid_C(plan: PourPlan, pour: Pour, boiling_C: float) -> float | None:
    hot = water_C(plan, pour, boiling_C)
    return None if hot is None or hot < WATER_MIN_C else min(hot, WATER_MAX_C)


def _pours(
    plan: PourPlan, kettle: Kettle, boiling_C: float, course: Course | None
) -> tuple[PourForesight | None, ...]:
    found: list[PourForesight | None] = []
    columns = _columns(course)
    for index, (pour, added, end) in enumerate(zip(plan.pours, added_g(plan), ends_at_s(plan), strict=True)):
        hot = _liquid_C(plan, pour, boiling_C)
        if hot is None or pour.flow_g_s is None or not 0 < pour.flow_g_s <= FLOW_MAX_G_S:
            found.append(None)
        else:
            found.append(_pour(pour, pour.flow_g_s, hot, added, end, kettle, columns.get(index)))
    return tuple(found)


@dataclass(slots=True)
class _Column:
    """The water over the bed during one pour: as it begins, as it ends, and step by step (seconds, mm)."""

    before_mm: float
    after_mm: float
    steps: list[tuple[float, float]]


def _columns(course: Course | None) -> dict[int, _Column]:
    found: dict[int, _Column] = {}
    if course is None:
        return found
    edges = course.column_mm
    steps = zip(course.pours, course.flows.seconds, course.half_mm, edges, edges[1:], strict=False)
    for pour, seconds, half_mm, before_mm, after_mm in steps:
        if pour is None:
            continue
        column = found.get(pour)
        if column is None:
            column = found[pour] = _Column(before_mm, after_mm, [])
        column.after_mm = after_mm
        column.steps.append((seconds, half_mm))
    return found


def _pour(
    pour: Pour,
    flow_g_s: float,
    hot_C: float,
    added: float | None,
    end_s: float | None,
    kettle: Kettle,
    column: _Column | None,
) -> PourForesight:
    bore_mm, height_mm = kettle.effective_bore_mm, pour.spout_height_mm
    number = stream.reynolds(flow_g_s, hot_C, bore_mm)
    breaks = stream.breakup(flow_g_s, hot_C, bore_mm, kettle.growth)
    velocity = diameter_mm = state = momentum = energy = None
    if height_mm is not None and height_mm >= 0:
        velocity = stream.impact_velocity_m_s(flow_g_s, hot_C, bore_mm, height_mm)
        diameter_mm = stream.stream_diameter_mm(flow_g_s, hot_C, velocity)
        state = _state(pour.pattern, height_mm, breaks, flow_g_s, stream.jetting_flow_g_s(hot_C, bore_mm))
        momentum = added * velocity if added is not None and added > 0 else None
        known = pour.pattern not in _NO_ENERGY_KNOWN and state is not State.DRIPS
        if column and known and height_mm <= breaks.best_mm:
            energy = _energy_mJ(flow_g_s, velocity, diameter_mm, column)
    return PourForesight(
        added_g=added,
        ends_at_s=end_s,
        water_C=hot_C,
        exit_velocity_m_s=stream.exit_velocity_m_s(flow_g_s, hot_C, bore_mm),
        reynolds=number,
        weber=stream.weber(flow_g_s, hot_C, bore_mm),
        ohnesorge=stream.ohnesorge(hot_C, bore_mm),
        regime=stream.regime(number),
        breakup_height_mm=breaks,
        recommended_height_mm=stream.recommended_height_mm(breaks),
        impact_velocity_m_s=velocity,
        stream_diameter_at_impact_mm=diameter_mm,
        state=state,
        momentum_mN_s=momentum,
        column_mm=(column.before_mm, column.after_mm) if column else None,
        energy_mJ=energy,
    )


def _state(
    pattern: Pattern, height_mm: float, breaks: Breakup, flow_g_s: float, jets_from_g_s: float
) -> State:
    if pattern is Pattern.BROKEN_STREAM:
        return State.BROKEN
    if flow_g_s < jets_from_g_s:
        return State.DRIPS
    if height_mm <= breaks.low_mm:
        return State.WHOLE
    return State.MAY_BREAK if height_mm <= breaks.high_mm else State.BROKEN


def _energy_mJ(flow_g_s: float, velocity_m_s: float, diameter_mm: float, column: _Column) -> float:
    power_mW = 1e3 * stream.impact_power_W(flow_g_s, velocity_m_s)
    return power_mW * sum(
        stream.attenuation(diameter_mm, half_mm) * seconds for seconds, half_mm in column.steps
    )


def _curves(course: Course, cold: tuple[float | None, ...], warm: tuple[float | None, ...]) -> Curves:
    # steps end at every whole second, and some in between
    whole = [index for index, at in enumerate(course.at_s) if at == round(at)]
    return Curves(
        t_s=tuple(round(course.at_s[index]) for index in whole),
        poured_g=tuple(course.poured_g[index] for index in whole),
        column_mm=tuple(course.column_mm[index] for index in whole),
        slurry_low_C=tuple(cold[index] for index in whole),
        slurry_C=tuple(course.slurry_C[index] for index in whole),
        slurry_high_C=tuple(warm[index] for index in whole),
    )


def _band(low: float | None, best: float | None, high: float | None) -> Range | None:
    return None if low is None or best is None or high is None else Range(low, best, high)


def _total(parts: list[float | None]) -> float | None:
    known = [part for part in parts if part is not None]
    return sum(known) if len(known) == len(parts) else None
