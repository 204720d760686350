"""The mean of a model with random effects, and between which limits it lies.

Satterthwaite 1946, An approximate distribution of estimates of variance components, Biometrics Bulletin 2:110,
doi:10.2307/3002019: degrees of freedom, with the average information as the variances' precision (for REML).
Bates, Mächler, Bolker and Walker 2015, doi:10.18637/jss.v067.i01, section 5.1: the profile (for ML, since a
restricted likelihood says nothing of the mean).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri, stdtrit

from calibration.statistics.absorbing import Surface
from calibration.statistics.rows import Floats
from calibration.statistics.searching import Place, lowest

MOST_DOUBLINGS = 40


@dataclass(frozen=True, slots=True)
class Intercept:
    """estimate: β0 with every slope's column at 0; se: its standard error; low, high: its limits."""

    estimate: float
    se: float
    low: float | None
    high: float | None


def intercept(surface: Surface, best: Place, coverage: float | None) -> Intercept:
    """β0 at the lowest place of a surface; its limits only for a coverage."""
    cells = surface.cells
    toward = np.array([1.0, *(-column.middle for column in cells.columns[1:])])
    estimate = float(toward @ best.point.beta) + cells.shift
    se = sqrt(float(best.variances[-1] * (toward @ best.point.covariance @ toward)))
    if coverage is None:
        return Intercept(estimate, se, None, None)
    if surface.ml:
        return Intercept(estimate, se, *_profiled(surface, best, coverage, estimate, se))
    reach = float(stdtrit(_degrees(best, toward, se * se), (1 + coverage) / 2)) * se
    return Intercept(estimate, se, estimate - reach, estimate + reach)


def _degrees(best: Place, toward: Floats, variance: float) -> float:
    """2f²/var f for f, the estimate's variance: Satterthwaite 1946, equation 17 (from memory)."""
    variances, leaning = best.variances, best.point.covariance @ toward
    by_term = best.point.leans @ leaning @ leaning
    by_all = np.append(by_term, (variance - variances[:-1] @ by_term) / variances[-1])  # f is of degree 1
    free = variances > 0
    spread = np.linalg.pinv(best.curvature[np.ix_(free, free)] / 2, hermitian=True)
    return max(1.0, 2 * variance**2 / float(by_all[free] @ spread @ by_all[free]))


def _profiled(
    surface: Surface, best: Place, coverage: float, estimate: float, se: float
) -> tuple[float | None, float | None]:
    reach = sqrt(float(chdtri(1, 1 - coverage)))

    def beyond(mean: float) -> float:
        held = Surface(surface.cells.less_constant(mean), ml=True)
        rise = lowest(held, best.variances).criterion - best.criterion
        return sqrt(max(rise, 0.0)) - reach

    def limit(direction: int) -> float | None:
        near, step = estimate, direction * reach * se
        for _doubling in range(MOST_DOUBLINGS):
            if beyond(near + step) > 0:
                return float(brentq(beyond, near, near + step, xtol=1e-7 * se))
            near, step = near + step, 2 * step
        return None

    return limit(-1), limit(+1)
