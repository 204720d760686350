"""Rules of the trade that rest on what the stream and the bed do. Their findings only warn.

The limits that are numbers here are engineering estimates, no source; the rules are common practice, no source.
"""

from collections.abc import Iterator

from brewbar.units import clock, trimmed
from brewbar.words import gettext as _
from recipes.brewing import stream
from recipes.brewing.cautions import SPOUT_HIGH_MM
from recipes.brewing.drawdown import BrewTime
from recipes.brewing.findings import Bar, Finding, Rule, Severity, Where, plain
from recipes.brewing.pours import After, Kettle, Pattern, PourPlan, water_C
from recipes.brewing.water import WATER_MAX_C, WATER_MIN_C

FLOW_MAX_G_S = 100.0  # more than any kettle pours: above it a number was mistyped
DIGS_BELOW_MM, DIGS_ABOVE_G_S = 30.0, 8.0
STIRS_MAX = 2
POURS_MAX = 6


def stream_whole_at_the_bed(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    """R5: beyond the breakup height agitation falls. Of a kettle not measured there, only what none is known to do.

    Of spouts so high that they splash, and of flows that only drip, it is said already.
    """
    kettle = bar.kettle or Kettle("")
    for index, pour in enumerate(plan.pours):
        height_mm, flow, hot = pour.spout_height_mm, pour.flow_g_s, water_C(plan, pour, bar.boiling_C)
        if height_mm is None or flow is None or not 0 < flow <= FLOW_MAX_G_S:
            continue
        if hot is None or hot < WATER_MIN_C:
            continue
        if pour.pattern in (Pattern.BROKEN_STREAM, Pattern.WALL) or height_mm > SPOUT_HIGH_MM:
            continue
        hot, bore_mm = min(hot, WATER_MAX_C), kettle.effective_bore_mm
        if flow < stream.jetting_flow_g_s(hot, bore_mm):
            continue
        breaks = stream.breakup(flow, hot, bore_mm, kettle.growth)
        limit_mm = breaks.best_mm if breaks.measured else breaks.high_mm
        if height_mm <= limit_mm:
            continue
        if breaks.measured:
            what = _(
                "Pour %(number)d falls %(height)s mm, but at %(flow)s g/s this kettle's stream breaks at about "
                "%(limit)s mm: drops agitate the bed less than a whole stream."
            )
        else:
            what = _(
                "Pour %(number)d falls %(height)s mm, but at %(flow)s g/s a stream seldom stays whole for more "
                "than %(limit)s mm: drops agitate the bed less."
            )
        lower_mm = stream.recommended_height_mm(breaks).best_mm
        mend = _("Hold the spout near %(lower)s mm, or measure where this kettle's stream breaks.")
        what %= {
            "number": index + 1,
            "height": plain(height_mm),
            "flow": plain(flow),
            "limit": about_mm(limit_mm),
        }
        yield _warning("stream-breaks", index, "spout_height_mm", what, mend % {"lower": about_mm(lower_mm)})


def low_and_fast(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    """R5."""
    for index, pour in enumerate(plan.pours):
        if pour.spout_height_mm is None or pour.flow_g_s is None:
            continue
        if pour.pattern in (Pattern.SIDEWAYS, Pattern.BROKEN_STREAM, Pattern.WALL):
            continue
        if pour.spout_height_mm < DIGS_BELOW_MM and pour.flow_g_s > DIGS_ABOVE_G_S:
            told = {
                "number": index + 1,
                "flow": plain(pour.flow_g_s),
                "height": plain(pour.spout_height_mm),
                "slower": plain(DIGS_ABOVE_G_S),
                "higher": plain(DIGS_BELOW_MM),
            }
            what = _(
                "Pour %(number)d is low and fast, %(flow)s g/s from %(height)s mm: it can dig a hole in the bed."
            )
            mend = _("Pour at %(slower)s g/s or less, or hold the spout at %(higher)s mm or higher.")
            yield _warning("low-and-fast", index, "flow_g_s", what % told, mend % told)


def stirred_often(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    """R1."""
    stirred = [index for index, pour in enumerate(plan.pours) if pour.after is not After.NOTHING]
    if len(stirred) > STIRS_MAX:
        what = _(
            "The bed is stirred or swirled after %(times)d pours. Each time extracts more and moves fines, and the "
            "bed may drain slowly or stall."
        ) % {"times": len(stirred)}
        mend = _("Leave one out, and see what it does to strength and brew time.")
        yield _warning("stirred-often", stirred[-1], "after", what, mend)


def many_pours(plan: PourPlan, bar: Bar) -> Iterator[Finding]:
    """R3."""
    if len(plan.pours) > POURS_MAX:
        what = _(
            "There are %(pours)d pours. Many small ones brew cooler, agitate more and move more fines than fewer, "
            "larger ones."
        ) % {"pours": len(plan.pours)}
        mend = _("Join two pours, unless this is what the recipe is for.")
        yield _warning("many-pours", "plan", None, what, mend)


def brew_time_against_target(plan: PourPlan, forecast: BrewTime) -> Iterator[Finding]:
    """Only where the whole forecast lies outside of the target."""
    if plan.brew_time_s is None:
        return
    tolerance_s = plan.brew_time_tolerance_s or 0.0
    early = forecast.high_s is not None and forecast.high_s < plan.brew_time_s - tolerance_s
    late = forecast.low_s is None or forecast.low_s > plan.brew_time_s + tolerance_s
    if not early and not late:
        return
    told = {
        "target": clock(plan.brew_time_s),
        "tolerance": clock(tolerance_s),
        "low": _("never") if forecast.low_s is None else clock(forecast.low_s),
        "high": _("never") if forecast.high_s is None else clock(forecast.high_s),
    }
    what = _(
        "The brew time target is %(target)s ± %(tolerance)s, but by the brews logged so far this plan ends between "
        "%(low)s and %(high)s."
    )
    mend = _("Change the target or the times of the pours; otherwise the grind has to change.")
    yield _warning("brew-time-forecast", "plan", "brew_time_s", what % told, mend)


PRACTICE: tuple[Rule, ...] = (stream_whole_at_the_bed, low_and_fast, stirred_often, many_pours)


def about_mm(height_mm: float) -> str:
    """A height that is known to some tens of millimetres: to the nearest 5 mm."""
    return trimmed(5 * round(height_mm / 5), 0)


def _warning(code: str, where: Where, field: str | None, what: str, mend: str) -> Finding:
    return Finding(Severity.WARNING, code, where, field, what, mend)
