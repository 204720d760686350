"""Whether readings drift: along days off roast, or all at once at some point in time.

Draper and Smith 1998, Applied regression analysis, 3rd edition, doi:10.1002/9781118625590, 1.2 to 1.4: straight line.
Andrews 1993, Tests for parameter instability and structural change with unknown change point, Econometrica 61:821,
doi:10.2307/2951764: the largest F over all places. Zeileis, Kleiber, Krämer and Hornik 2003, Testing and dating of
structural changes in practice, Computational Statistics and Data Analysis 44:109, doi:10.1016/S0167-9473(03)00030-6.
Pettitt 1979, A non-parametric approach to the change-point problem, Applied Statistics 28:126, doi:10.2307/2346729.
Ploberger and Krämer 1992, The CUSUM test with OLS residuals, Econometrica 60:271, doi:10.2307/2951597.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, floor, inf, log, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from brewbar.words import gettext as _
from calibration.statistics.change_chance import chance_of_sup_f
from calibration.statistics.rows import Floats, Labels, codes, finite, level

TRIM = 0.15  # Andrews 1993: no place is looked for in the outer 15 % of the readings
FEWEST_FOR_CHANGE = 6


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line y = intercept + slope·x by least squares.

    n: readings; slope, se_slope: y for each x; low, high: interval of the slope; t, p: against no slope, two-sided;
    intercept, se_intercept: y at x = 0, None where groups have one each; residual_sd: in y, with df degrees of
    freedom; r_squared: share of the squares that the line explains, within groups if there are any.
    What cannot be estimated is None, and `reason` says why; else `reason` is "".
    """

    n: int
    slope: float | None = None
    se_slope: float | None = None
    low: float | None = None
    high: float | None = None
    t: float | None = None
    p: float | None = None
    intercept: float | None = None
    se_intercept: float | None = None
    residual_sd: float | None = None
    df: int = 0
    r_squared: float | None = None
    reason: str = ""


def slope(x: ArrayLike, y: ArrayLike, groups: Labels | None = None, coverage: float = 0.95) -> Trend:
    """Slope of y on x, such as TDS on days off roast, with its interval by Student's t.

    groups: such as roast lots, each with a level of its own, so that a lot that happened to be read late and was
    strong does not pass for ageing: the slope is that within groups. Centred first: constant leading digits cost
    nothing.
    """
    level(coverage)
    across, up = finite(x), finite(y)
    n = len(up)
    if len(across) != n:
        raise ValueError(
            _("Every value needs its place: there are %(n)d values and %(x)d places.")
            % {"n": n, "x": len(across)}
        )
    code, names = (
        codes(groups, n, _("group")) if groups is not None else (np.zeros(n, dtype=np.intp), (None,))
    )
    size = np.bincount(code)
    dx, x_mean = _centred(across, code, size)
    dy, y_mean = _centred(up, code, size)
    df = n - len(names) - 1
    sxx, sxy, syy = float(dx @ dx), float(dx @ dy), float(dy @ dy)
    if sxx == 0:
        return Trend(n, reason=_("All readings were taken at the same place, so there is no slope to see."))
    b = sxy / sxx
    single = groups is None
    intercept = float(y_mean[0] - b * x_mean[0]) if single else None
    if df < 1:
        reason = _("There are too few readings to tell the slope from their scatter.")
        return Trend(n, b, intercept=intercept, reason=reason)
    residuals = dy - b * dx
    rss = float(residuals @ residuals)
    sd = sqrt(rss / df)
    se = sd / sqrt(sxx)
    reach = float(stats.t.ppf((1 + coverage) / 2, df)) * se
    if se > 0:
        t: float | None = b / se
        p: float | None = float(2 * special.stdtr(df, -abs(b / se)))
        reason = ""
    else:
        t = p = None
        reason = _("The readings lie on a line without any scatter, so chance cannot be judged.")
    return Trend(
        n=n,
        slope=b,
        se_slope=se,
        low=b - reach,
        high=b + reach,
        t=t,
        p=p,
        intercept=intercept,
        se_intercept=sd * sqrt(1 / n + float(x_mean[0]) ** 2 / sxx) if single else None,
        residual_sd=sd,
        df=df,
        r_squared=1 - rss / syy if syy > 0 else None,
        reason=reason,
    )


def _centred(values: Floats, code: np.ndarray, size: np.ndarray) -> tuple[Floats, Floats]:
    """Values less their group's mean, and those means."""
    shifted = values - values[0]
    means = np.bincount(code, shifted) / size
    left = shifted - means[code]
    rest = np.bincount(code, left) / size  # what rounding left of the mean
    left -= rest[code]
    largest, smallest = np.full(len(size), -inf), np.full(len(size), inf)
    np.maximum.at(largest, code, values)
    np.minimum.at(smallest, code, values)
    left[(largest == smallest)[code]] = 0.0
    return left, values[0] + means + rest


@dataclass(frozen=True, slots=True)
class Pettitt:
    """Pettitt's test on ranks. k: the largest |U|; after: readings before the change; p: approximate, at most 1."""

    k: float
    after: int
    p: float


@dataclass(frozen=True, slots=True)
class ChangePoint:
    """The one place where a change of the mean fits best, in the unit of the values.

    n: readings; after: how many lie before the change; f: the largest F, infinite where two levels fit exactly;
    p: chance of one as large anywhere without a change, for normal readings; mean_before, mean_after, shift: the
    latter less the former; low, high: interval of the shift as if the place had been known beforehand;
    residual_sd: about the two means; rss_0, rss_1: squares about one mean and about two; bic_0, bic_1: Schwarz's
    criterion of each, smaller is better; cusum, p_cusum: the largest sum of residuals over σ√n, and its chance;
    pettitt: the same question asked of ranks. None where it cannot be said, and `reason` says why.
    """

    n: int
    after: int | None = None
    f: float | None = None
    p: float | None = None
    mean_before: float | None = None
    mean_after: float | None = None
    shift: float | None = None
    low: float | None = None
    high: float | None = None
    residual_sd: float | None = None
    rss_0: float | None = None
    rss_1: float | None = None
    bic_0: float | None = None
    bic_1: float | None = None
    cusum: float | None = None
    p_cusum: float | None = None
    pettitt: Pettitt | None = None
    reason: str = ""


def change_point(values: ArrayLike, trim: float = TRIM, coverage: float = 0.95) -> ChangePoint:
    """Sup-F: Andrews 1993, eq. 4.1, for a mean, and Pettitt 1979, of readings in the order of time."""
    level(coverage)
    if not 0 <= trim < 0.5:
        raise ValueError(_("The share left out at each end is 0 or more, and less than a half."))
    y = finite(values)
    n = len(y)
    if n < FEWEST_FOR_CHANGE:
        return ChangePoint(
            n, reason=_("A change needs %(least)d readings or more.") % {"least": FEWEST_FOR_CHANGE}
        )
    if (y == y[0]).all():
        return ChangePoint(n, reason=_("All readings are equal: there is no change to see."))
    d = y - y[0]
    mean = d.mean()
    d = d - mean
    first = max(1, floor(trim * n + 1e-9))
    places = np.arange(first, n - first + 1)
    sums = np.cumsum(d)
    between = n * sums[places - 1] ** 2 / (places * (n - places))
    best = int(between.argmax())
    after = int(places[best])
    rss_0 = float(d @ d)
    before, later = d[:after], d[after:]
    rss_1 = float(((before - before.mean()) ** 2).sum() + ((later - later.mean()) ** 2).sum())
    if rss_1 < 1e-24 * rss_0 * n or (_flat(y[:after]) and _flat(y[after:])):
        rss_1 = 0.0
    f = (rss_0 - rss_1) / (rss_1 / (n - 2)) if rss_1 > 0 else inf
    shift = float(later.mean() - before.mean())
    sd = sqrt(rss_1 / (n - 2))
    reach = float(stats.t.ppf((1 + coverage) / 2, n - 2)) * sd * sqrt(1 / after + 1 / (n - after))
    s0 = float(np.abs(sums).max()) / sqrt(rss_0 / (n - 1) * n)
    return ChangePoint(
        n=n,
        after=after,
        f=f,
        p=chance_of_sup_f(f, n, first, n - first),
        mean_before=float(y[0] + mean + before.mean()),
        mean_after=float(y[0] + mean + later.mean()),
        shift=shift,
        low=shift - reach,
        high=shift + reach,
        residual_sd=sd,
        rss_0=rss_0,
        rss_1=rss_1,
        bic_0=_bic(rss_0, n, 2),
        bic_1=_bic(rss_1, n, 4),
        cusum=s0,
        p_cusum=float(special.kolmogorov(s0)),
        pettitt=pettitt(y),
    )


def _flat(values: Floats) -> bool:
    return bool((values == values[0]).all())


def _bic(rss: float, n: int, parameters: int) -> float | None:
    """−2 log L + parameters·log n, normal, σ² = RSS/n; the place of a change counts as a parameter."""
    return n * (log(2 * pi * rss / n) + 1) + parameters * log(n) if rss > 0 else None


def pettitt(values: ArrayLike) -> Pettitt:
    """U_t = 2 Σᵢ₌₁ᵗ rᵢ − t(n + 1), ranks r shared by ties; p ≈ 2 exp(−6K²/(n³ + n²)): Pettitt 1979, eq. 2.5."""
    y = finite(values, 2)
    n = len(y)
    u = 2 * np.cumsum(stats.rankdata(y)) - np.arange(1, n + 1) * (n + 1)
    u = np.abs(u[:-1])
    k = float(u.max())
    return Pettitt(k, int(u.argmax()) + 1, min(1.0, 2 * exp(-6 * k * k / (n**3 + n**2))))
