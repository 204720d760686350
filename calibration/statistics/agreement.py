"""Two refractometers on the same brews. One against check standards is in `standards`, whose names are said here too.

Bland and Altman 1986, Statistical methods for assessing agreement between two methods of clinical measurement, The
Lancet 327:307, doi:10.1016/S0140-6736(86)90837-8: limits of agreement, coefficient of repeatability.
Bland and Altman 1999, Measuring agreement in method comparison studies, Statistical Methods in Medical Research
8:135, doi:10.1177/096228029900800204: repeats, ratios, difference on mean.
Carkeet 2015, Exact parametric confidence intervals for Bland-Altman limits of agreement, Optometry and Vision Science
92:e71, doi:10.1097/OPX.0000000000000513.
Zou 2013, Confidence interval estimation for the Bland-Altman limits of agreement with multiple observations per
individual, Statistical Methods in Medical Research 22:630, doi:10.1177/0962280211402548.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf, sqrt

import numpy as np
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.mean_squares import Interval, MeanSquare, combination_interval
from calibration.statistics.rows import Floats, level
from calibration.statistics.standards import Bias, Coefficient, Linearity, bias_against, bias_of, linearity
from calibration.statistics.steadiness import straight_line

__all__ = [
    "Agreement",
    "Bias",
    "Coefficient",
    "Linearity",
    "Slope",
    "agreement",
    "bias_against",
    "bias_of",
    "linearity",
]

Readings = Sequence[float] | Sequence[Sequence[float]] | Floats
LARGE = 200  # from here on the large-sample interval agrees with the exact one to 1 % of its width


@dataclass(frozen=True, slots=True)
class Slope:
    """Of the difference on the mean of both: slope has no unit; se, interval; p: chance of as much if there is none."""

    slope: float
    se: float
    interval: Interval
    p: float


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far a lies above b, in the unit of the readings; as a factor where ratio is true.

    n: items; bias: mean of a - b, or of a/b; sd: of differences between single readings, of their logarithms where
    ratio is true; low, high: limits of agreement, bias ± multiplier·sd; bias_interval, low_interval, high_interval;
    slope: proportional bias, of the logarithms where ratio is true; correlation: of the items' means.
    within_sd_a, within_sd_b: spread of repeats, None without any; repeatability_a, repeatability_b: what two
    repeats differ by at most, multiplier·√2·within_sd. notes: what could not be told, and why. None there.
    """

    n: int
    ratio: bool
    bias: float
    bias_interval: Interval | None
    sd: float | None
    low: float | None
    high: float | None
    low_interval: Interval | None
    high_interval: Interval | None
    slope: Slope | None
    correlation: float | None
    within_sd_a: float | None
    within_sd_b: float | None
    repeatability_a: float | None
    repeatability_b: float | None
    notes: tuple[str, ...]


def agreement(
    a: Readings, b: Readings, coverage: float = 0.95, multiplier: float = 1.96, ratio: bool = False
) -> Agreement:
    """Limits of agreement of instruments a and b on the same items.

    a, b: one reading for each item, or a row of repeats for each; as many repeats as there are, an item at a time.
    multiplier: 1.96 for 95 % of differences; Bland and Altman 1986 took 2. ratio: differences of logarithms, for
    instruments that differ in proportion; readings are above 0 then.
    """
    level(coverage)
    if not 0 < multiplier < inf:
        raise ValueError(_("The multiplier of the limits is above 0, such as 1.96."))
    rows_a, rows_b = _repeats(a, ratio), _repeats(b, ratio)
    n = len(rows_a)
    if n != len(rows_b):
        raise ValueError(
            _("Both instruments read the same items: there are %(a)d of one and %(b)d of the other.")
            % {"a": n, "b": len(rows_b)}
        )
    mean_a, mean_b = (np.array([row.mean() for row in rows]) for rows in (rows_a, rows_b))
    within = [_within(rows_a), _within(rows_b)]
    differences = mean_a - mean_b
    bias, notes = float(differences.mean()), []
    parts = [MeanSquare(1.0, float(differences.var(ddof=1)), n - 1)] if n > 1 else []
    # Bland and Altman 1999, 5.2: what averaging the repeats took away comes back
    parts += [part for part in within if part is not None] if n > 1 else []
    if n < 2:
        notes.append(_("One item alone says nothing of how differences scatter."))
    sd = sqrt(sum(part.coefficient * part.ms for part in parts)) if parts else None
    reach = None if sd is None else multiplier * sd
    intervals = None if sd is None else _intervals(bias, sd, parts, n, multiplier, coverage)
    slope, why = _slope((mean_a + mean_b) / 2, differences, coverage)
    notes += why

    def out(value: float | None) -> float | None:
        return exp(value) if ratio and value is not None else value

    def span(interval: Interval) -> Interval:
        return Interval(exp(interval.low), exp(interval.high)) if ratio else interval

    spread_a, spread_b = (None if part is None else sqrt(part.ms) for part in within)
    return Agreement(
        n=n,
        ratio=ratio,
        bias=exp(bias) if ratio else bias,
        sd=sd,
        low=out(None if reach is None else bias - reach),
        high=out(None if reach is None else bias + reach),
        bias_interval=None if intervals is None else span(intervals[0]),
        low_interval=None if intervals is None else span(intervals[1]),
        high_interval=None if intervals is None else span(intervals[2]),
        slope=slope,
        correlation=_correlation(mean_a, mean_b),
        within_sd_a=spread_a,
        within_sd_b=spread_b,
        repeatability_a=None if spread_a is None else multiplier * sqrt(2) * spread_a,
        repeatability_b=None if spread_b is None else multiplier * sqrt(2) * spread_b,
        notes=tuple(notes),
    )


def _repeats(readings: Readings, ratio: bool) -> list[Floats]:
    rows = []
    for number, given in enumerate(readings, 1):
        try:
            row = np.atleast_1d(np.asarray(given, dtype=float))
        except (TypeError, ValueError) as error:
            raise ValueError(_("The value in row %(row)d is not a number.") % {"row": number}) from error
        if row.ndim != 1 or len(row) == 0:
            raise ValueError(_("Row %(row)d has no reading.") % {"row": number})
        if not np.isfinite(row).all():
            raise ValueError(_("The value in row %(row)d is not a number.") % {"row": number})
        if ratio and not (row > 0).all():
            raise ValueError(_("Row %(row)d is not above 0, so it has no ratio.") % {"row": number})
        rows.append(np.log(row) if ratio else row)
    if not rows:
        raise ValueError(_("Enter at least one value."))
    return rows


def _within(rows: list[Floats]) -> MeanSquare | None:
    """The spread of one instrument's repeats, and how much of it averaging took from the variance of differences."""
    df = sum(len(row) - 1 for row in rows)
    if df == 0:
        return None
    squares = sum(float(((row - row.mean()) ** 2).sum()) for row in rows)
    lost = 1 - sum(1 / len(row) for row in rows) / len(rows)
    return MeanSquare(lost, squares / df, df)


def _intervals(
    bias: float, sd: float, parts: list[MeanSquare], n: int, multiplier: float, coverage: float
) -> tuple[Interval, Interval, Interval]:
    """Of the bias and of both limits."""
    beyond = (1 + coverage) / 2
    se = sqrt(parts[0].ms / n)
    t = float(special.stdtrit(n - 1, beyond))
    if len(parts) == 1 and n < LARGE:
        # Carkeet 2015: √n (limit - bias)/sd is a noncentral t
        near, far = (
            float(special.nctdtrit(n - 1, multiplier * sqrt(n), q)) * se for q in (1 - beyond, beyond)
        )
    else:
        # Zou 2013: the distances of both intervals to their estimates, added in squares
        spread = combination_interval(parts, coverage).root()
        reach = multiplier * sd
        near = reach - sqrt((t * se) ** 2 + (multiplier * (sd - spread.low)) ** 2)
        far = reach + sqrt((t * se) ** 2 + (multiplier * (spread.high - sd)) ** 2)
    return (
        Interval(bias - t * se, bias + t * se),
        Interval(bias - far, bias - near),
        Interval(bias + near, bias + far),
    )


def _slope(means: Floats, differences: Floats, coverage: float) -> tuple[Slope | None, list[str]]:
    """Bland and Altman 1999, 3.2. Unequal spreads of the two instruments tilt it a little as well."""
    n = len(means)
    if n < 3 or np.ptp(means) == 0:
        return None, [_("A slope needs three items, and not all alike.")]
    line = straight_line(means.tolist(), differences.tolist())
    t = float(special.stdtrit(n - 2, (1 + coverage) / 2))
    around = Interval(line.slope - t * line.se_slope, line.slope + t * line.se_slope)
    return Slope(line.slope, line.se_slope, around, _p(line.slope, line.se_slope, n - 2)), []


def _p(value: float, se: float, df: float) -> float:
    """Two-sided, by Student's t; a value without any spread is either nothing or certain."""
    if se == 0:
        return 1.0 if value == 0 else 0.0
    return float(2 * special.stdtr(df, -abs(value / se)))


def _correlation(one: Floats, other: Floats) -> float | None:
    if len(one) < 2 or np.ptp(one) == 0 or np.ptp(other) == 0:
        return None
    return float(np.corrcoef(one, other)[0, 1])
