"""How warm the slurry is: one well-stirred mass that water enters hot and leaves as it is.

Symbols in comments: m_e the mass of water with the same heat capacity as slurry, coffee and brewer together,
q inflow, o outflow, c heat capacity of water, UA heat loss per kelvin, T_a air. The balance is
c m_e dT/dt = q c (T_in - T) - UA (T - T_a), with m_e growing by q - o. The heat of wetting is left out.

None of the parameters is known well, so every answer is a band: all of them at the cold end of their range, at
their best value, and at the warm end. The band is about 3 K to either side: no difference smaller than that means
anything between two plans that differ in more than one way.

Carslaw and Jaeger 1959, Conduction of Heat in Solids, 2nd edition, section 2.5: the semi-infinite solid.
Jamnadas-Khoda et al. 2010, Burns 36:356, and Condoret 2007, Chem. Eng. Educ.: cups cool mostly by evaporation,
at about half the rate of a free surface of clean water.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log1p, pi, sqrt

from brewbar.words import gettext as _
from recipes.brewing.water import heat_capacity_J_kgK

WATER_J_GK = heat_capacity_J_kgK(75.0) / 1e3  # within 0.5 % of its value from 20 °C to 98 °C

CERAMIC_EFFUSIVITY = 1300.0  # J m⁻² K⁻¹ s^-½, ceramic and glass 1300 to 1500: from memory
PLASTIC_EFFUSIVITY = 550.0  # from memory
USUAL_WALL_M2 = 0.006  # wetted wall of a brewer for one or two cups: engineering estimate, no source
FIRST_CONTACT_S = 10.0  # while the first pour fills the brewer: engineering estimate, no source


@dataclass(frozen=True, slots=True)
class Range:
    """A parameter that is not known better than from low to high; best is the value to reckon with."""

    low: float
    best: float
    high: float


@dataclass(frozen=True, slots=True)
class Heat:
    """What the slurry loses its heat to.

    loss_W_K: UA, heat loss per kelvin above the air; coffee_J_gK: heat capacity of dry roasted coffee;
    brewer_J_K: heat capacity of the brewer that has to be warmed, 0 if preheated; flight_K: what the stream cools
    by on its way down.
    """

    loss_W_K: Range
    coffee_J_gK: Range
    brewer_J_K: Range
    flight_K: Range

    @property
    def cold(self) -> "HeatAt":
        """Every parameter at the end that makes the slurry coldest."""
        return HeatAt(self.loss_W_K.high, self.coffee_J_gK.high, self.brewer_J_K.high, self.flight_K.high)

    @property
    def best(self) -> "HeatAt":
        return HeatAt(self.loss_W_K.best, self.coffee_J_gK.best, self.brewer_J_K.best, self.flight_K.best)

    @property
    def warm(self) -> "HeatAt":
        return HeatAt(self.loss_W_K.low, self.coffee_J_gK.low, self.brewer_J_K.low, self.flight_K.low)


@dataclass(frozen=True, slots=True)
class HeatAt:
    """One choice of the parameters of `Heat`."""

    loss_W_K: float
    coffee_J_gK: float
    brewer_J_K: float
    flight_K: float


# engineering estimate: measured cups, and natural convection with evaporation
LOSS_W_K = Range(0.3, 0.6, 1.2)
COFFEE_J_GK = Range(1.3, 1.6, 1.9)  # from memory; secondary values for beans run from 1.0 to 1.9
# engineering estimate: laminar boundary layer with evaporation, 10 cm to 20 cm
FLIGHT_K = Range(0.5, 1.25, 2.0)
BREWER_SHARE = 0.3  # how far a stated heat capacity of a brewer may be off: engineering estimate, no source


def cold_wall_J_K(
    area_m2: float = USUAL_WALL_M2, effusivity: float = CERAMIC_EFFUSIVITY, seconds: float = FIRST_CONTACT_S
) -> float:
    """Heat that a thick cold wall has taken up per kelvin: 2Ae·sqrt(t/pi), Carslaw and Jaeger 1959, 2.5."""
    return 2 * area_m2 * effusivity * sqrt(seconds / pi)


# Of a brewer that was not preheated; metal walls are thin and of any weight, so nobody knows
COLD_BODY_J_K = {
    "ceramic": cold_wall_J_K(),
    "glass": cold_wall_J_K(),
    "plastic": cold_wall_J_K(effusivity=PLASTIC_EFFUSIVITY),
}


def usual_heat(brewer_J_K: float | None = None) -> Heat:
    """The ranges to reckon with. Of a brewer nobody knows, it may be preheated or cold."""
    if brewer_J_K is None:
        cold = cold_wall_J_K()
        brewer = Range(0.0, cold / 2, cold)
    elif brewer_J_K < 0:
        raise ValueError(_("The heat capacity of the brewer must be 0 J/K or more."))
    else:
        brewer = Range((1 - BREWER_SHARE) * brewer_J_K, brewer_J_K, (1 + BREWER_SHARE) * brewer_J_K)
    return Heat(LOSS_W_K, COFFEE_J_GK, brewer, FLIGHT_K)


def after_C(
    slurry_C: float,
    heat_g: float,
    seconds: float,
    inflow_g_s: float = 0.0,
    water_C: float = 0.0,
    outflow_g_s: float = 0.0,
    loss_W_K: float = 0.0,
    air_C: float = 0.0,
) -> float:
    """Slurry temperature after steady flows: the balance above in closed form.

    heat_g is m_e at the beginning. T = T_s + (T_0 - T_s)·(m_e1/m_e0)^-((q + UA/c)/(q - o)), and T_s is where it
    would settle, (q T_in + T_a UA/c)/(q + UA/c).
    """
    loss_g_s = loss_W_K / WATER_J_GK
    drawn_g_s = inflow_g_s + loss_g_s
    if drawn_g_s <= 0 or seconds <= 0:
        return slurry_C
    settles_C = (inflow_g_s * water_C + loss_g_s * air_C) / drawn_g_s
    if heat_g <= 0:
        return settles_C
    grown = (inflow_g_s - outflow_g_s) * seconds / heat_g
    # log1p(x)/x tends to 1 where inflow and outflow are alike
    stretch = log1p(grown) / grown if abs(grown) > 1e-9 else 1.0
    return settles_C + (slurry_C - settles_C) * exp(-drawn_g_s * seconds / heat_g * stretch)


@dataclass(frozen=True, slots=True)
class Flows:
    """What came and went in short steps, each with steady flows: seconds, inflow_g_s and its water_C, outflow_g_s;
    inside_g: water in bed and slurry at the step's beginning."""

    seconds: tuple[float, ...]
    inflow_g_s: tuple[float, ...]
    water_C: tuple[float, ...]
    outflow_g_s: tuple[float, ...]
    inside_g: tuple[float, ...]


def temperatures_C(flows: Flows, dose_g: float, heat: HeatAt, air_C: float) -> tuple[float | None, ...]:
    """At the edges of the steps, None while dry; coffee and brewer begin as warm as the air."""
    dry_g = (dose_g * heat.coffee_J_gK + heat.brewer_J_K) / WATER_J_GK
    now_C, wet = air_C, bool(flows.inside_g and flows.inside_g[0] > 0)
    found: list[float | None] = [now_C if wet else None]
    loss_W_K, flight_K = heat.loss_W_K, heat.flight_K
    for seconds, inflow, water_C, outflow, inside_g in zip(
        flows.seconds, flows.inflow_g_s, flows.water_C, flows.outflow_g_s, flows.inside_g, strict=True
    ):
        wet = wet or inflow > 0
        if wet:
            now_C = after_C(
                now_C, dry_g + inside_g, seconds, inflow, water_C - flight_K, outflow, loss_W_K, air_C
            )
        found.append(now_C if wet else None)
    return tuple(found)


def outflow_C(flows: Flows, at_edges_C: Sequence[float | None]) -> float | None:
    """Mean temperature of what ran out, weighted by its mass; None where nothing did."""
    out_g = [outflow * seconds for outflow, seconds in zip(flows.outflow_g_s, flows.seconds, strict=True)]
    total_g = sum(out_g)
    if total_g <= 0:
        return None
    means = (
        (before + after) / 2 * grams
        for grams, before, after in zip(out_g, at_edges_C, at_edges_C[1:], strict=False)
        if grams > 0 and before is not None and after is not None
    )
    return sum(means) / total_g
