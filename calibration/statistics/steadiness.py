"""How steady a flow was, from weight against time. Grams and seconds.

A cumulative weight's residuals are a random walk, so the standard error of its slope says nothing of steadiness:
that is the spread of flows in windows of a second or more, less what the scale's own rounding adds to it.

JCGM 100:2008 (GUM), 4.3.7 and F.2.2.1: a display's rounding is rectangular, resolution/sqrt(12).
NIST/SEMATECH e-Handbook of Statistical Methods, section 4.1.4.1: least squares of a straight line.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import fsum, sqrt
from statistics import fmean, stdev


@dataclass(frozen=True, slots=True)
class Line:
    """y = intercept + slope·x by least squares, the standard errors of both, and the residual standard deviation
    with n - 2 degrees of freedom."""

    slope: float
    intercept: float
    se_slope: float
    se_intercept: float
    residual_sd: float


def straight_line(x: Sequence[float], y: Sequence[float]) -> Line:
    """Centred first, so that constant leading digits cost nothing. Needs three points and two different x."""
    n = len(x)
    if n != len(y) or n < 3 or min(x) == max(x):
        raise ValueError("A straight line needs three points, at two different places or more.")
    x_mean, y_mean = fmean(x), fmean(y)
    from_x, from_y = [value - x_mean for value in x], [value - y_mean for value in y]
    squares = fsum(value * value for value in from_x)
    slope = fsum(one * other for one, other in zip(from_x, from_y, strict=True)) / squares
    residuals = fsum((other - slope * one) ** 2 for one, other in zip(from_x, from_y, strict=True))
    sd = sqrt(residuals / (n - 2))
    return Line(
        slope, y_mean - slope * x_mean, sd / sqrt(squares), sd * sqrt(1 / n + x_mean**2 / squares), sd
    )


def slope_u(reading_u_g: float, readings: int, interval_s: float) -> float:
    """Standard error of a flow in g/s from white noise on equally spaced readings: u·sqrt(12/(n(n² - 1)))/dt."""
    return reading_u_g * sqrt(12 / (readings * (readings**2 - 1))) / interval_s


def rounding_u_g_s(resolution_g: float, window_s: float) -> float:
    """What a scale's rounding adds to the flow between two readings: resolution·sqrt(2/12)/window."""
    return resolution_g * sqrt(2 / 12) / window_s


def window_flows_g_s(
    at_s: Sequence[float], weight_g: Sequence[float], window_s: float = 1.0
) -> tuple[float, ...]:
    """Flows of windows that do not overlap, from readings at a steady interval of which a window is a multiple."""
    interval_s = (at_s[-1] - at_s[0]) / (len(at_s) - 1)
    step = round(window_s / interval_s)
    if step < 1 or abs(step * interval_s - window_s) > 1e-6:
        raise ValueError("A window must be a whole number of reading intervals.")
    weights = weight_g[::step]
    return tuple((after - before) / window_s for before, after in pairwise(weights))


def variation(flows_g_s: Sequence[float]) -> float:
    """Coefficient of variation: sample standard deviation over mean."""
    return stdev(flows_g_s) / fmean(flows_g_s)


def without_rounding(observed: float, mean_g_s: float, resolution_g: float, window_s: float = 1.0) -> float:
    """A coefficient of variation less the scale's rounding, in quadrature; 0 where rounding explains it all."""
    own = observed**2 - (rounding_u_g_s(resolution_g, window_s) / mean_g_s) ** 2
    return sqrt(own) if own > 0 else 0.0
