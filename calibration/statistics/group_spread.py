"""Ranges and standard deviations of groups, and the standard deviation of one reading that they point to.

Burr 1969, Control charts for measurements with varying sample sizes, J. Quality Technology 1:163,
doi:10.1080/00224065.1969.11980370.
"""

from __future__ import annotations

from math import sqrt
from typing import Literal

import numpy as np

from brewbar.words import gettext as _
from calibration.statistics.chart_constants import LARGEST, c4, constants
from calibration.statistics.rows import Codes, Floats


def factors(n: int, spread: Literal["R", "S"], printed: bool) -> tuple[float, float] | None:
    """Mean of the spread over σ, and three of its own standard deviations over that mean; None for one reading."""
    if n < 2:
        return None
    if n <= LARGEST:
        c = constants(n, printed)
        return (c.d2, c.D4 - 1) if spread == "R" else (c.c4, c.B4 - 1)
    mean = c4(n)
    return mean, 3 * sqrt(1 - mean**2) / mean


def sigma_of(spreads: Floats, factors: list[tuple[float, float] | None]) -> tuple[float | None, str]:
    """Σ wᵢ(Rᵢ/d2ᵢ)/Σ wᵢ with wᵢ = (d2ᵢ/d3ᵢ)²; c4 and √(1 − c4²) for a standard deviation: Burr 1969."""
    usable = [(s / f[0], 1 / f[1] ** 2) for s, f in zip(spreads, factors, strict=True) if f]
    if not usable:
        return None, _("No group has two readings, so their scatter cannot be estimated.")
    sigma = sum(s * w for s, w in usable) / sum(w for _s, w in usable)
    if sigma == 0:
        return None, _("The readings of each group are equal, so their scatter cannot be estimated.")
    return float(sigma), ""


def ranges(y: Floats, code: Codes) -> Floats:
    order = np.argsort(code, kind="stable")
    starts = np.flatnonzero(np.diff(code[order], prepend=-1))
    return np.maximum.reduceat(y[order], starts) - np.minimum.reduceat(y[order], starts)


def deviations(d: Floats, code: Codes, n: Codes) -> Floats:
    # a group of equal readings has none, whatever the rounding of its mean left over
    some = ranges(d, code) > 0
    return np.asarray(np.where(some, np.sqrt(np.bincount(code, d * d) / np.maximum(n - 1, 1)), 0.0))
