"""One instrument against check standards: its bias, and whether the bias changes along the scale.

AIAG 2010, Measurement systems analysis reference manual, 4th edition, chapter III, section B: bias and linearity.
JCGM 100:2008 (GUM), equations 10 and G.2b: where a standard's own uncertainty counts as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.anova import one_way
from calibration.statistics.mean_squares import Interval
from calibration.statistics.propagation import effective_df
from calibration.statistics.rows import finite, level
from calibration.statistics.steadiness import straight_line


@dataclass(frozen=True, slots=True)
class Bias:
    """At one standard, in the unit of the readings. reference: its value; n: readings; mean: theirs; bias: mean less
    reference; sd: of single readings; se: of the bias; t, df, p: of no bias; interval: of the bias. None where one
    reading says nothing of its spread."""

    reference: float
    n: int
    mean: float
    bias: float
    sd: float | None
    se: float | None
    t: float | None
    df: float | None
    p: float | None
    interval: Interval | None


def bias_against(
    readings: ArrayLike, reference: float, u_reference: float = 0.0, coverage: float = 0.95
) -> Bias:
    """Of repeated readings of one standard; u_reference: its standard uncertainty."""
    y = finite(readings)
    sd = float((y - y[0]).std(ddof=1)) if len(y) > 1 else None
    return bias_of(float((y - y[0]).mean() + y[0]), sd, len(y), reference, u_reference, coverage)


def bias_of(
    mean: float, sd: float | None, n: int, reference: float, u_reference: float = 0.0, coverage: float = 0.95
) -> Bias:
    """From the mean and the standard deviation of n readings; sd is None for a single one."""
    if not (isfinite(mean) and isfinite(reference)):
        raise ValueError(_("The mean and the reference must be numbers."))
    if n < 1 or not (sd is None or 0 <= sd < inf) or not 0 <= u_reference < inf:
        raise ValueError(_("A bias wants one reading or more, and standard deviations of 0 or more."))
    found = mean - reference
    if sd is None or n == 1:
        return Bias(reference, n, mean, found, None, None, None, None, None, None)
    parts = [sd / sqrt(n), u_reference]
    se, df = sqrt(parts[0] ** 2 + parts[1] ** 2), effective_df(parts, [n - 1, inf])
    t = found / se if se > 0 else None
    quantile = float(
        special.stdtrit(df, (1 + level(coverage)) / 2) if df < inf else special.ndtri((1 + coverage) / 2)
    )
    p = None if t is None else float(2 * (special.stdtr(df, -abs(t)) if df < inf else special.ndtr(-abs(t))))
    return Bias(
        reference, n, mean, found, sd, se, t, df, p, Interval(found - quantile * se, found + quantile * se)
    )


@dataclass(frozen=True, slots=True)
class Coefficient:
    """value; se: its standard error; t, p: of 0, None where the line fits without any residue; interval."""

    value: float
    se: float
    t: float | None
    p: float | None
    interval: Interval


@dataclass(frozen=True, slots=True)
class Linearity:
    """bias = intercept + slope·reference by least squares.

    n: readings; slope: without a unit; intercept, residual_sd: in the unit of the readings; r_squared: None where all
    biases are equal; bend_p: chance of means as far off the line if it is straight, None where no standard was read
    twice or there are only two; standards: the bias at each, in the order of first appearance.
    """

    n: int
    slope: Coefficient
    intercept: Coefficient
    residual_sd: float
    r_squared: float | None
    bend_p: float | None
    standards: tuple[Bias, ...]


def linearity(readings: ArrayLike, references: ArrayLike, coverage: float = 0.95) -> Linearity:
    """readings, references: shape (n,), three or more readings at two standards or more."""
    y, x = finite(readings, 3), finite(references, 3)
    if len(x) != len(y):
        raise ValueError(_("Every reading needs the value of its standard."))
    if np.ptp(x) == 0:
        raise ValueError(_("A line needs two standards or more."))
    biases, df = y - x, len(y) - 2
    line = straight_line(x.tolist(), biases.tolist())
    t = float(special.stdtrit(df, (1 + level(coverage)) / 2))

    def coefficient(value: float, se: float) -> Coefficient:
        ratio = value / se if se > 0 else None
        p = None if ratio is None else float(2 * special.stdtr(df, -abs(ratio)))
        return Coefficient(value, se, ratio, p, Interval(value - t * se, value + t * se))

    about = float(((biases - biases.mean()) ** 2).sum())
    left = df * line.residual_sd**2
    return Linearity(
        len(y),
        coefficient(line.slope, line.se_slope),
        coefficient(line.intercept, line.se_intercept),
        line.residual_sd,
        1 - left / about if about > 0 else None,
        _bend(biases, x.tolist(), left),
        tuple(bias_against(y[x == one], float(one), coverage=coverage) for one in dict.fromkeys(x.tolist())),
    )


def _bend(biases: np.ndarray, references: Sequence[float], left: float) -> float | None:
    """Lack of fit against the spread at each standard: NIST/SEMATECH e-Handbook, 4.4.4.6."""
    table = one_way(biases, references)
    df, pure = table.terms["group"].df - 1, table.residual
    if df < 1 or not pure.ms:
        return None
    return float(special.fdtrc(df, pure.df, max(left - pure.ss, 0.0) / df / pure.ms))
