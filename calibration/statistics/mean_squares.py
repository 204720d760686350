"""Intervals of variances and of sums and differences of mean squares.

A mean square S² with ν degrees of freedom is σ²·χ²(ν)/ν of its own expectation; the mean squares are independent.

Graybill and Wang 1980, Confidence intervals on nonnegative linear combinations of variances, Journal of the American
Statistical Association 75:869, doi:10.1080/01621459.1980.10477565.
Ting, Burdick, Graybill, Jeyaratnam and Lu 1990, Confidence intervals on linear combinations of variance components
that are unrestricted in sign, Journal of Statistical Computation and Simulation 35:135,
doi:10.1080/00949659008811240 (formulas from memory; their coverage is simulated in the tests).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import inf, sqrt

from scipy import special

from brewbar.words import gettext as _


@dataclass(frozen=True, slots=True)
class Interval:
    """From low to high, in the unit of what it is of; high may be infinite."""

    low: float
    high: float

    def root(self) -> Interval:
        """Of the square root: of a standard deviation where this is of a variance."""
        return Interval(sqrt(max(self.low, 0.0)), sqrt(max(self.high, 0.0)))


@dataclass(frozen=True, slots=True)
class MeanSquare:
    """coefficient: how often it counts, negative where it is taken off; ms: its value; df: its degrees of freedom."""

    coefficient: float
    ms: float
    df: float


def variance_interval(ms: float, df: float, coverage: float = 0.95) -> Interval:
    """Of σ² from one mean square of normal values: ν S² over quantiles of χ²(ν). Exact."""
    if not df > 0:
        raise ValueError(_("An interval needs degrees of freedom."))
    return Interval(ms * df / _chi2(1 - (1 - coverage) / 2, df), ms * df / _chi2((1 - coverage) / 2, df))


def combination_interval(parts: Sequence[MeanSquare], coverage: float = 0.95) -> Interval:
    """Of Σ c E[S²], any signs: Graybill and Wang 1980 where all are added, Ting and others 1990 with differences.

    May go below 0 where something is taken off; a caller whose quantity cannot says so.
    """
    risk = (1 - coverage) / 2
    plus = [part for part in parts if part.coefficient > 0 and part.ms > 0]
    minus = [MeanSquare(-part.coefficient, part.ms, part.df) for part in parts if part.coefficient < 0]
    minus = [part for part in minus if part.ms > 0]
    value = sum(_size(part) for part in plus) - sum(_size(part) for part in minus)
    low, high = _reach(plus, minus, risk), _reach(minus, plus, risk)
    return Interval(value - sqrt(max(low, 0.0)), value + sqrt(max(high, 0.0)))


def _reach(smaller: Sequence[MeanSquare], larger: Sequence[MeanSquare], risk: float) -> float:
    """Squared distance from the value to one limit, where some parts turn out smaller and the others larger.

    Both limits of Ting and others 1990 come to this one form, since F(plus, minus) from below is 1/F(minus, plus).
    """
    total = sum((_G(part.df, risk) * _size(part)) ** 2 for part in smaller)
    total += sum((_H(part.df, risk) * _size(part)) ** 2 for part in larger)
    for one in smaller:
        for other in larger:
            F = float(special.fdtri(one.df, other.df, 1 - risk))
            shared = ((F - 1) ** 2 - (_G(one.df, risk) * F) ** 2 - _H(other.df, risk) ** 2) / F
            total += shared * _size(one) * _size(other)
    if larger:
        for one, other in combinations(smaller, 2):
            total += _together(one.df, other.df, risk) * _size(one) * _size(other) / (len(smaller) - 1)
    return total


def _together(one: float, other: float, risk: float) -> float:
    both = _G(one + other, risk) ** 2 * (one + other) ** 2 / (one * other)
    return both - _G(one, risk) ** 2 * one / other - _G(other, risk) ** 2 * other / one


def _size(part: MeanSquare) -> float:
    return part.coefficient * part.ms


def _G(df: float, risk: float) -> float:
    return 1 - df / _chi2(1 - risk, df)


def _H(df: float, risk: float) -> float:
    return df / _chi2(risk, df) - 1


def _chi2(probability: float, df: float) -> float:
    return float(special.chdtri(df, 1 - probability)) if df < inf else inf
