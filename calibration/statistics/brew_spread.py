"""How much one brew differs from the next of the same person, once what days and people have in common is taken out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from calibration.statistics.rows import Labels, codes

FEWEST_DF = 10


@dataclass(frozen=True, slots=True)
class Spread:
    """sd: standard deviation of one brew, unit of the values; df: its degrees of freedom; n: brews."""

    sd: float
    df: int
    n: int


def brew_spread(values: Sequence[float], people: Labels, days: Labels) -> Spread | None:
    """Residual standard deviation of the additive model person + day, by least squares (a two-way layout without
    interaction: Searle 1971, Linear models, chapter 7); None under ``FEWEST_DF`` degrees of freedom."""
    n = len(values)
    if n <= FEWEST_DF:
        return None
    who, when = codes(people, n, "person")[0], codes(days, n, "day")[0]
    columns = np.zeros((n, int(who.max()) + int(when.max()) + 2))
    rows = np.arange(n)
    columns[rows, who] = 1.0
    columns[rows, int(who.max()) + 1 + when] = 1.0
    y = np.asarray(values, dtype=np.float64)
    y = y - y.mean()
    fit, _residue, rank, _s = np.linalg.lstsq(columns, y, rcond=None)
    df = n - int(rank)
    if df < FEWEST_DF:
        return None
    left = y - columns @ fit
    return Spread(sqrt(float(left @ left) / df), df, n)
