"""Whether values may come from a normal distribution.

Anderson and Darling 1954, A test of goodness of fit, Journal of the American Statistical Association 49:765,
doi:10.1080/01621459.1954.10501232.
D'Agostino and Stephens 1986, Goodness-of-fit techniques (Marcel Dekker), table 4.9: the correction for a mean and a
standard deviation that are estimated, and p (constants from memory; the tests simulate them).
"""

from __future__ import annotations

from math import exp

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.rows import Floats, finite


def anderson_darling(values: ArrayLike, resolution: float = 0.0) -> tuple[float, float] | None:
    """A*² and its p, or None below eight values and without any spread.

    resolution: of the display. Values it has rounded alike are spread evenly over the step they stand for, so that
    rounding is not taken for another shape.
    """
    if not 0 <= resolution < float("inf"):
        raise ValueError(_("A display's resolution is 0 or more."))
    x = np.sort(finite(values))
    n = len(x)
    if n < 8 or x[0] == x[-1]:
        return None
    x = _spread(x - x[0], resolution) if resolution > 0 else x - x[0]
    z = (x - x.mean()) / x.std(ddof=1)
    weights = 2 * np.arange(1, n + 1) - 1
    a2 = -n - float(weights @ (special.log_ndtr(z) + special.log_ndtr(-z[::-1]))) / n
    a = a2 * (1 + 0.75 / n + 2.25 / n**2)
    return a, _p(a)


def _spread(x: Floats, resolution: float) -> Floats:
    # a mean of drops lies between two marks, and is a mark of its own here
    marks, first, counts = np.unique(np.round(x / resolution, 6), return_index=True, return_counts=True)
    place = np.arange(len(x)) - np.repeat(first, counts)
    many = np.repeat(counts, counts)
    spread: Floats = np.repeat(marks, counts) + (place + 0.5) / many - 0.5
    return spread * resolution


def _p(a: float) -> float:
    if a >= 13:
        return 0.0
    if a >= 0.6:
        return exp(1.2937 - 5.709 * a + 0.0186 * a**2)
    if a > 0.34:
        return exp(0.9177 - 4.279 * a - 1.38 * a**2)
    if a > 0.2:
        return 1 - exp(-8.318 + 42.796 * a - 59.938 * a**2)
    return 1 - exp(-13.436 + 101.14 * a - 223.73 * a**2)
