"""Whether a plan's targets can be met at all: TDS and yield are tied by the mass balance of `extraction`.

The bed may keep anything from the least to the most water, and yield may lie anywhere in its tolerance;
a TDS target is refused only when no such brew comes within its own tolerance.
"""

from collections.abc import Iterator
from typing import NamedTuple

from brewbar.words import gettext as _
from recipes.brewing.extraction import (
    RETAINED_WATER_G_PER_G,
    RETAINED_WATER_MAX_G_PER_G,
    RETAINED_WATER_MIN_G_PER_G,
    SOLUBLE_MAX_PCT,
    tds_on_line_pct,
    yield_on_line_pct,
)
from recipes.brewing.findings import plain
from recipes.brewing.pours import PourPlan


class OutOfReach(NamedTuple):
    code: str
    field: str
    what: str
    mend: str


def targets_fit_the_masses(plan: PourPlan) -> Iterator[OutOfReach]:
    dose_g, water_g = plan.dose_g, plan.water_g
    if dose_g is None or water_g is None or dose_g <= 0 or water_g <= 0:
        return
    if water_g <= RETAINED_WATER_MIN_G_PER_G * dose_g:
        words = {
            "dose": plain(dose_g),
            "water": plain(water_g),
            "least": plain(RETAINED_WATER_MIN_G_PER_G * dose_g),
            "most": plain(RETAINED_WATER_MAX_G_PER_G * dose_g),
        }
        what = _("%(dose)s g of coffee keeps at least %(least)s g of water: %(water)s g gives no beverage.")
        mend = _("Pour well over %(most)s g, or use a smaller dose.")
        yield OutOfReach("no-beverage", "water_g", what % words, mend % words)
        return
    tds, ey = plan.tds_target, plan.ey_target
    if ey is not None and ey > SOLUBLE_MAX_PCT:
        words = {"ey": plain(ey), "limit": plain(SOLUBLE_MAX_PCT)}
        what = _("An extraction yield of %(ey)s %% is more than coffee can give up, about %(limit)s %%.")
        mend = _("Set a yield target below %(limit)s %%; most filter recipes lie between 18 %% and 22 %%.")
        yield OutOfReach("yield-not-soluble", "ey_target", what % words, mend % words)
    elif tds is not None and tds > 0:
        if ey is None:
            yield from _strength_alone(plan, dose_g, water_g, tds)
        elif ey > 0:
            yield from _strength_and_yield(plan, dose_g, water_g, tds, ey)


def _strength_alone(plan: PourPlan, dose_g: float, water_g: float, tds: float) -> Iterator[OutOfReach]:
    masses = _masses(plan, dose_g, water_g)
    strongest = tds_on_line_pct(SOLUBLE_MAX_PCT, *masses, _most_kept(dose_g, water_g))
    if tds - (plan.tds_tolerance or 0) <= strongest:
        return
    words = {
        "brew": _brew(plan, dose_g, water_g),
        "tds": plain(tds),
        "most": plain(SOLUBLE_MAX_PCT),
        "strongest": plain(strongest),
        "likely": plain(tds_on_line_pct(20, *masses, _likely_kept(dose_g, water_g))),
    }
    what = _(
        "%(brew)s cannot reach a TDS of %(tds)s %%: even at a yield of %(most)s %% it ends near %(strongest)s %%."
    )
    mend = _("Set the TDS target near %(likely)s %% (a yield of 20 %%), or use more coffee or less water.")
    yield OutOfReach("targets-contradict", "tds_target", what % words, mend % words)


def _strength_and_yield(
    plan: PourPlan, dose_g: float, water_g: float, tds: float, ey: float
) -> Iterator[OutOfReach]:
    masses = _masses(plan, dose_g, water_g)
    ey_tolerance, tds_tolerance = plan.ey_tolerance or 0.0, plan.tds_tolerance or 0.0
    weakest = tds_on_line_pct(max(0.0, ey - ey_tolerance), *masses, RETAINED_WATER_MIN_G_PER_G)
    strongest = tds_on_line_pct(ey + ey_tolerance, *masses, _most_kept(dose_g, water_g))
    if tds - tds_tolerance <= strongest and tds + tds_tolerance >= weakest:
        return
    likely_kept = _likely_kept(dose_g, water_g)
    needed_ey = yield_on_line_pct(tds, *masses, likely_kept) if tds < 100 else 0.0
    words = {
        "brew": _brew(plan, dose_g, water_g),
        "ey": plain(ey),
        "ey_tolerance": plain(ey_tolerance),
        "weakest": plain(weakest),
        "strongest": plain(strongest),
        "tds": plain(tds),
        "tds_tolerance": plain(tds_tolerance),
        "likely": plain(tds_on_line_pct(ey, *masses, likely_kept)),
        "needed": plain(round(needed_ey, 1)),
    }
    what = _(
        "%(brew)s at a yield of %(ey)s ± %(ey_tolerance)s %% has a TDS of %(weakest)s %% to %(strongest)s %%: "
        "%(tds)s ± %(tds_tolerance)s %% is out of reach."
    )
    mend = (
        _(
            "Set the TDS target near %(likely)s %%, or the yield target near %(needed)s %%, "
            "or change the dose or the water."
        )
        if 0 < needed_ey <= SOLUBLE_MAX_PCT
        else _("Set the TDS target near %(likely)s %%, or change the dose or the water.")
    )
    yield OutOfReach("targets-contradict", "tds_target", what % words, mend % words)


def _brew(plan: PourPlan, dose_g: float, water_g: float) -> str:
    extra_g = plan.bypass_g + plan.ice_g
    words = {"dose": plain(dose_g), "water": plain(water_g), "extra": plain(extra_g)}
    if extra_g > 0:
        said = _("%(dose)s g of coffee with %(water)s g of brew water and %(extra)s g of bypass and ice")
    else:
        said = _("%(dose)s g of coffee with %(water)s g of brew water")
    return said % words


def _masses(plan: PourPlan, dose_g: float, water_g: float) -> tuple[float, float, float, float]:
    return dose_g, water_g, max(0.0, plan.bypass_g), max(0.0, plan.ice_g)


def _most_kept(dose_g: float, water_g: float) -> float:
    return min(RETAINED_WATER_MAX_G_PER_G, water_g / dose_g)


def _likely_kept(dose_g: float, water_g: float) -> float:
    return min(RETAINED_WATER_G_PER_G, water_g / dose_g)
