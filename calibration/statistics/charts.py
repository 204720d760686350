"""Control charts: whether readings, in the order of time, stay as steady as their own scatter says they should.

The front door to charts: `individuals`, `averages`, `ewma` and `cusum` here; constants, run rules, run lengths and
the widths for a wanted distance between false alarms in their own rooms, named at the end.

Montgomery 2013, Introduction to Statistical Quality Control, 7th edition: chapters 6 and 9 (equations from memory).
NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2. Lucas and Saccucci 1990, Exponentially weighted moving average
control schemes, Technometrics 32:1, doi:10.1080/00401706.1990.10484583.
"""

from __future__ import annotations

from itertools import accumulate
from math import isfinite
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewbar.words import gettext as _
from calibration.statistics import run_rules
from calibration.statistics.chart_constants import LARGEST, Constants, constants
from calibration.statistics.chart_results import Chart, Line, Signal, Within
from calibration.statistics.group_spread import deviations, factors, ranges, sigma_of
from calibration.statistics.rows import Floats, Labels, codes, finite
from calibration.statistics.run_length import (
    Widths,
    average_run_length,
    height_for,
    promise,
    signal_by,
    width_for,
)
from calibration.statistics.run_rules import Handbook, Rules, nelson, western_electric
from calibration.statistics.schemes import Averages, Cusum, Ewma, Individuals, Scheme


def individuals(
    values: ArrayLike,
    *,
    target: float | None = None,
    sigma: float | None = None,
    width: float = 3.0,
    rules: Rules | None = None,
    baseline: int | None = None,
    printed: bool = False,
) -> Chart:
    """Single readings and their moving range: e-Handbook 6.3.2.2. Limits mean ± width·MR̄/d2(2).

    target, sigma: known ones in place of the mean and of MR̄/d2; rules: watched beside the limits; baseline: from
    how many of the first readings the limits are estimated, None for all; printed: constants as tables round them.
    """
    scheme = Individuals(width, _apart(width))
    x, centre, sigma, reason = _start(values, target, sigma, baseline, printed)
    drawn = tuple(x.tolist())
    if sigma is None:
        return Chart("imr", drawn, drawn, centre, None, reason=reason)
    c = constants(2, printed)
    low, high = centre - width * sigma, centre + width * sigma
    moving = np.abs(np.diff(x))
    mr_low, mr_high = _range_lines(c, width)
    mr_centre = c.d2 * sigma
    within = Within(
        "moving range", (None, *moving.tolist()), mr_centre, mr_low * mr_centre, mr_high * mr_centre
    )
    slack = _slack(x, sigma)
    signals = _flags("beyond", (x > high + slack) | (x < low - slack))
    signals += _flags("within", np.concatenate(([False], moving > mr_high * mr_centre + slack)))
    signals += _ruled((x - centre) / sigma, rules)
    return Chart(
        "imr", drawn, drawn, centre, sigma, low, high, within=within, signals=_in_order(signals),
        scheme=scheme if rules is None else None,
    )  # fmt: skip


def averages(
    values: ArrayLike,
    groups: Labels,
    *,
    spread: Literal["R", "S"] = "R",
    target: float | None = None,
    sigma: float | None = None,
    width: float = 3.0,
    rules: Rules | None = None,
    baseline: int | None = None,
    printed: bool = False,
) -> Chart:
    """Means of groups with their range or standard deviation: Montgomery 2013, 6.2 and 6.3.

    Groups come in the order in which they first appear and may differ in size; σ is then the best linear estimate
    from their ranges or standard deviations (Burr 1969), R̄/d2 or S̄/c4 where sizes are equal. baseline: from how many
    of the first groups the limits are estimated.
    """
    y = finite(values)
    code, names = codes(groups, len(y), _("group"))
    kind: Literal["xbar-r", "xbar-s"] = "xbar-r" if spread == "R" else "xbar-s"
    n = np.bincount(code)
    if spread == "R" and n.max() > LARGEST:
        raise ValueError(
            _("A range serves groups of up to 25 readings: use the standard deviation for larger.")
        )
    first, m = y[0], len(n) if baseline is None else baseline
    _check_known(target, sigma, width, m, len(n))
    means = first + np.bincount(code, y - first) / n
    spreads = ranges(y, code) if spread == "R" else deviations(y - means[code], code, n)
    known = [factors(int(size), spread, printed) for size in n]
    centre = target if target is not None else float(first + (n[:m] / n[:m].sum()) @ (means[:m] - first))
    reason = ""
    if sigma is None:
        sigma, reason = sigma_of(spreads[:m], known[:m])
    drawn = tuple(means.tolist())
    if sigma is None:
        return Chart(kind, drawn, drawn, centre, None, groups=names, reason=reason)

    half = width * sigma / np.sqrt(n)
    slack = _slack(y, sigma)
    signals = _flags("beyond", np.abs(means - centre) > half + slack)
    middle = np.array([f[0] if f else np.nan for f in known]) * sigma
    relative = np.array([f[1] if f else np.nan for f in known]) * width / 3
    low, high = middle * np.maximum(0.0, 1 - relative), middle * (1 + relative)
    seen = np.where(n > 1, spreads, middle)
    signals += _flags("within", (seen > high + slack) | (seen < low - slack))
    signals += _ruled((means - centre) * np.sqrt(n) / sigma, rules)
    points = tuple(float(s) if size > 1 else None for s, size in zip(spreads, n, strict=True))
    within = Within(spread, points, _line(middle), _line(low), _line(high)) if n.max() > 1 else None
    even = n.min() == n.max() and 1 < n[0] <= LARGEST
    return Chart(
        kind, drawn, drawn, centre, sigma, _line(centre - half), _line(centre + half), names, within,
        signals=_in_order(signals),
        scheme=Averages(int(n[0]), width, spread) if even and rules is None else None,
    )  # fmt: skip


def ewma(
    values: ArrayLike,
    scheme: Ewma | None = None,
    *,
    target: float | None = None,
    sigma: float | None = None,
    baseline: int | None = None,
    printed: bool = False,
) -> Chart:
    """Exponentially weighted moving average: zᵢ = λxᵢ + (1 − λ)zᵢ₋₁ from z₀ = target; Lucas and Saccucci 1990, eq. 1.

    Without a scheme: λ 0.2, width 2.962, limits widening with age. σ is given or MR̄/d2.
    """
    scheme = scheme or Ewma(steady=False)
    x, centre, sigma, reason = _start(values, target, sigma, baseline, printed)
    drawn = tuple(x.tolist())
    weight = scheme.lambda_
    deviations = accumulate((x - centre).tolist(), lambda z, d: z + weight * (d - z), initial=0.0)
    z = np.array(list(deviations)[1:])
    points = tuple((centre + z).tolist())
    if sigma is None:
        return Chart("ewma", drawn, points, centre, None, reason=reason)
    limits = sigma * scheme.limits(len(x))
    slack = _slack(x, sigma)
    signals = _flags("beyond", np.abs(z) > limits + slack)
    outer = None if scheme.outer is None else scheme.outer * sigma
    if outer is not None:
        signals += _flags("outer", np.abs(x - centre) > outer + slack)
    high: Line = float(centre + limits[0]) if scheme.steady else tuple((centre + limits).tolist())
    low: Line = float(centre - limits[0]) if scheme.steady else tuple((centre - limits).tolist())
    return Chart(
        "ewma", drawn, points, centre, sigma, low, high, signals=_in_order(signals), scheme=scheme,
        outer_low=None if outer is None else centre - outer,
        outer_high=None if outer is None else centre + outer,
    )  # fmt: skip


def cusum(
    values: ArrayLike,
    scheme: Cusum | None = None,
    *,
    target: float | None = None,
    sigma: float | None = None,
    baseline: int | None = None,
    printed: bool = False,
) -> Chart:
    """Tabular CUSUM: Cᵢ⁺ = max(0, xᵢ − target − kσ + Cᵢ₋₁⁺), Cᵢ⁻ likewise below; Montgomery 2013, 9.2 and 9.3.

    Signals where a sum is above hσ; the sums go on after one. Without a scheme: k 0.5, h 4.
    """
    scheme = scheme or Cusum()
    x, centre, sigma, reason = _start(values, target, sigma, baseline, printed)
    drawn = tuple(x.tolist())
    if sigma is None:
        return Chart("cusum", drawn, drawn, centre, None, reason=reason)
    allowance, limit = scheme.k * sigma, scheme.h * sigma
    sides = [
        list(accumulate(side.tolist(), lambda s, d: max(0.0, s + d - allowance), initial=0.0))[1:]
        for side in (x - centre, centre - x)
    ]
    slack = _slack(x, sigma)
    signals = _flags("high", np.array(sides[0]) > limit + slack)
    signals += _flags("low", np.array(sides[1]) > limit + slack)
    return Chart(
        "cusum", drawn, drawn, centre, sigma, -limit, limit, high_side=tuple(sides[0]), low_side=tuple(sides[1]),
        signals=_in_order(signals), scheme=scheme,
    )  # fmt: skip


def _start(
    values: ArrayLike, target: float | None, sigma: float | None, baseline: int | None, printed: bool
) -> tuple[Floats, float, float | None, str]:
    """The readings, their centre, σ by the moving range, and why there is none."""
    x = finite(values)
    m = len(x) if baseline is None else baseline
    _check_known(target, sigma, 1.0, m, len(x))
    known = x[:m]
    # from the first reading, so that equal readings have exactly their own value as mean
    centre = target if target is not None else float(known[0] + (known - known[0]).mean())
    if sigma is not None:
        return x, centre, sigma, ""
    if m < 2:
        return x, centre, None, _("One reading alone has no scatter: limits need two or more.")
    moving = float(np.abs(np.diff(known)).mean())
    if moving == 0:
        return (
            x,
            centre,
            None,
            _("The readings that limits would come from are equal: no scatter to estimate."),
        )
    return x, centre, moving / constants(2, printed).d2, ""


def _check_known(target: float | None, sigma: float | None, width: float, m: int, n: int) -> None:
    if target is not None and not isfinite(target):
        raise ValueError(_("The target must be a number."))
    if sigma is not None and not (isfinite(sigma) and sigma > 0):
        raise ValueError(_("A known standard deviation must be a number above 0."))
    if not (isfinite(width) and width > 0):
        raise ValueError(_("The width of the limits must be a number above 0."))
    if not 1 <= m <= n:
        raise ValueError(_("Limits are estimated from 1 to %(n)d of the first points.") % {"n": n})


def _apart(width: float) -> float:
    c = constants(2)
    return c.d2 + width * c.d3


def _range_lines(c: Constants, width: float) -> tuple[float, float]:
    relative = (c.D4 - 1) * width / 3
    return max(0.0, 1 - relative), 1 + relative


def _line(values: Floats) -> Line:
    """One number where it is the same for all; None where there is none."""
    if (values == values[0]).all():
        return float(values[0])
    return tuple(None if value != value else value for value in values.tolist())


def _slack(x: Floats, sigma: float) -> float:
    # typed decimals: a reading exactly on a limit is not a float's breadth beyond it
    return 1e-9 * sigma + 8 * float(np.spacing(np.abs(x).max()))


def _flags(rule: str, where: NDArray[np.bool_]) -> list[Signal]:
    return [Signal(int(i) + 1, rule) for i in np.flatnonzero(where)]


def _ruled(z: Floats, rules: Rules | None) -> list[Signal]:
    """Signals of run rules; the first of either handbook is the chart's own limit and is not said twice."""
    if rules is None:
        return []
    found = run_rules.completed(z, rules)
    return [
        Signal(i, f"{rules.handbook} {number}") for number, at in found.items() if number != 1 for i in at
    ]


def _in_order(signals: list[Signal]) -> tuple[Signal, ...]:
    return tuple(sorted(signals, key=lambda signal: signal.index))


__all__ = [
    "Averages", "Chart", "Constants", "Cusum", "Ewma", "Handbook", "Individuals", "Line", "Rules", "Scheme",
    "Signal", "Widths", "Within", "average_run_length", "averages", "constants", "cusum", "ewma", "height_for",
    "individuals", "nelson", "promise", "signal_by", "western_electric", "width_for",
]  # fmt: skip
