"""A plan in a file, and what is known of where and with what it is brewed.

A number of the plan that is still open is null: a key that is left out is taken for a slip. What is known of kettle,
brewer, bed and café may be left out.
"""

from dataclasses import dataclass, replace
from math import exp, log

from brewbar.words import gettext as _
from recipes.brewing.bed import Brewer, Shape
from recipes.brewing.drawdown import (
    BREWS_FOR_A_FIT,
    LONGEST_S,
    USUAL_SCATTER,
    BedFit,
    ObservedBrew,
    fit_conductance,
)
from recipes.brewing.extraction import RETAINED_WATER_G_PER_G
from recipes.brewing.findings import Conditions
from recipes.brewing.foresight import inflows_of
from recipes.brewing.pours import After, Kettle, Pattern, Pour, PourPlan
from recipes.brewing.practice import FLOW_MAX_G_S
from recipes.brewing.stream import Observation, fit_n
from recipes.brewing.strict_json import Given, Malformed, Number, Part, parsed
from recipes.brewing.water import ALTITUDE_MAX_M, ALTITUDE_MIN_M, WATER_MAX_C, WATER_MIN_C, boiling_point_C

MOST_BYTES = 100_000
NOTHING = "nothing"
AT_THE_BOIL = "at the boil"
_MOST = 1e5  # g, s, mm: far above any café, and small enough to reckon with
_FAULTS_TOLD = 20
_NORMAL_95 = 1.96  # half the width of 95 % of a normal distribution, in standard deviations

PLAN = {
    "dose_g": Number("g", 0, _MOST, Given.OPEN),
    "water_g": Number("g", 0, _MOST, Given.OPEN),
    "bypass_g": Number("g", 0, _MOST),
    "ice_g": Number("g", 0, _MOST),
    "altitude_m": Number("m", ALTITUDE_MIN_M, ALTITUDE_MAX_M),
    "air_temperature_C": Number("°C", -40, 60),
}
TEMPERATURE = Number("°C", 0, 150, Given.OPEN)
POUR = {
    "starts_at_s": Number("s", 0, _MOST, Given.OPEN),
    "to_g": Number("g", 0, _MOST, Given.OPEN),
    "flow_g_s": Number("g/s", 0, _MOST, Given.OPEN),
    "spout_height_mm": Number("mm", 0, _MOST, Given.OPEN),
    "temperature_C": Number("°C", 0, 150),
}
TARGETS = {
    "tds_pct": Number("%", 0, 100),
    "tds_tolerance_pct": Number("%", 0, 100),
    "yield_pct": Number("%", 0, 100),
    "yield_tolerance_pct": Number("%", 0, 100),
    "brew_time_s": Number("s", 0, _MOST),
    "brew_time_tolerance_s": Number("s", 0, _MOST),
}
KETTLE = {
    "bore_mm": Number("mm", 1, 30),
    "flow_min_g_s": Number("g/s", 0, FLOW_MAX_G_S),
    "flow_max_g_s": Number("g/s", 0, FLOW_MAX_G_S),
    "capacity_g": Number("g", 1, _MOST),
}
OBSERVATION = {
    "flow_g_s": Number("g/s", 0.1, FLOW_MAX_G_S, Given.ALWAYS),
    "temperature_C": Number("°C", WATER_MIN_C, WATER_MAX_C, Given.ALWAYS),
    "height_mm": Number("mm", 1, 1000, Given.ALWAYS),
}
BREWER = {
    "half_angle_deg": Number("°", 5, 85),
    "diameter_mm": Number("mm", 10, 1000),
    "heat_capacity_J_K": Number("J/K", 0, 1e4),
}
FIT = {
    "low_m2_s": Number("m²/s", 1e-9, 1e-2, Given.ALWAYS),
    "best_m2_s": Number("m²/s", 1e-9, 1e-2, Given.ALWAYS),
    "high_m2_s": Number("m²/s", 1e-9, 1e-2, Given.ALWAYS),
    "brews": Number("", 1, 1e4, Given.ALWAYS),
}
BREW_TIME = Number("s", 1, LONGEST_S)
KEYS = {
    "": (*PLAN, "temperature_C", "kettle", "brewer", "conductance", "targets", "pours"),
    "pours": (*POUR, "pattern", "then"),
    "targets": tuple(TARGETS),
    "kettle": (*KETTLE, "breakup_observations"),
    "breakup_observations": (*OBSERVATION, "broken"),
    "brewer": ("shape", *BREWER),
    "conductance": (*FIT, "brew_times_s"),
}


@dataclass(frozen=True, slots=True)
class PlanFile:
    """A plan, and what its file knows of kettle, brewer, bed and café. bed: fitted to logged brews."""

    plan: PourPlan
    kettle: Kettle | None
    brewer: Brewer | None
    bed: BedFit | None
    cafe: Conditions


def read(raw: bytes) -> PlanFile:
    """Raises Malformed with all that is wrong."""
    faults: list[str] = []
    top = Part.of(parsed(raw, MOST_BYTES), "", KEYS[""], faults)
    file = _plan_file(top) if top else None
    if faults or not file:
        more = len(faults) - _FAULTS_TOLD
        rest = [_("And %(more)d more.") % {"more": more}] if more > 0 else []
        raise Malformed(*faults[:_FAULTS_TOLD], *rest)
    return file


def _plan_file(top: Part) -> PlanFile:
    given = top.numbers(PLAN)
    boils = top.says("temperature_C", AT_THE_BOIL)
    or_boils = _('%(number)s, or "%(words)s"') % {"number": TEMPERATURE.expected, "words": AT_THE_BOIL}
    targets = top.part("targets", KEYS["targets"])
    aims = targets.numbers(TARGETS) if targets else dict.fromkeys(TARGETS)
    plan = PourPlan(
        dose_g=given["dose_g"],
        water_g=given["water_g"],
        water_temperature_C=None if boils else top.number("temperature_C", TEMPERATURE, or_boils),
        at_the_boil=boils,
        pours=_pours(top),
        bypass_g=given["bypass_g"] or 0.0,
        ice_g=given["ice_g"] or 0.0,
        tds_target=aims["tds_pct"],
        tds_tolerance=aims["tds_tolerance_pct"],
        ey_target=aims["yield_pct"],
        ey_tolerance=aims["yield_tolerance_pct"],
        brew_time_s=aims["brew_time_s"],
        brew_time_tolerance_s=aims["brew_time_tolerance_s"],
    )
    cafe = Conditions()
    if given["altitude_m"] is not None:
        cafe = replace(cafe, altitude_m=given["altitude_m"])
    if given["air_temperature_C"] is not None:
        cafe = replace(cafe, air_C=given["air_temperature_C"])
    brewer = _brewer(top)
    return PlanFile(plan, _kettle(top), brewer, _bed(top, plan, brewer or Brewer(), cafe), cafe)


def _pours(top: Part) -> tuple[Pour, ...]:
    pours = []
    for part in top.parts("pours", KEYS["pours"], _("a list of pours")):
        given = part.numbers(POUR)
        pattern = part.choice("pattern", Pattern) or Pattern.CIRCLE
        nothing = part.says("then", NOTHING)
        then = After.NOTHING if nothing else part.choice("then", After, After.NOTHING) or After.NOTHING
        pours.append(
            Pour(
                starts_at_s=given["starts_at_s"],
                to_g=given["to_g"],
                pattern=pattern,
                flow_g_s=given["flow_g_s"],
                spout_height_mm=given["spout_height_mm"],
                temperature_C=given["temperature_C"],
                after=then,
            )
        )
    return tuple(pours)


def _kettle(top: Part) -> Kettle | None:
    part = top.part("kettle", KEYS["kettle"])
    if part is None:
        return None
    given = part.numbers(KETTLE)
    slowest, fastest = given["flow_min_g_s"], given["flow_max_g_s"]
    kettle = Kettle(_("of this plan"), slowest, fastest, given["capacity_g"], given["bore_mm"])
    if slowest is not None and fastest is not None and slowest > fastest:
        part.refuse("flow_min_g_s", _("no more than flow_max_g_s, %(fastest)s") % {"fastest": f"{fastest:g}"})
    if not part.has("breakup_observations"):
        return kettle
    seen = []
    for one in part.parts("breakup_observations", KEYS["breakup_observations"], _("a list of observations")):
        measured, broken = one.numbers(OBSERVATION), one.is_true("broken", True)
        flow, hot, height = measured["flow_g_s"], measured["temperature_C"], measured["height_mm"]
        if flow is not None and hot is not None and height is not None:
            seen.append(Observation(flow, hot, height, broken))
    return replace(kettle, growth=fit_n(seen, kettle.effective_bore_mm)) if seen else kettle


def _brewer(top: Part) -> Brewer | None:
    part = top.part("brewer", KEYS["brewer"])
    if part is None:
        return None
    given, shape, usual = part.numbers(BREWER), part.choice("shape", Shape), Brewer()
    return Brewer(
        shape or usual.shape,
        given["half_angle_deg"] or usual.half_angle_deg,
        given["diameter_mm"] or usual.diameter_mm,
        given["heat_capacity_J_K"],
    )


def _bed(top: Part, plan: PourPlan, brewer: Brewer, cafe: Conditions) -> BedFit | None:
    if top.is_number("conductance"):
        stated = top.number("conductance", FIT["best_m2_s"])
        return None if stated is None else _stated(stated)
    part = top.part("conductance", KEYS["conductance"])
    if part is None:
        return None
    if part.has("brew_times_s"):
        for key in FIT:
            if part.has(key):
                part.refuse(key, _("either a fit or brew_times_s"))
        return _fitted(part, plan, brewer, cafe)
    given = part.numbers(FIT)
    low, best, high, brews = (given[key] for key in ("low_m2_s", "best_m2_s", "high_m2_s", "brews"))
    if low is None or best is None or high is None or brews is None:
        return None
    if not low <= best <= high:
        part.refuse("best_m2_s", _("a number between low_m2_s and high_m2_s"))
    if brews != int(brews):
        part.refuse("brews", _("a whole number"))
    return BedFit(best, None, None, None, low, high, log(high / low) / (2 * _NORMAL_95), int(brews), 0)


def _stated(conductance_m2_s: float) -> BedFit:
    """Brews scatter about it as they usually do."""
    reach = exp(_NORMAL_95 * USUAL_SCATTER)
    low, high = conductance_m2_s / reach, conductance_m2_s * reach
    return BedFit(conductance_m2_s, None, None, None, low, high, USUAL_SCATTER, BREWS_FOR_A_FIT, 0)


def _fitted(part: Part, plan: PourPlan, brewer: Brewer, cafe: Conditions) -> BedFit | None:
    times = part.listed_numbers("brew_times_s", BREW_TIME, _("a list of brew times"))
    inflows = inflows_of(plan, boiling_point_C(cafe.altitude_m))
    poured_g = sum(inflow.flow_g_s * (inflow.ends_s - inflow.starts_s) for inflow in inflows)
    if not plan.dose_g or len(inflows) < len(plan.pours) or poured_g <= RETAINED_WATER_G_PER_G * plan.dose_g:
        part.refuse("brew_times_s", _("brews of a plan that is complete, and whose bed lets water run out"))
        return None
    brews = [ObservedBrew(inflows, plan.dose_g, time_s) for time_s in times]
    return fit_conductance(brews, brewer, cafe.air_C)
