"""How far each person's brews lie from those of the others of the same days, all days together.

y = day + person + brew, where a day is one version on one day and may be anything: only those who brewed the same on
the same day say something of each other. People are normal about the crew with a spread σ that is not known. Limits
are mixed over σ, each weighted by its likelihood and by σdσ/(σ² + s²), s² the error of a person's mean, as in
`predicting`: so a spread that a few people cannot tell is not taken for certain.

Henderson 1975, Best linear unbiased estimation and prediction under a selection model, Biometrics 31:423,
doi:10.2307/2529430. Tiao and Tan 1965, Bayesian analysis of random-effect models in the analysis of variance,
Biometrika 52:37, doi:10.1093/biomet/52.1-2.37: the weight.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from brewbar.words import gettext as _
from calibration.statistics.rows import Floats, Labels, codes, finite, level
from calibration.statistics.spreads import Spreads

SPREADS = 41
REACH = 30.0  # from a thirtieth of the error of a mean to thirty times what the means spread by
ROUNDS = 50


@dataclass(frozen=True, slots=True)
class Alongside:
    """person; brews, days: that others can be told beside; others: how many people; estimate: above the mean of the
    others, shrunk, with limits low and high; raw: the same, not shrunk, None where it cannot be told."""

    person: Hashable
    brews: int
    days: int
    others: int
    estimate: float
    low: float
    high: float
    raw: float | None


def alongside(
    values: Floats, people: Labels, days: Labels, spreads: Spreads, coverage: float = 0.95
) -> tuple[Alongside, ...]:
    """One row a brew; days: labels of a version on a day. Those who never brewed beside others are left out."""
    level(coverage)
    y = finite(values, 0)
    if not (spreads.brew and len(y)):
        return ()
    who, names = codes(people, len(y), _("person"))
    when, labels = codes(days, len(y), _("day"))
    shape = (len(labels), len(names))
    count, total = np.zeros(shape), np.zeros(shape)
    np.add.at(count, (when, who), 1.0)
    np.add.at(total, (when, who), y - y[0])
    there = count > 0
    shared = there & (there.sum(1) > 1)[:, None]
    kept = np.flatnonzero(shared.any(0))
    if len(kept) < 2:
        return ()
    count = np.where(shared, count, 0.0)[:, kept]
    n = np.maximum(count, 1.0)
    weight = np.where(count > 0, 1 / ((spreads.staff_day or 0.0) ** 2 + spreads.brew**2 / n), 0.0)
    mean = np.where(count > 0, total[:, kept] / n, 0.0)
    of_day = np.maximum(weight.sum(1), 1e-300)
    precision = np.diag(weight.sum(0)) - weight.T @ (weight / of_day[:, None])
    pull = (weight * mean).sum(0) - weight.T @ ((weight * mean).sum(1) / of_day)
    middles, variances, likely = _mixture(precision, pull)
    raw = _raw(precision, pull)
    tail = (1 - coverage) / 2
    low, high = (_quantiles(middles, variances, likely, share) for share in (tail, 1 - tail))
    k = len(kept)
    return tuple(
        Alongside(
            names[person], int(count[:, i].sum()), int((count[:, i] > 0).sum()), k - 1,
            float(likely @ middles[:, i]), low[i], high[i], raw[i],
        )
        for i, person in enumerate(kept.tolist())
    )  # fmt: skip


def _contrasts(k: int) -> Floats:
    """Each less the mean of the others."""
    return np.asarray((np.eye(k) - 1 / k) * k / (k - 1), dtype=np.float64)


def _mixture(precision: Floats, pull: Floats) -> tuple[Floats, Floats, Floats]:
    """Means and variances of the contrasts at each spread, shape (spreads, people), and the spreads' weights."""
    k = len(pull)
    contrasts = _contrasts(k)
    roots, vectors = np.linalg.eigh(precision)
    roots = np.maximum(roots, 0.0)
    error = 1 / np.sqrt(max(float(precision.diagonal().mean()), 1e-300))
    turned = vectors.T @ pull
    told = roots > roots.max() * 1e-9
    widest = max(error, float(np.abs(turned[told] / roots[told]).max(initial=0.0)))
    sigma = np.exp(np.linspace(np.log(error / REACH), np.log(widest * REACH), SPREADS))
    left = roots[None, :] + 1 / sigma[:, None] ** 2
    likely = -np.log1p(sigma[:, None] ** 2 * roots).sum(1) / 2 + (turned**2 / left).sum(1) / 2
    # dσ = σ d(log σ), and the grid is even in log σ
    likely += np.log(sigma**2 / (sigma**2 + error**2))
    weights = np.exp(likely - likely.max())
    turn = contrasts @ vectors
    return (turned / left) @ turn.T, (1 / left) @ (turn**2).T, weights / weights.sum()


def _raw(precision: Floats, pull: Floats) -> list[float | None]:
    """By least squares, where all have been beside all, if by way of others."""
    k = len(pull)
    if np.linalg.matrix_rank(precision, tol=1e-9 * float(precision.max())) < k - 1:
        return [None] * k
    found: list[float | None] = (_contrasts(k) @ (np.linalg.pinv(precision) @ pull)).tolist()
    return found


def _quantiles(middles: Floats, variances: Floats, weights: Floats, share: float) -> list[float]:
    """Of each person's mixture of normal distributions, by halving."""
    spread = np.sqrt(np.maximum(variances, 1e-300))
    low, high = (middles - 9 * spread).min(0), (middles + 9 * spread).max(0)
    for _round in range(ROUNDS):
        middle = (low + high) / 2
        short = weights @ ndtr((middle - middles) / spread) < share
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    found: list[float] = ((low + high) / 2).tolist()
    return found
