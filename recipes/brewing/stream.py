"""A stream of water from a spout: how fast it falls, when it breaks into drops, what it carries to the bed.

The spout's bore is an effective diameter: a gooseneck is seldom a full vertical pipe, and breakup hardly depends
on it. Flow is mass, as a scale shows it. Air drag is left out: negligible for a whole stream of less than half a
metre (engineering estimate).

Breakup: capillary waves grow fastest at Rayleigh's rate, and a falling stream thins, so the rate is integrated
along free fall to N, the logarithm of radius over first disturbance. N stands for the spout, and no theory gives
it: 5.5 to 12.5 fit measured falling jets of 6 mm, from rough to smooth, and about 16 is the ceiling set by
thermal noise. The correlations for uniform jets (Grant and Middleman; Sterling and Sleicher) do not reach
kettles, whose streams stretch. Theory makes a hotter stream break a little later; the trade says sooner, and
turbulence, which sets in as water thins, could do that. No measurement of a hot kettle is known, so no correction
is made, and a kettle counts as measured only where its own points reach.

Rayleigh 1878, On the instability of jets, Proc. Lond. Math. Soc. s1-10:4, doi:10.1112/plms/s1-10.1.4.
Eggers and Villermaux 2008, Physics of liquid jets, Rep. Prog. Phys. 71:036601,
doi:10.1088/0034-4885/71/3/036601.
Ervine, McKeogh and Elsawy 1980, Effect of turbulence intensity on the rate of air entrainment by plunging water
jets, Proc. Inst. Civ. Eng. 69:425.
Grant and Middleman 1966, Newtonian jet stability, AIChE J. 12:669, doi:10.1002/aic.690120411.
Clanet and Lasheras 1999, Transition from dripping to jetting, J. Fluid Mech. 383:307,
doi:10.1017/S0022112098004066: the formula is from memory, its constants were read.
Rajaratnam 1976, Turbulent Jets, Elsevier: decay of a submerged jet, from memory.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from math import exp, inf, log, pi, sqrt

from brewbar.words import gettext as _
from recipes.brewing.censored import middle
from recipes.brewing.water import GRAVITY_M_S2, density_kg_m3, surface_tension_N_m, viscosity_Pa_s

USUAL_BORE_MM = 6.0  # effective: engineering estimate, no source

# sqrt(rho a³/sigma) times the growth rate of the fastest wave: Rayleigh 1878; Eggers and Villermaux 2008
RAYLEIGH_GROWTH = 0.343339

# A hand-held kettle: engineering estimates inside what Ervine, McKeogh and Elsawy 1980 measured
N_LOW, N_USUAL, N_HIGH = 6.0, 8.0, 12.0
N_CEILING = 16.0  # thermal noise: see above
POINTS_FOR_A_FIT = 3
# Scatter of ln N from one raising of the kettle to the next. Breakup lengths scatter by 9 % to 12 % about their
# correlations (Grant and Middleman's data), a held flow and a height read by eye add some: engineering estimate
USUAL_SCATTER = 0.12

TRANSITIONAL_FROM_RE, TURBULENT_ABOVE_RE = 2000.0, 4000.0  # pipe flow, handbook values from memory

RECOMMENDED_SHARE = 0.8  # of the breakup height: engineering estimate, no source
RECOMMENDED_MIN_MM, RECOMMENDED_MAX_MM = 30.0, 300.0  # engineering estimates, no source

JET_CORE_DIAMETERS = 6.2  # Rajaratnam 1976, from memory; a jet that drags air along decays sooner


class Regime(StrEnum):
    """How the water leaves the spout."""

    LAMINAR = "laminar"
    TRANSITIONAL = "transitional"
    TURBULENT = "turbulent"


def exit_velocity_m_s(flow_g_s: float, temperature_C: float, bore_mm: float = USUAL_BORE_MM) -> float:
    """Mean velocity in the spout: V0 = 4Q/(pi D²)."""
    return 4 * _volume_m3_s(flow_g_s, temperature_C) / (pi * _bore_m(bore_mm) ** 2)


def impact_velocity_m_s(
    flow_g_s: float, temperature_C: float, bore_mm: float = USUAL_BORE_MM, height_mm: float = 0.0
) -> float:
    """After falling from the spout's height: v² = V0² + 2gh."""
    if not 0 <= height_mm < inf:
        raise ValueError(_("The height of the spout must be 0 mm or more."))
    return sqrt(exit_velocity_m_s(flow_g_s, temperature_C, bore_mm) ** 2 + 2 * GRAVITY_M_S2 * height_mm / 1e3)


def stream_diameter_mm(flow_g_s: float, temperature_C: float, velocity_m_s: float) -> float:
    """Where the stream runs at this velocity, by continuity: d = sqrt(4Q/(pi v))."""
    flow = _volume_m3_s(flow_g_s, temperature_C)
    return 1e3 * sqrt(4 * flow / (pi * velocity_m_s)) if flow > 0 else 0.0


def reynolds(flow_g_s: float, temperature_C: float, bore_mm: float = USUAL_BORE_MM) -> float:
    """Re = rho V0 D/mu in the spout."""
    return 4e-3 * _flow(flow_g_s) / (pi * _bore_m(bore_mm) * viscosity_Pa_s(temperature_C))


def weber(flow_g_s: float, temperature_C: float, bore_mm: float = USUAL_BORE_MM) -> float:
    """We = rho V0² D/sigma in the spout."""
    velocity = exit_velocity_m_s(flow_g_s, temperature_C, bore_mm)
    return density_kg_m3(temperature_C) * velocity**2 * bore_mm / 1e3 / surface_tension_N_m(temperature_C)


def ohnesorge(temperature_C: float, bore_mm: float = USUAL_BORE_MM) -> float:
    """Oh = mu/sqrt(rho sigma D): whether viscosity matters to breakup. For water it does not."""
    rho, sigma = density_kg_m3(temperature_C), surface_tension_N_m(temperature_C)
    return viscosity_Pa_s(temperature_C) / sqrt(rho * sigma * _bore_m(bore_mm))


def regime(reynolds_number: float) -> Regime:
    if reynolds_number < TRANSITIONAL_FROM_RE:
        return Regime.LAMINAR
    return Regime.TURBULENT if reynolds_number > TURBULENT_ABOVE_RE else Regime.TRANSITIONAL


def flow_at_reynolds_g_s(
    reynolds_number: float, temperature_C: float, bore_mm: float = USUAL_BORE_MM
) -> float:
    """The flow at which the spout has this Reynolds number."""
    return 1e3 * reynolds_number * pi * _bore_m(bore_mm) * viscosity_Pa_s(temperature_C) / 4


def jetting_flow_g_s(temperature_C: float, bore_mm: float = USUAL_BORE_MM) -> float:
    """Below it the spout drips: Clanet and Lasheras 1999, for a thin lip (K = 0.37)."""
    rho, sigma = density_kg_m3(temperature_C), surface_tension_N_m(temperature_C)
    bore = _bore_m(bore_mm)
    wetted = 1 + 0.37 * rho * GRAVITY_M_S2 * bore**2 / (2 * sigma)
    critical_weber = 4 * (wetted - sqrt(wetted**2 - 1)) ** 2
    velocity = sqrt(critical_weber * sigma / (rho * bore))
    return 1e3 * rho * velocity * pi * bore**2 / 4


def breakup_height_mm(
    flow_g_s: float, temperature_C: float, bore_mm: float = USUAL_BORE_MM, n: float = N_USUAL
) -> float:
    """Fall at which a stream breaks, by Rayleigh's fastest growth integrated along free fall.

    Vb^(7/4) = V0^(7/4) + N·7g/(4·0.3433)·sqrt(rho/sigma)·(Q/pi)^(3/4) and L = (Vb² - V0²)/(2g).
    """
    if not 0 < n < inf:
        raise ValueError(_("N must be above 0."))
    start = exit_velocity_m_s(flow_g_s, temperature_C, bore_mm)
    end = (start**1.75 + n * _growth_per_n(flow_g_s, temperature_C)) ** (4 / 7)
    return float(1e3 * (end**2 - start**2) / (2 * GRAVITY_M_S2))


def growth_number(
    flow_g_s: float, temperature_C: float, bore_mm: float = USUAL_BORE_MM, height_mm: float = 0.0
) -> float:
    """The N of a stream that breaks at this height: `breakup_height_mm` read backwards."""
    if not 0 < flow_g_s < inf or not 0 < height_mm < inf:
        raise ValueError(_("A breakup height needs a flow and a height above 0."))
    start = exit_velocity_m_s(flow_g_s, temperature_C, bore_mm)
    end = impact_velocity_m_s(flow_g_s, temperature_C, bore_mm, height_mm)
    return float((end**1.75 - start**1.75) / _growth_per_n(flow_g_s, temperature_C))


@dataclass(frozen=True, slots=True)
class Observation:
    """A kettle at a held flow (g/s) and temperature (°C), raised until its stream broke at height_mm.

    broken: False where it was still whole there, so that it breaks somewhere above.
    """

    flow_g_s: float
    temperature_C: float
    height_mm: float
    broken: bool = True


@dataclass(frozen=True, slots=True)
class NFit:
    """What a kettle's observations say of its N (dimensionless).

    n: best estimate, and u: its standard uncertainty; low, high: 95 % interval. Where no stream broke, low is the
    least N that is not refuted at 5 %, and the others are None. scatter: standard deviation of ln N from one
    raising to the next; broken, whole: how many observations of either kind; regimes: in which they were made.
    """

    n: float | None
    u: float | None
    low: float
    high: float | None
    scatter: float
    broken: int
    whole: int
    regimes: frozenset[Regime]

    @property
    def points(self) -> int:
        return self.broken + self.whole

    @property
    def points_needed(self) -> int:
        """How many more make it a fit; a fit needs a stream that broke."""
        return max(0, POINTS_FOR_A_FIT - self.points, 0 if self.broken else 1)

    @property
    def fitted(self) -> bool:
        return self.points_needed == 0


def fit_n(observations: Iterable[Observation], bore_mm: float = USUAL_BORE_MM) -> NFit:
    """The kettle's N by maximum likelihood; a stream that did not break says 'at least this N'.

    ln N is taken as normal: lengths are positive and scatter in proportion to themselves, as the published
    breakup lengths do about their correlations.
    """
    seen: list[float] = []
    at_least: list[float] = []
    regimes: set[Regime] = set()
    for one in observations:
        number = growth_number(one.flow_g_s, one.temperature_C, bore_mm, one.height_mm)
        (seen if one.broken else at_least).append(log(number))
        regimes.add(regime(reynolds(one.flow_g_s, one.temperature_C, bore_mm)))
    if not regimes:
        raise ValueError(_("Measure at least one breakup height."))
    found = middle(seen, at_least, USUAL_SCATTER)
    best = None if found.mean is None else exp(found.mean)
    return NFit(
        n=best,
        u=None if best is None or found.u is None else best * found.u,
        low=exp(found.low),
        high=exp(found.high) if found.high < inf else None,
        scatter=found.sd,
        broken=len(seen),
        whole=len(at_least),
        regimes=frozenset(regimes),
    )


class Basis(StrEnum):
    """What a breakup height rests on."""

    ASSUMED = "assumed"
    """No fit: N as for any hand-held kettle."""
    ELSEWHERE = "measured elsewhere"
    """Fitted, but never at a flow and temperature like these."""
    MEASURED = "measured"


@dataclass(frozen=True, slots=True)
class Breakup:
    """Where a stream breaks, in mm below the spout: from low to high, best in between, and what that rests on."""

    low_mm: float
    best_mm: float
    high_mm: float
    basis: Basis

    @property
    def measured(self) -> bool:
        return self.basis is Basis.MEASURED


def breakup(
    flow_g_s: float, temperature_C: float, bore_mm: float = USUAL_BORE_MM, fit: NFit | None = None
) -> Breakup:
    """N from the kettle's fit where there is one; wide where this flow and temperature were not measured."""
    low, best, high, basis = N_LOW, N_USUAL, N_HIGH, Basis.ASSUMED
    if fit is not None and fit.fitted and fit.n is not None and fit.high is not None:
        low, best, high, basis = fit.low, fit.n, fit.high, Basis.MEASURED
        if regime(reynolds(flow_g_s, temperature_C, bore_mm)) not in fit.regimes:
            low, high, basis = min(low, N_LOW), max(high, N_HIGH), Basis.ELSEWHERE
    elif fit is not None and fit.n is None:
        # never seen to break: the band begins where it was still whole, and is as wide in proportion
        raised = max(1.0, fit.low / N_LOW)
        low, best, high = (max(fit.low, min(n * raised, N_CEILING)) for n in (low, best, high))
    low_mm, best_mm, high_mm = (
        breakup_height_mm(flow_g_s, temperature_C, bore_mm, n) for n in (low, best, high)
    )
    return Breakup(low_mm, best_mm, high_mm, basis)


@dataclass(frozen=True, slots=True)
class Heights:
    """Spout heights in mm: the least, the likeliest and the greatest."""

    low_mm: float
    best_mm: float
    high_mm: float


def recommended_height_mm(breaks: Breakup) -> Heights:
    """High enough to agitate and low enough to stay whole: common practice; the share is an estimate."""
    low_mm, best_mm, high_mm = (
        min(max(RECOMMENDED_SHARE * height, RECOMMENDED_MIN_MM), RECOMMENDED_MAX_MM)
        for height in (breaks.low_mm, breaks.best_mm, breaks.high_mm)
    )
    return Heights(low_mm, best_mm, high_mm)


def impact_power_W(flow_g_s: float, velocity_m_s: float) -> float:
    """Kinetic energy that arrives in a second: P = rho Q v²/2."""
    return _flow(flow_g_s) / 1e3 * velocity_m_s**2 / 2


def momentum_flux_N(flow_g_s: float, velocity_m_s: float) -> float:
    """Momentum that arrives in a second: F = rho Q v."""
    return _flow(flow_g_s) / 1e3 * velocity_m_s


def scale_offset_g(flow_g_s: float, velocity_m_s: float) -> float:
    """What the stream's momentum adds to a scale while it pours: F/g."""
    return 1e3 * momentum_flux_N(flow_g_s, velocity_m_s) / GRAVITY_M_S2


def attenuation(diameter_mm: float, column_mm: float) -> float:
    """Share of its velocity that a submerged stream still has at the bed: min(1, 6.2 d/H).

    An upper bound: a stream that drags air along decays sooner. Momentum is conserved on the way down and energy
    is momentum times half the velocity, so this is the share of the energy too.
    """
    if diameter_mm < 0 or column_mm < 0:
        raise ValueError(_("A stream and a column of water cannot be less than nothing."))
    core_mm = JET_CORE_DIAMETERS * diameter_mm
    return 1.0 if column_mm <= core_mm else core_mm / column_mm


def _growth_per_n(flow_g_s: float, temperature_C: float) -> float:
    rho, sigma = density_kg_m3(temperature_C), surface_tension_N_m(temperature_C)
    thinned = (_volume_m3_s(flow_g_s, temperature_C) / pi) ** 0.75
    return float(7 * GRAVITY_M_S2 / (4 * RAYLEIGH_GROWTH) * sqrt(rho / sigma) * thinned)


def _flow(flow_g_s: float) -> float:
    if not 0 <= flow_g_s < inf:
        raise ValueError(_("The flow must be 0 g/s or more."))
    return flow_g_s


def _volume_m3_s(flow_g_s: float, temperature_C: float) -> float:
    return _flow(flow_g_s) / 1e3 / density_kg_m3(temperature_C)


def _bore_m(bore_mm: float) -> float:
    if not 0 < bore_mm < inf:
        raise ValueError(_("The bore of the spout must be above 0 mm."))
    return bore_mm / 1e3
