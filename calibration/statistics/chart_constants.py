"""Constants of control charts: what the range and the standard deviation of n normal readings come to on average.

W range and S standard deviation of n readings of standard deviation 1; d2 = E(W), d3 = SD(W), c4 = E(S).
ASTM E2587-16, Standard practice for use of control charts, table 1: the factors made of them, for limits of
three standard deviations. Tippett 1925, On the extreme individuals and the range of samples taken from a normal
population, Biometrika 17:364, doi:10.1093/biomet/17.3-4.364: the mean range as an integral.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import exp, lgamma, sqrt

import numpy as np
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.pieces import gauss_legendre

LARGEST = 25

# Entries of the printed tables (ASTM E2587, table 1; Montgomery 2013, appendix VI: from memory) that are not the
# exact value rounded to three figures: made from rounded d2 and d3, and carried on ever since.
PRINTED_OTHERWISE: dict[int, dict[str, float]] = {
    2: {"E2": 2.660},
    3: {"D4": 2.574},
    18: {"D4": 1.608},
    19: {"d3": 0.734, "D3": 0.403, "D4": 1.597},
    22: {"D3": 0.434, "D4": 1.566},
    24: {"D3": 0.451},
}


@dataclass(frozen=True, slots=True)
class Constants:
    """Constants for groups of n readings; pure numbers.

    d2, d3: mean and standard deviation of the range over σ; c4: mean of the standard deviation over σ;
    A2, A3: half width of an average's limits over the mean range, over the mean standard deviation;
    D3, D4: limits of a range over the mean range; B3, B4: of a standard deviation over its mean;
    E2: half width of a single reading's limits over the mean range.
    """

    n: int
    d2: float
    d3: float
    c4: float
    A2: float
    A3: float
    B3: float
    B4: float
    D3: float
    D4: float
    E2: float


def c4(n: int) -> float:
    """E(S)/σ = √(2/(n − 1)) Γ(n/2)/Γ((n − 1)/2), for any n from 2."""
    if n < 2:
        raise ValueError(_("A standard deviation needs two readings or more."))
    return sqrt(2 / (n - 1)) * exp(lgamma(n / 2) - lgamma((n - 1) / 2))


@lru_cache(maxsize=64)
def constants(n: int, printed: bool = False) -> Constants:
    """For n = 2 to 25: exact, or as the tables print them, with their three decimals (four for c4)."""
    if not 2 <= n <= LARGEST:
        raise ValueError(_("Constants of a chart are known for groups of 2 to 25 readings."))
    d2, d3 = _range_moments(n)
    mean_s = c4(n)
    relative_s, relative_range = 3 * sqrt(1 - mean_s**2) / mean_s, 3 * d3 / d2
    exact = Constants(
        n=n,
        d2=d2,
        d3=d3,
        c4=mean_s,
        A2=3 / (d2 * sqrt(n)),
        A3=3 / (mean_s * sqrt(n)),
        B3=max(0.0, 1 - relative_s),
        B4=1 + relative_s,
        D3=max(0.0, 1 - relative_range),
        D4=1 + relative_range,
        E2=3 / d2,
    )
    if not printed:
        return exact
    names = ("d2", "d3", "A2", "A3", "B3", "B4", "D3", "D4", "E2")
    rounded = {name: round(getattr(exact, name), 3) for name in names} | {"c4": round(mean_s, 4)}
    return replace(exact, **(rounded | PRINTED_OTHERWISE.get(n, {})))


def range_below(n: int, width: np.ndarray | float) -> np.ndarray:
    """P(W ≤ width) = n ∫ φ(x) (Φ(x + width) − Φ(x))ⁿ⁻¹ dx: Tippett 1925. Shape of ``width``."""
    nodes, weights = gauss_legendre(160)
    x, dx = 9 * nodes, 9 * weights
    density = n * np.exp(-x * x / 2) / sqrt(2 * np.pi) * dx
    w = np.asarray(width, dtype=float)[..., None]
    inside = special.ndtr(x + w) - special.ndtr(x)
    return np.asarray((density * inside ** (n - 1)).sum(axis=-1))


def _range_moments(n: int) -> tuple[float, float]:
    # E(W) = ∫ P(W > w) dw and E(W²) = 2 ∫ w P(W > w) dw; a range above 16 has no weight in doubles
    nodes, weights = gauss_legendre(160)
    w, dw = 8 * (nodes + 1), 8 * weights
    above = 1 - range_below(n, w)
    mean = float(dw @ above)
    return mean, sqrt(2 * float(dw @ (w * above)) - mean**2)
