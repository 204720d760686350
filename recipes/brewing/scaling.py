"""A plan for more or for fewer cups at the same brew ratio, and what does not grow with them.

What scales is mass: dose, brew water, bypass, ice and the weight each pour ends at. Flow and spout height stay,
since they are what one gram of water does to the bed: a stream of the same flow from the same height lands at
the same speed and breaks up at the same height, and it is the flow that the hand is used to and the kettle can
hold. So a pour of twice the water lasts twice as long, and a pour that it would run into begins later.

Times stay where they can: a bloom rests because gas leaves the bed, which takes as long in a deep bed as in a
shallow one. Common practice, no source. Only two kinds of pours move: one that would begin before the one before
it ends, and one that goes on from the one before it without a pause, which it still does.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import ceil, isfinite

from brewbar.units import clock, ratio, rounded
from brewbar.words import gettext as _
from recipes.brewing.findings import Finding, Severity, Where, plain
from recipes.brewing.pours import Pour, PourPlan, added_g, ends_at_s, gaps

SMALLEST_IN_WHOLE_GRAMS_G = 10.0
"""A pour below it is written to the tenth: half a gram would be more than a twentieth of it. The house's choice."""
NO_PAUSE_S = 1.0
"""Starts are whole seconds, so a pour that goes on at once may begin up to this long after the one before."""
SAME_DOSE_G = 0.05


@dataclass(frozen=True, slots=True)
class Scaled:
    """plan: the same brew for another dose; findings: which pours had to move, and what does not scale."""

    plan: PourPlan
    findings: tuple[Finding, ...]


def scale(plan: PourPlan, factor: float) -> Scaled:
    """The plan for `factor` times the dose. Targets and tolerances stay, the brew time among them.

    Raises ValueError for a factor that is not above 0. What a draft leaves open stays open.
    """
    if not isfinite(factor) or factor <= 0:
        raise ValueError(f"A plan is scaled by a number above 0, not by {factor}.")
    if factor == 1:
        return Scaled(plan, ())
    dose_g = None if plan.dose_g is None else float(rounded(factor * plan.dose_g, 1))
    by = dose_g / plan.dose_g if dose_g and plan.dose_g else factor
    decimals = _decimals(plan, by, dose_g)

    def scaled_g(mass_g: float) -> float:
        return float(rounded(by * mass_g, decimals))

    water_g = None if plan.water_g is None else scaled_g(plan.water_g)
    # By the rounded water, so that whatever was poured up to the brew water still is.
    of_water = water_g / plan.water_g if water_g and plan.water_g else by
    heavier = replace(
        plan,
        dose_g=dose_g,
        water_g=water_g,
        bypass_g=scaled_g(plan.bypass_g),
        ice_g=scaled_g(plan.ice_g),
        pours=tuple(
            replace(pour, to_g=None if pour.to_g is None else float(rounded(of_water * pour.to_g, decimals)))
            for pour in plan.pours
        ),
    )
    moved = replace(heavier, pours=_in_time(plan, heavier))
    return Scaled(moved, (*what_does_not_scale(plan, moved), *_what_moved(plan, moved)))


def _decimals(plan: PourPlan, by: float, dose_g: float | None) -> int:
    """0 where whole grams will do: they did before, none is a large part of a pour, and the ratio shows alike."""
    masses = [plan.water_g, plan.bypass_g, plan.ice_g, *(pour.to_g for pour in plan.pours)]
    if any(mass is not None and mass != round(mass) for mass in masses):
        return 1
    if any(added is not None and by * added < SMALLEST_IN_WHOLE_GRAMS_G for added in added_g(plan)):
        return 1
    if dose_g and plan.dose_g and plan.water_g is not None:
        whole = ratio(float(rounded(by * plan.water_g, 0)), dose_g)
        return 0 if whole == ratio(plan.water_g, plan.dose_g) else 1
    return 0


def _in_time(before: PourPlan, after: PourPlan) -> tuple[Pour, ...]:
    """The pours of `after`, none beginning before the one before it ends; starts are whole seconds."""
    pours: list[Pour] = []
    pauses = (None, *gaps(before))
    for pour, pause in zip(after.pours, pauses[: len(after.pours)], strict=True):
        end = ends_at_s(replace(after, pours=tuple(pours)))[-1] if pours else None
        start = pour.starts_at_s
        if start is not None and end is not None:
            earliest = float(ceil(round(end, 6)))
            goes_on = pause is not None and pause < NO_PAUSE_S
            start = earliest if goes_on else max(start, earliest)
        pours.append(replace(pour, starts_at_s=start))
    return tuple(pours)


def _what_moved(before: PourPlan, after: PourPlan) -> Iterator[Finding]:
    pauses = (None, *gaps(before))
    for index, (old, new) in enumerate(zip(before.pours, after.pours, strict=True)):
        was, now = old.starts_at_s, new.starts_at_s
        if was is None or now is None or was == now:
            continue
        pause = pauses[index]
        if pause is not None and pause < NO_PAUSE_S:
            what = _(
                "Pour %(number)d begins at %(now)s instead of %(was)s: it goes on from the pour before it "
                "without a pause, as it did."
            )
            mend = ""
        else:
            what = _(
                "Pour %(number)d begins at %(now)s instead of %(was)s: at the same flow the pour before it "
                "ends only then, and the pause between them is gone."
            )
            mend = _(
                "Begin it later if the water stands too high, or pour faster if the kettle can hold that."
            )
        what %= {"number": index + 1, "now": clock(now), "was": clock(was)}
        yield _warning("pour-moved", index, "starts_at_s", what, mend)


def what_does_not_scale(before: PourPlan, after: PourPlan) -> Iterator[Finding]:
    """Bed depth and drawdown, which follow the dose and not the cups. Common practice, no source."""
    if before.dose_g is None or after.dose_g is None or abs(before.dose_g - after.dose_g) < SAME_DOSE_G:
        return
    if after.dose_g > before.dose_g:
        what = _(
            "This was written for %(before)s g. Brew time and bed depth do not scale with the cups: "
            "with %(after)s g in the same brewer the bed is deeper and drains more slowly."
        )
        mend = _("The grind usually goes coarser. Brew it once, then set the brew time.")
    else:
        what = _(
            "This was written for %(before)s g. Brew time and bed depth do not scale with the cups: "
            "with %(after)s g in the same brewer the bed is shallower and drains faster."
        )
        mend = _("The grind usually goes finer. Brew it once, then set the brew time.")
    brew_time_s = after.brew_time_s
    if brew_time_s is not None and brew_time_s == before.brew_time_s:
        still = _("%(time)s is still the old one.") % {"time": clock(brew_time_s)}
        mend = f"{mend} {still}"
    what %= {"before": plain(before.dose_g), "after": plain(after.dose_g)}
    yield _warning("time-not-scaled", "plan", "brew_time_s", what, mend)


def _warning(code: str, where: Where, field: str, what: str, mend: str) -> Finding:
    return Finding(Severity.WARNING, code, where, field, what, mend)
