"""Whether values in the order of time look like draws of chance.

NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.12 (autocorrelation) and 1.3.5.13 (runs test).
Wald and Wolfowitz 1940, On a test whether two samples are from the same population, Annals of Mathematical
Statistics 11:147, doi:10.1214/aoms/1177731909.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.rows import finite


def lag_1(values: ArrayLike) -> float | None:
    """How alike neighbours are, -1 to 1: r₁ = Σ dᵢ dᵢ₊₁ / Σ dᵢ², d from the mean. None if all values are equal."""
    y = finite(values, 2)
    d = y - y[0]
    d -= d.mean()
    squares = float(d @ d)
    return float(d[:-1] @ d[1:]) / squares if squares > 0 else None


@dataclass(frozen=True, slots=True)
class Runs:
    """Runs above and below the median. runs: how many; expected: by chance; z: the difference in standard
    deviations, negative for few long runs; p: two-sided; reason: why z and p are None, "" where they are not."""

    runs: int
    expected: float
    z: float | None
    p: float | None
    reason: str


def runs(values: ArrayLike) -> Runs:
    """Wald and Wolfowitz 1940, about the median; a value that is the median itself counts as above."""
    y = finite(values)
    above = y >= np.median(y)
    n, m = int(above.sum()), int((~above).sum())
    found = 1 + int((above[1:] != above[:-1]).sum())
    expected = 2 * n * m / (n + m) + 1
    variance = 2 * n * m * (2 * n * m - n - m) / ((n + m) ** 2 * (n + m - 1)) if m else 0.0
    if variance <= 0:
        return Runs(found, expected, None, None, _("There are too few values on one side of the median."))
    z = (found - expected) / sqrt(variance)
    return Runs(found, expected, z, float(2 * special.ndtr(-abs(z))), "")
