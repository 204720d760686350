"""Rules whose findings only warn: the plan can be brewed, but may disappoint, or needs a reason."""

from collections.abc import Iterator

from brewbar.units import degrees, degrees_apart, degrees_up_to, fixed, ratio, rounded
from brewbar.words import gettext as _
from recipes.brewing.findings import Bar, Finding, Rule, Severity, Where, plain
from recipes.brewing.pours import Pattern, Pour, PourPlan, brew_ratio
from recipes.brewing.refusals import SPOUT_MAX_MM

# Clanet and Lasheras 1999, J. Fluid Mech. 383:307, gives 1.4 to 1.6 g/s for spouts of 5 to 8 mm at 93 °C
DRIPPING_BELOW_G_S = 1.5
SPOUT_HIGH_MM = 150.0  # engineering estimate, no source: above it splashes carry
NEAR_BOILING_SPOUT_MM = 100.0  # engineering estimate, no source: a 5 g/s stream is still whole below it
NEAR_BOILING_K = 2.0  # common practice, no source
SIDEWAYS_SHARE_MAX = 0.5  # of the kettle's capacity: common practice, no source
BREW_RATIO_MIN, BREW_RATIO_MAX = 12.0, 20.0  # common practice, no source
USUAL_TDS_TOLERANCE_PCT = 0.10  # the house's default: about twice what two drops can tell


def flow_the_kettle_can_hold(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    """Common practice, no source; a kettle known to pour slower than others may."""
    slowest = bar.kettle.flow_min_g_s if bar.kettle else None
    fastest = bar.kettle.flow_max_g_s if bar.kettle else None
    for index, pour in enumerate(plan.pours):
        flow = pour.flow_g_s
        if flow is None or flow <= 0:
            continue
        if fastest is not None and flow > fastest:
            words = {"number": index + 1, "flow": plain(flow), "limit": plain(fastest)}
            what = _(
                "Pour %(number)d asks for %(flow)s g/s, but this kettle pours no faster than %(limit)s g/s."
            )
            mend = _("Plan %(limit)s g/s or less, or choose a kettle that pours faster.")
            yield _warning("flow-range", index, "flow_g_s", what % words, mend % words)
        elif slowest is not None and flow < slowest:
            words = {"number": index + 1, "flow": plain(flow), "limit": plain(slowest)}
            what = _(
                "Pour %(number)d asks for %(flow)s g/s, "
                "but this kettle cannot hold a stream below %(limit)s g/s."
            )
            mend = _("Plan %(limit)s g/s or more, or choose a kettle that pours slower.")
            yield _warning("flow-range", index, "flow_g_s", what % words, mend % words)
        elif slowest is None and flow < DRIPPING_BELOW_G_S:
            words = {"number": index + 1, "flow": plain(flow), "limit": plain(DRIPPING_BELOW_G_S)}
            what = _(
                "Pour %(number)d asks for %(flow)s g/s; below about %(limit)s g/s most spouts only drip."
            )
            mend = _("Plan %(limit)s g/s or more, or try this kettle with cold water first.")
            yield _warning("flow-drips", index, "flow_g_s", what % words, mend % words)


def sideways_from_a_full_kettle(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    """The kettle is taken to be filled with just the brew water, which is the least that will do."""
    capacity_g = bar.kettle.capacity_g if bar.kettle else None
    if capacity_g is None or plan.water_g is None:
        return
    filled_g, allowed_g = min(plan.water_g, capacity_g), SIDEWAYS_SHARE_MAX * capacity_g
    poured_g = 0.0
    for index, pour in enumerate(plan.pours):
        left_g = filled_g - poured_g
        if pour.pattern is Pattern.SIDEWAYS and left_g > allowed_g:
            what = _(
                "Pour %(number)d tips the kettle on its side with %(left)s g of water in it, "
                "more than half of the %(holds)s g it holds: it may spill."
            ) % {"number": index + 1, "left": plain(left_g), "holds": plain(capacity_g)}
            mend = _("Pour sideways once %(allowed)s g or less is left, or choose a larger kettle.") % {
                "allowed": plain(allowed_g)
            }
            yield _warning("kettle-too-full", index, "pattern", what, mend)
        if pour.to_g is not None:
            poured_g = pour.to_g


def water_above_boiling(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    """Compared as shown, to 0.1 °C. 'At the boil' is right everywhere."""
    words = {"boils": degrees(bar.boiling_C, 1), "below": degrees_up_to(bar.boiling_C)}

    def too_hot(temperature_C: float) -> bool:
        return rounded(temperature_C, 1) > rounded(bar.boiling_C, 1)

    if not plan.at_the_boil and plan.water_temperature_C is not None and too_hot(plan.water_temperature_C):
        asked = degrees(plan.water_temperature_C)
        what = _("The plan asks for water at %(asked)s, but here it boils at %(boils)s.")
        mend = _("Choose 'at the boil', or %(below)s or less.") % words
        what %= words | {"asked": asked}
        yield _warning("above-boiling", "plan", "water_temperature_C", what, mend)
    for index, pour in enumerate(plan.pours):
        if pour.temperature_C is not None and too_hot(pour.temperature_C):
            said = words | {"number": index + 1, "asked": degrees(pour.temperature_C)}
            what = _("Pour %(number)d asks for water at %(asked)s, but here it boils at %(boils)s.") % said
            mend = _("Leave it at the plan's temperature, or set %(below)s or less.") % said
            yield _warning("above-boiling", index, "temperature_C", what, mend)


def high_spout(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    for index, pour in enumerate(plan.pours):
        if pour.spout_height_mm is not None and SPOUT_HIGH_MM < pour.spout_height_mm <= SPOUT_MAX_MM:
            what = _(
                "Pour %(number)d holds the spout %(height)s mm up: hot water splashes, the stream may break."
            ) % {"number": index + 1, "height": plain(pour.spout_height_mm)}
            mend = _(
                "Hold it at %(limit)s mm or lower, or see with cold water first that the stream stays whole."
            ) % {"limit": plain(SPOUT_HIGH_MM)}
            yield _warning("spout-high", index, "spout_height_mm", what, mend)


def high_pour_near_boiling(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    """Common practice, no source."""
    for index, pour in enumerate(plan.pours):
        height_mm = pour.spout_height_mm
        if height_mm is None or height_mm <= NEAR_BOILING_SPOUT_MM:
            continue
        temperature_C = _temperature_C(plan, pour, bar)
        if temperature_C is not None and temperature_C > bar.boiling_C - NEAR_BOILING_K:
            words = {
                "number": index + 1,
                "height": plain(height_mm),
                "near": degrees_apart(NEAR_BOILING_K),
                "boils": degrees(bar.boiling_C, 1),
                "limit": plain(NEAR_BOILING_SPOUT_MM),
                "cooler": degrees_up_to(bar.boiling_C - NEAR_BOILING_K),
            }
            what = _(
                "Pour %(number)d falls %(height)s mm and is within %(near)s of "
                "boiling (%(boils)s here): the kettle spits and the stream breaks sooner."
            )
            mend = _("Hold the spout at %(limit)s mm or lower, or use water at %(cooler)s or less.")
            yield _warning("high-near-boiling", index, "spout_height_mm", what % words, mend % words)


def _temperature_C(plan: PourPlan, pour: Pour, bar: Bar) -> float | None:
    if pour.temperature_C is not None:
        return pour.temperature_C
    return bar.boiling_C if plan.at_the_boil else plan.water_temperature_C


def patterns_that_do_not_repeat(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    """Common practice, no source."""
    for index, pour in enumerate(plan.pours):
        if pour.pattern is Pattern.RISE_AND_FALL:
            what = _("Pour %(number)d raises and lowers the kettle, which is hard to do alike twice.")
            mend = _("Hold one height, above all in a recipe that people are checked or trained on.")
            yield _warning("pattern-rise-and-fall", index, "pattern", what % {"number": index + 1}, mend)
        elif pour.pattern is Pattern.WALL:
            what = _(
                "Pour %(number)d runs down the paper: it slows the brew, and water passes the coffee by."
            )
            mend = _("Pour circles instead; one short rinse-down of high grounds is normal.")
            yield _warning("pattern-wall", index, "pattern", what % {"number": index + 1}, mend)


def tolerance_the_instrument_can_tell(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    if bar.instrument is None or plan.tds_target is None or plan.tds_tolerance is None:
        return
    tells = bar.instrument.relative_U_tds
    if round(plan.tds_tolerance, 3) > round(tells, 3):
        return
    words = {
        "tolerance": fixed(plan.tds_tolerance, 2),
        "instrument": bar.instrument.name,
        "can": fixed(tells, 3),
        "usual": fixed(USUAL_TDS_TOLERANCE_PCT, 2),
    }
    what = _(
        "The TDS tolerance is ±%(tolerance)s %%, but %(instrument)s tells ±%(can)s %% "
        "from two drops, so no brew could be called inside."
    )
    widened = _("Widen it to ±%(usual)s %%.")
    mend = widened if tells < USUAL_TDS_TOLERANCE_PCT else _("Make it wider than ±%(can)s %%.")
    yield _warning("tolerance-too-fine", "plan", "tds_tolerance", what % words, mend % words)


def unusual_brew_ratio(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    water_to_dose = brew_ratio(plan)
    if plan.dose_g is None or plan.water_g is None or water_to_dose is None or plan.water_g <= 0:
        return
    if not BREW_RATIO_MIN <= water_to_dose <= BREW_RATIO_MAX:
        dose, least, most = (plain(times * plan.dose_g) for times in (1, BREW_RATIO_MIN, BREW_RATIO_MAX))
        what = _("A brew ratio of %(ratio)s lies outside the usual 1:12 to 1:20.") % {
            "ratio": ratio(plan.water_g, plan.dose_g)
        }
        mend = _("Check the dose and the water: %(dose)s g usually takes %(least)s g to %(most)s g.") % {
            "dose": dose,
            "least": least,
            "most": most,
        }
        yield _warning("ratio-unusual", "plan", "water_g", what, mend)


def dose_the_brewer_takes(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    """A dose above the largest that the brewer is said to take."""
    largest_g = bar.brewer.largest_dose_g if bar.brewer else None
    if bar.brewer and largest_g is not None and plan.dose_g is not None and plan.dose_g > largest_g:
        told = {"dose": plain(plan.dose_g), "brewer": bar.brewer.name, "largest": plain(largest_g)}
        what = _("A dose of %(dose)s g is more than the brewer %(brewer)s takes, %(largest)s g.") % told
        mend = _("Choose a larger brewer, or a dose of %(largest)s g or less.") % told
        yield _warning("dose-too-large", "plan", "dose_g", what, mend)


CAUTIONS: tuple[Rule, ...] = (
    flow_the_kettle_can_hold,
    sideways_from_a_full_kettle,
    water_above_boiling,
    high_spout,
    high_pour_near_boiling,
    patterns_that_do_not_repeat,
    tolerance_the_instrument_can_tell,
    unusual_brew_ratio,
    dose_the_brewer_takes,
)


def _warning(code: str, where: Where, field: str | None, what: str, mend: str) -> Finding:
    return Finding(Severity.WARNING, code, where, field, what, mend)
