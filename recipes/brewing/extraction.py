"""Extraction yield and beverage mass from the mass balance of one brew, and how well they are known.

Per cent are mass fraction × 100. Symbols in comments: D dose, W water poured through the bed, B beverage,
T TDS and E yield as fractions, r water retained per gram of dose. Bypass water and ice never meet the bed:
they pass straight to the server, so A = W + bypass + ice is all the water there is.

The balance of water is A - r·D = B·(1 - T), the balance of solids E·D = T·B. E is defined as by
Lockhart (1957) and by Batali, Ristenpart and Guinard (2020), Sci. Rep. 10:16450.
Uncertainty: JCGM 100:2008 (GUM), equation 10.
"""

from dataclasses import dataclass
from math import hypot, sqrt

# what else a reading asks: of its scale, its check standard, its sample
from recipes.brewing.refractometry import check_standard as check_standard
from recipes.brewing.refractometry import tds_from_brix as tds_from_brix
from recipes.brewing.refractometry import uncompensated_tds_error_pct as uncompensated_tds_error_pct

# Water kept by the bed per gram of dose: trade rule of about 2 g/g, common practice, no source.
RETAINED_WATER_G_PER_G = 2.2
RETAINED_WATER_MIN_G_PER_G = 1.8
RETAINED_WATER_MAX_G_PER_G = 2.6
# Rectangular over that range (JCGM 100:2008, 4.3.7)
U_RETAINED_WATER_G_PER_G = (RETAINED_WATER_MAX_G_PER_G - RETAINED_WATER_MIN_G_PER_G) / 2 / sqrt(3)

SOLUBLE_MAX_PCT = 30.0  # all that water can take out of roasted coffee: common practice, no source

# Standard uncertainties where nothing better is known: engineering estimates, no source
U_TDS_PCT = 0.026
U_WATER_G = 0.5
U_BEVERAGE_G = 0.5
U_DOSE_G = 0.1  # a scale that reads 0.1 g
U_DOSE_FINE_G = 0.03  # a scale that reads 0.01 g


def percolation_yield_pct(tds_pct: float, beverage_g: float, dose_g: float) -> float:
    """Yield of a brew that ran through its bed: E = T·B/D."""
    return tds_pct * beverage_g / dose_g


def immersion_yield_pct(tds_pct: float, water_g: float, dose_g: float) -> float:
    """Yield where all the liquid, retained or not, has one strength: E = T/(1 - T)·W/D."""
    return tds_pct / (1 - tds_pct / 100) * water_g / dose_g


def tds_for_yield_pct(ey_pct: float, beverage_g: float, dose_g: float) -> float:
    """The TDS that a weighed beverage must have for this yield: T = E·D/B."""
    return ey_pct * dose_g / beverage_g


def dry_basis_yield_pct(ey_pct: float, moisture: float, carbon_dioxide: float) -> float:
    """Yield on the dose without its water and gas, mass fractions of it: E/(1 - w_m - w_CO2).

    Everything else here is on the dose as weighed, which reads about 0.6 points lower.
    """
    return ey_pct / (1 - moisture - carbon_dioxide)


def liquid_retained_g_per_g(
    dose_g: float, water_g: float, beverage_g: float, bypass_g: float = 0.0, ice_g: float = 0.0
) -> float:
    """The simple ratio of the trade, by mass of beverage: (A - B)/D, about 2."""
    return (water_g + bypass_g + ice_g - beverage_g) / dose_g


def water_retained_g_per_g(
    dose_g: float,
    water_g: float,
    beverage_g: float,
    tds_pct: float,
    bypass_g: float = 0.0,
    ice_g: float = 0.0,
) -> float:
    """Water, without the solids, that stayed in the bed: r = (A - B·(1 - T))/D, about 2.2."""
    return (water_g + bypass_g + ice_g - beverage_g * (1 - tds_pct / 100)) / dose_g


def forecast_beverage_g(
    ey_pct: float,
    dose_g: float,
    water_g: float,
    bypass_g: float = 0.0,
    ice_g: float = 0.0,
    retained_g_per_g: float = RETAINED_WATER_G_PER_G,
) -> float:
    """Beverage of a plan whose yield is assumed: B = A - r·D + E·D."""
    return water_g + bypass_g + ice_g + (ey_pct / 100 - retained_g_per_g) * dose_g


def tds_on_line_pct(
    ey_pct: float,
    dose_g: float,
    water_g: float,
    bypass_g: float = 0.0,
    ice_g: float = 0.0,
    retained_g_per_g: float = RETAINED_WATER_G_PER_G,
) -> float:
    """Brew-ratio line of the control chart: T = E·D/(A - r·D + E·D)."""
    beverage_g = forecast_beverage_g(ey_pct, dose_g, water_g, bypass_g, ice_g, retained_g_per_g)
    if beverage_g <= 0:
        raise ValueError("The bed would keep all of this water: there is no beverage.")
    return tds_for_yield_pct(ey_pct, beverage_g, dose_g)


def yield_on_line_pct(
    tds_pct: float,
    dose_g: float,
    water_g: float,
    bypass_g: float = 0.0,
    ice_g: float = 0.0,
    retained_g_per_g: float = RETAINED_WATER_G_PER_G,
) -> float:
    """The same line read the other way: E = T/(1 - T)·(A/D - r)."""
    through_g_per_g = (water_g + bypass_g + ice_g) / dose_g - retained_g_per_g
    return tds_pct / (1 - tds_pct / 100) * through_g_per_g


def dose_for_tds_g(
    tds_pct: float,
    ey_pct: float,
    water_g: float,
    bypass_g: float = 0.0,
    ice_g: float = 0.0,
    retained_g_per_g: float = RETAINED_WATER_G_PER_G,
) -> float:
    """The dose for this strength at an assumed yield, by the same line: D = T·A/(E·(1 - T) + r·T)."""
    solids = tds_pct / 100
    return solids * (water_g + bypass_g + ice_g) / (ey_pct / 100 * (1 - solids) + retained_g_per_g * solids)


def water_for_tds_g(
    tds_pct: float, ey_pct: float, dose_g: float, retained_g_per_g: float = RETAINED_WATER_G_PER_G
) -> float:
    """All the water for this strength at an assumed yield: A = D·(E·(1 - T)/T + r)."""
    solids = tds_pct / 100
    return dose_g * (ey_pct / 100 * (1 - solids) / solids + retained_g_per_g)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value in grams and its standard uncertainty u in grams."""

    value_g: float
    u_g: float


def estimated_beverage(
    dose_g: float, water_g: float, tds_pct: float, bypass_g: float = 0.0, ice_g: float = 0.0
) -> Estimate:
    """Beverage that was not weighed: B = (A - r·D)/(1 - T). For its yield use `estimated_yield_budget`."""
    solvent = 1 - tds_pct / 100
    value_g = (water_g + bypass_g + ice_g - RETAINED_WATER_G_PER_G * dose_g) / solvent
    if value_g <= 0:
        raise ValueError("The bed would keep all of this water: weigh the beverage instead.")
    return Estimate(value_g, hypot(U_RETAINED_WATER_G_PER_G * dose_g, U_WATER_G) / solvent)


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One input of an uncertainty budget.

    name: what it is; value, u: the input and its standard uncertainty, in `unit`; sensitivity: change of
    the result (percentage points) per unit of the input; share: part of the result's variance, 0 to 1.
    """

    name: str
    unit: str
    value: float
    u: float
    sensitivity: float
    share: float


@dataclass(frozen=True, slots=True)
class YieldBudget:
    """Extraction yield in %, its standard (u) and expanded (U, k = 2) uncertainty in percentage points."""

    ey_pct: float
    u: float
    inputs: tuple[tuple[str, str, float, float, float], ...]
    """Name, unit, value, u and sensitivity of each: see `BudgetLine`."""

    @property
    def U(self) -> float:
        return 2 * self.u

    @property
    def lines(self) -> tuple[BudgetLine, ...]:
        variance = self.u**2
        return tuple(
            BudgetLine(*one, share=(one[4] * one[3]) ** 2 / variance if variance else 0.0)
            for one in self.inputs
        )


def yield_budget(
    tds_pct: float,
    beverage_g: float,
    dose_g: float,
    u_tds_pct: float = U_TDS_PCT,
    u_beverage_g: float = U_BEVERAGE_G,
    u_dose_g: float = U_DOSE_G,
) -> YieldBudget:
    """Yield from a weighed beverage. A gain error shared by one scale cancels in B/D and is left out."""
    ey_pct = percolation_yield_pct(tds_pct, beverage_g, dose_g)
    return _combined(
        ey_pct,
        ("TDS", "%", tds_pct, u_tds_pct, beverage_g / dose_g),
        ("beverage mass", "g", beverage_g, u_beverage_g, tds_pct / dose_g),
        ("dose", "g", dose_g, u_dose_g, -ey_pct / dose_g),
    )


def estimated_yield_budget(
    tds_pct: float,
    dose_g: float,
    water_g: float,
    bypass_g: float = 0.0,
    ice_g: float = 0.0,
    u_tds_pct: float = U_TDS_PCT,
    u_water_g: float = U_WATER_G,
    u_dose_g: float = U_DOSE_G,
) -> YieldBudget:
    """Yield of a brew not weighed. The estimated beverage depends on TDS and dose too: both count there."""
    ey_pct = yield_on_line_pct(tds_pct, dose_g, water_g, bypass_g, ice_g)
    solvent = 1 - tds_pct / 100
    strength_pct = tds_pct / solvent
    added_g = water_g + bypass_g + ice_g
    return _combined(
        ey_pct,
        ("TDS", "%", tds_pct, u_tds_pct, (added_g / dose_g - RETAINED_WATER_G_PER_G) / solvent**2),
        ("liquid retained", "g/g", RETAINED_WATER_G_PER_G, U_RETAINED_WATER_G_PER_G, -strength_pct),
        ("water", "g", added_g, u_water_g, strength_pct / dose_g),
        ("dose", "g", dose_g, u_dose_g, -strength_pct * added_g / dose_g**2),
    )


def immersion_budget(
    tds_pct: float,
    water_g: float,
    dose_g: float,
    u_tds_pct: float = U_TDS_PCT,
    u_water_g: float = U_WATER_G,
    u_dose_g: float = U_DOSE_G,
) -> YieldBudget:
    """Yield of an immersion brew, where the water poured is weighed and the beverage need not be."""
    ey_pct = immersion_yield_pct(tds_pct, water_g, dose_g)
    solvent = 1 - tds_pct / 100
    return _combined(
        ey_pct,
        ("TDS", "%", tds_pct, u_tds_pct, water_g / dose_g / solvent**2),
        ("water", "g", water_g, u_water_g, ey_pct / water_g),
        ("dose", "g", dose_g, u_dose_g, -ey_pct / dose_g),
    )


def implausibly_heavy(
    beverage_g: float, water_g: float, dose_g: float, bypass_g: float = 0.0, ice_g: float = 0.0
) -> bool:
    """Whether the server weighs more than the bed can have let through: then ask 'rinse water left in?'.

    The most a bed lets through is what a bed that keeps least and gives up all it can would.
    """
    heaviest_g = forecast_beverage_g(
        SOLUBLE_MAX_PCT, dose_g, water_g, bypass_g, ice_g, RETAINED_WATER_MIN_G_PER_G
    )
    return beverage_g > heaviest_g


def _combined(ey_pct: float, *inputs: tuple[str, str, float, float, float]) -> YieldBudget:
    return YieldBudget(ey_pct, sqrt(sum((one[4] * one[3]) ** 2 for one in inputs)), inputs)
