"""How well TDS and extraction yield of one brew are known together. Both in %, mass fraction × 100.

Yield is computed from TDS, so what is wrong with the one is wrong with the other: their errors go together, and a
region of both is a slanted ellipse rather than a box.

JCGM 102:2011, Extension to any number of output quantities: 6.2 propagation, U_y = C·U_x·Cᵀ; 6.5 coverage regions
of a Gaussian (clauses from memory). JCGM 100:2008 (GUM), equations 13 and 17: covariance of what shares an input.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, exp, hypot, pi, sin, sqrt

ELLIPSE_POINTS = 36


@dataclass(frozen=True, slots=True)
class Together:
    """TDS and yield of one brew, or of a mean of brews, with what is known of them; standard uncertainties, in %.

    slope: by how many points the yield moves per % of TDS; u_rest: the part of the yield's uncertainty that does
    not come through TDS: the masses, or what the bed kept.
    """

    tds_pct: float
    ey_pct: float
    u_tds: float
    slope: float
    u_rest: float

    @property
    def covariance(self) -> float:
        """Cov(T, E) = dE/dT·Var(T), since TDS is the one input that both share."""
        return self.slope * self.u_tds**2

    @property
    def u_ey(self) -> float:
        return hypot(self.slope * self.u_tds, self.u_rest)


def together(tds_pct: float, ey_pct: float, u_tds: float, u_ey: float, slope: float) -> Together:
    """Of one brew, whose yield was computed from its TDS with sensitivity ``slope`` = dE/dT."""
    if u_tds < 0 or u_ey < 0:
        raise ValueError("An uncertainty is 0 or more.")
    # a saved u may be rounded: what is left of the variance is never below 0
    return Together(tds_pct, ey_pct, u_tds, slope, sqrt(max(0.0, u_ey**2 - (slope * u_tds) ** 2)))


def mean_of(brews: Sequence[Together], shared_u_tds: Sequence[float]) -> Together:
    """The mean of brews. ``shared_u_tds`` is the part of each one's u(TDS) that no brew more takes away.

    What is shared, such as the instrument's own error, counts as wholly correlated between brews; the rest as
    independent, so that it falls with 1/n: equation 13 of the GUM for a mean.
    """
    if not brews or len(brews) != len(shared_u_tds):
        raise ValueError("A mean needs at least one brew, and the shared part of each.")
    n = len(brews)
    own = [max(0.0, brew.u_tds**2 - shared**2) for brew, shared in zip(brews, shared_u_tds, strict=True)]
    shared_tds = sum(shared_u_tds) / n
    shared_ey = sum(brew.slope * shared for brew, shared in zip(brews, shared_u_tds, strict=True)) / n
    var_tds = sum(own) / n**2 + shared_tds**2
    covariance = (
        sum(brew.slope * part for brew, part in zip(brews, own, strict=True)) / n**2 + shared_tds * shared_ey
    )
    var_ey = (
        sum(brew.slope**2 * part + brew.u_rest**2 for brew, part in zip(brews, own, strict=True)) / n**2
        + shared_ey**2
    )
    slope = covariance / var_tds if var_tds else 0.0
    return Together(
        sum(brew.tds_pct for brew in brews) / n,
        sum(brew.ey_pct for brew in brews) / n,
        sqrt(var_tds),
        slope,
        sqrt(max(0.0, var_ey - slope * covariance)),
    )


def coverage(k: float) -> float:
    """The chance that an ellipse of factor k holds the true pair: 1 - exp(-k²/2), chi-square of two degrees."""
    return 1 - exp(-(k**2) / 2)


def ellipse(known: Together, k: float, points: int = ELLIPSE_POINTS) -> list[tuple[float, float]]:
    """(yield, TDS) around the ellipse of factor k, its first point again at the end.

    The unit circle through the Cholesky factor of the covariance. Its shadow on either axis is ±k·u.
    """
    turns = [2 * pi * step / points for step in range(points + 1)]
    return [
        (
            known.ey_pct + k * (known.slope * known.u_tds * cos(turn) + known.u_rest * sin(turn)),
            known.tds_pct + k * known.u_tds * cos(turn),
        )
        for turn in turns
    ]
