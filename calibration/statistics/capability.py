"""What share of values lies within a tolerance, and how the spread compares with it.

Wilson 1927, Probable inference, the law of succession, and statistical inference, Journal of the American Statistical
Association 22:209, doi:10.1080/01621459.1927.10502953.
NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6: Cp, Cpk, k and what they assume.
Bissell 1990, How reliable is your capability index?, Applied Statistics 39:331, doi:10.2307/2347383: Cpk's interval.
Cryer and Ryan 1990, The estimation of sigma for an X chart: MR/d2 or S/c4?, Journal of Quality Technology 22:187,
doi:10.1080/00224065.1990.11979238: how well a moving range knows a standard deviation (constants from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite, isnan, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.mean_squares import Interval, variance_interval
from calibration.statistics.normality import anderson_darling
from calibration.statistics.randomness import lag_1
from calibration.statistics.rows import Floats, Labels, codes, finite, level

D2_OF_TWO = 2 / sqrt(pi)  # mean range of two standard normal values
NOT_NORMAL_BELOW = 0.01  # the house's rule: p of Anderson and Darling's test
FEW = 30  # the house's rule: fewer values hide even a plain want of normality


@dataclass(frozen=True, slots=True)
class Share:
    """inside of n; share = inside/n, 0 to 1; interval: Wilson's, for values that do not cluster."""

    inside: int
    n: int
    share: float
    interval: Interval


def wilson(inside: float, n: float, coverage: float = 0.95, z: float | None = None) -> Interval:
    """Limits of a share: Wilson 1927. z: another quantile than the normal one, where n is only effective."""
    if not (n > 0 and 0 <= inside <= n):
        raise ValueError(_("A share is of one value or more, and no more lie inside than there are."))
    z = float(special.ndtri((1 + level(coverage)) / 2)) if z is None else z
    p, z2 = inside / n, z * z
    centre, reach = p + z2 / (2 * n), z * sqrt(p * (1 - p) / n + z2 / (4 * n * n))
    low, high = (centre - reach) / (1 + z2 / n), (centre + reach) / (1 + z2 / n)
    # at 0 and 1 the limits are these, to the last digit
    return Interval(0.0 if inside == 0 else low, 1.0 if inside == n else high)


def share_within(
    values: ArrayLike, lower: float | None = None, upper: float | None = None, coverage: float = 0.95
) -> Share:
    """How many values lie from lower to upper, limits included; either may be None."""
    y = finite(values)
    low, high = _limits(lower, upper)
    # typed decimals: 1.50 is at the edge of 1.40 ± 0.10, not a float's breadth outside it
    inside = int(((np.round(y, 9) >= round(low, 9)) & (np.round(y, 9) <= round(high, 9))).sum())
    return Share(inside, len(y), inside / len(y), wilson(inside, len(y), coverage))


@dataclass(frozen=True, slots=True)
class Indices:
    """Of one standard deviation; no unit. cp: width of the tolerance over six sd, None with one limit; cpu, cpl: from
    the mean to either limit over three sd; cpk: the smaller; k: how far off the middle the mean lies, as a share of
    half the tolerance; intervals of cp (exact) and cpk (Bissell 1990), None where sd has no degrees of freedom."""

    cp: float | None
    cpu: float | None
    cpl: float | None
    cpk: float
    k: float | None
    cp_interval: Interval | None
    cpk_interval: Interval | None


def indices(
    mean: float,
    sd: float,
    lower: float | None = None,
    upper: float | None = None,
    n: int | None = None,
    df: float | None = None,
    coverage: float = 0.95,
) -> Indices:
    """From summary values; n: how many the mean is of; df: of sd, n - 1 unless given."""
    if not isfinite(mean) or not 0 < sd < inf:
        raise ValueError(_("Capability wants a mean, and a standard deviation above 0."))
    low, high = _limits(lower, upper)
    level(coverage)
    both = isfinite(low) and isfinite(high)
    cpu = (high - mean) / (3 * sd) if isfinite(high) else None
    cpl = (mean - low) / (3 * sd) if isfinite(low) else None
    cp = (high - low) / (6 * sd) if both else None
    cpk = min(side for side in (cpu, cpl) if side is not None)
    k = abs((high + low) / 2 - mean) / ((high - low) / 2) if both else None
    df = n - 1 if df is None and n is not None else df
    if n is None or df is None or df <= 0:
        return Indices(cp, cpu, cpl, cpk, k, None, None)
    spread = variance_interval(1.0, df, coverage).root()
    around_cp = None if cp is None else Interval(cp / spread.high, cp / spread.low)
    z = float(special.ndtri((1 + coverage) / 2))
    reach = z * sqrt(1 / (9 * n) + cpk**2 / (2 * df))  # Bissell 1990
    return Indices(cp, cpu, cpl, cpk, k, around_cp, Interval(cpk - reach, cpk + reach))


@dataclass(frozen=True, slots=True)
class Capability:
    """mean, sd: of all values, in their unit; within_sd: between neighbours or within groups; within_df: its degrees
    of freedom. within: Cp and Cpk, of within_sd; overall: Pp and Ppk, of sd; None with a note where a standard
    deviation is 0 or unknown. share: of the values themselves, whatever their shape. normal_p: of Anderson and
    Darling's test, None for few values; meaningless: whether the indices say nothing, because values are plainly not
    normal; notes: why, and what else stands against them."""

    n: int
    mean: float
    sd: float | None
    within_sd: float | None
    within_df: float | None
    within: Indices | None
    overall: Indices | None
    share: Share
    normal_p: float | None
    meaningless: bool
    notes: tuple[str, ...]


def capability(
    values: ArrayLike,
    lower: float | None = None,
    upper: float | None = None,
    groups: Labels | None = None,
    resolution: float = 0.0,
    coverage: float = 0.95,
) -> Capability:
    """Of values in the order of time against a lower limit, an upper one or both.

    groups: what belongs together, such as a day; without it the spread within is told from neighbours.
    resolution: of the display that rounded the values.
    """
    y = finite(values)
    x = y - y[0]
    share = share_within(y, lower, upper, coverage)
    mean, sd = float(x.mean() + y[0]), float(x.std(ddof=1)) if len(y) > 1 else None
    within_sd, within_df = _within(x, groups)
    notes = []
    if not sd:
        notes.append(_("The values do not scatter at all, so no index of capability can be told."))
    elif not within_sd:
        notes.append(_("The spread within groups is 0 or unknown, so Cp and Cpk cannot be told."))
    normal = anderson_darling(y, resolution)
    meaningless = normal is not None and normal[1] < NOT_NORMAL_BELOW
    if meaningless:
        notes.append(
            _(
                "The values are not normal, so Cp, Cpk and Ppk say nothing of how many lie outside: read the share."
            )
        )
    elif sd and len(y) < FEW:
        notes.append(
            _("Too few values to see whether they are normal, which Cp, Cpk and Ppk take for granted.")
        )
    alike = lag_1(y) if len(y) >= FEW else None
    # e-Handbook 1.3.5.12: chance alone stays within 1.96/√n
    if alike is not None and abs(alike) > 1.96 / sqrt(len(y)):
        notes.append(
            _(
                "Neighbouring values resemble each other, so the process drifts and the intervals are too short."
            )
        )
    return Capability(
        n=len(y),
        mean=mean,
        sd=sd,
        within_sd=within_sd,
        within_df=within_df,
        within=indices(mean, within_sd, lower, upper, len(y), within_df, coverage)
        if within_sd and sd
        else None,
        overall=indices(mean, sd, lower, upper, len(y), coverage=coverage) if sd else None,
        share=share,
        normal_p=None if normal is None else normal[1],
        meaningless=meaningless,
        notes=tuple(notes),
    )


def _within(x: Floats, groups: Labels | None) -> tuple[float | None, float | None]:
    """Standard deviation within groups, or of neighbours, and its degrees of freedom."""
    n = len(x)
    if groups is not None:
        group, names = codes(groups, n, _("group"))
        df = n - len(names)
        means = np.bincount(group, x) / np.bincount(group)
        return (sqrt(float(((x - means[group]) ** 2).sum()) / df), df) if df > 0 else (None, None)
    if n < 2:
        return None, None
    # Cryer and Ryan 1990: squared coefficient of variation of the mean moving range; as degrees of freedom 1/(2 cv²)
    cv2 = (0.8264 * n - 1.082) / (n - 1) ** 2
    return float(np.abs(np.diff(x)).mean()) / D2_OF_TWO, 1 / (2 * cv2)


def _limits(lower: float | None, upper: float | None) -> tuple[float, float]:
    low, high = -inf if lower is None else lower, inf if upper is None else upper
    if isnan(low) or isnan(high) or not low < high or (low, high) == (-inf, inf):
        raise ValueError(_("Give a lower limit, an upper limit above it, or both."))
    return low, high
