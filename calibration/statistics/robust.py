"""Middle and spread of results that a few wild ones cannot pull away.

ISO 13528:2022, Statistical methods for use in proficiency testing by interlaboratory comparison: C.2.1 (median and
MADe), C.2.3 (nIQR), C.3.1 (Algorithm A). Huber 1981, Robust statistics, doi:10.1002/0471725250, 6.7: Algorithm A is his
proposal 2 with k = 1.5. Hyndman and Fan 1996, The American Statistician 50:361, doi:10.2307/2684934, definition 7:
quartiles.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, isfinite, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.rows import Floats, finite

K = 1.5  # ISO 13528:2022, C.3.1: results further out than 1.5 s* are drawn in to there
MOST_ITERATIONS = 10_000

# What the standard prints, and what it rounds: 1/Φ⁻¹(¾), that over 2, and 1/√(E min(x², K²)) for a standard normal x
PRINTED = {"mad": 1.483, "iqr": 0.7413, "sd": 1.134}
_WITHIN = float(special.ndtr(K) - special.ndtr(-K))
EXACT = {
    "mad": 1 / float(special.ndtri(0.75)),
    "iqr": 0.5 / float(special.ndtri(0.75)),
    "sd": 1 / sqrt(_WITHIN - 2 * K * exp(-K * K / 2) / sqrt(2 * pi) + K * K * (1 - _WITHIN)),
}


@dataclass(frozen=True, slots=True)
class Robust:
    """Algorithm A. n: results; mean x* and sd s*, in the unit of the values, sd None for a single result;
    iterations: until neither moved any more; drawn_in: how many lie further out than 1.5 s*."""

    n: int
    mean: float
    sd: float | None
    iterations: int
    drawn_in: int


def scaled_mad(values: ArrayLike, exact: bool = False) -> float:
    """MADe: the median distance from the median, times 1.483; 1.482602 if ``exact``."""
    x = finite(values)
    return (EXACT if exact else PRINTED)["mad"] * float(np.median(np.abs(x - np.median(x))))


def normalised_iqr(values: ArrayLike, exact: bool = False) -> float:
    """nIQR: the distance of the quartiles, times 0.7413."""
    low, high = np.quantile(finite(values), [0.25, 0.75])
    return (EXACT if exact else PRINTED)["iqr"] * float(high - low)


def algorithm_a(values: ArrayLike, exact: bool = False, sd: float | None = None) -> Robust:
    """Robust mean and standard deviation: ISO 13528:2022, C.3.1, until nothing moves.

    The standard may stop at the third figure, which can leave s* several per cent from where it goes: the standard's
    own printed results agree with both. exact: 1.482602 and 1.133393 for the printed 1.483 and 1.134. sd: a known
    one, so that only the mean is sought.
    """
    x = finite(values)
    if sd is not None and not (isfinite(sd) and sd > 0):
        raise ValueError(_("A known standard deviation must be a number above 0."))
    n, factors = len(x), EXACT if exact else PRINTED
    if n == 1:
        return Robust(1, float(x[0]), sd, 0, 0)
    # from the median, so that equal values come back as they are
    centre = float(np.median(x))
    d = x - centre
    mean, spread = 0.0, sd if sd is not None else _first_spread(d, exact)
    iterations = 0
    moved = spread > 0
    while moved and iterations < MOST_ITERATIONS:
        iterations += 1
        drawn = np.clip(d, mean - K * spread, mean + K * spread)
        new_mean = float(drawn.mean())
        new_spread = spread if sd is not None else factors["sd"] * float(drawn.std(ddof=1))
        moved = max(abs(new_mean - mean), abs(new_spread - spread)) > 1e-13 * spread
        mean, spread = new_mean, new_spread
        moved = moved and spread > 0
    outside = int((np.abs(d - mean) > K * spread).sum())
    return Robust(n, centre + mean, spread, iterations, outside)


def _first_spread(d: Floats, exact: bool) -> float:
    """MADe; where more than half of the values are equal, so that it is 0, the next that is not: nIQR, then s."""
    for spread in (scaled_mad(d, exact), normalised_iqr(d, exact)):
        if spread > 0:
            return spread
    return float(d.std(ddof=1))
