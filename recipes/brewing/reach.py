"""Whether a plan's targets can be met at all: TDS and yield are tied by the mass balance of `extraction`.

The bed may keep anything from the least to the most water, and yield may lie anywhere in its tolerance;
a TDS target is refused only when no such brew comes within its own tolerance.
"""

from collections.abc import Iterator
from typing import NamedTuple

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
    dose, water = plain(dose_g), plain(water_g)
    if water_g <= RETAINED_WATER_MIN_G_PER_G * dose_g:
        least, most = plain(RETAINED_WATER_MIN_G_PER_G * dose_g), plain(RETAINED_WATER_MAX_G_PER_G * dose_g)
        yield OutOfReach(
            "no-beverage",
            "water_g",
            f"{dose} g of coffee keeps at least {least} g of water: {water} g gives no beverage.",
            f"Pour well over {most} g, or use a smaller dose.",
        )
        return
    tds, ey, limit = plan.tds_target, plan.ey_target, plain(SOLUBLE_MAX_PCT)
    if ey is not None and ey > SOLUBLE_MAX_PCT:
        yield OutOfReach(
            "yield-not-soluble",
            "ey_target",
            f"An extraction yield of {plain(ey)} % is more than coffee can give up, about {limit} %.",
            f"Set a yield target below {limit} %; most filter recipes lie between 18 % and 22 %.",
        )
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
    likely = plain(tds_on_line_pct(20, *masses, _likely_kept(dose_g, water_g)))
    yield OutOfReach(
        "targets-contradict",
        "tds_target",
        f"{_brew(plan, dose_g, water_g)} cannot reach a TDS of {plain(tds)} %: even at a yield of "
        f"{plain(SOLUBLE_MAX_PCT)} % it ends near {plain(strongest)} %.",
        f"Set the TDS target near {likely} % (a yield of 20 %), or use more coffee or less water.",
    )


def _strength_and_yield(
    plan: PourPlan, dose_g: float, water_g: float, tds: float, ey: float
) -> Iterator[OutOfReach]:
    masses = _masses(plan, dose_g, water_g)
    ey_tolerance, tds_tolerance = plan.ey_tolerance or 0.0, plan.tds_tolerance or 0.0
    weakest = tds_on_line_pct(max(0.0, ey - ey_tolerance), *masses, RETAINED_WATER_MIN_G_PER_G)
    strongest = tds_on_line_pct(ey + ey_tolerance, *masses, _most_kept(dose_g, water_g))
    if tds - tds_tolerance <= strongest and tds + tds_tolerance >= weakest:
        return
    asked = f"{plain(tds)} ± {plain(tds_tolerance)} %"
    likely_kept = _likely_kept(dose_g, water_g)
    mend = f"Set the TDS target near {plain(tds_on_line_pct(ey, *masses, likely_kept))} %"
    needed_ey = yield_on_line_pct(tds, *masses, likely_kept) if tds < 100 else 0.0
    if 0 < needed_ey <= SOLUBLE_MAX_PCT:
        mend += f", or the yield target near {plain(round(needed_ey, 1))} %"
    yield OutOfReach(
        "targets-contradict",
        "tds_target",
        f"{_brew(plan, dose_g, water_g)} at a yield of {plain(ey)} ± {plain(ey_tolerance)} % has a TDS of "
        f"{plain(weakest)} % to {plain(strongest)} %: {asked} is out of reach.",
        f"{mend}, or change the dose or the water.",
    )


def _brew(plan: PourPlan, dose_g: float, water_g: float) -> str:
    extra_g = plan.bypass_g + plan.ice_g
    extra = f" and {plain(extra_g)} g of bypass and ice" if extra_g > 0 else ""
    return f"{plain(dose_g)} g of coffee with {plain(water_g)} g of brew water{extra}"


def _masses(plan: PourPlan, dose_g: float, water_g: float) -> tuple[float, float, float, float]:
    return dose_g, water_g, max(0.0, plan.bypass_g), max(0.0, plan.ice_g)


def _most_kept(dose_g: float, water_g: float) -> float:
    return min(RETAINED_WATER_MAX_G_PER_G, water_g / dose_g)


def _likely_kept(dose_g: float, water_g: float) -> float:
    return min(RETAINED_WATER_G_PER_G, water_g / dose_g)
