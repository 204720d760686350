"""A mean over brews of this crew: people as they are, days and what a person does on a day by chance.

Of each person (or person and recipe: a stratum) the mean is its own, so only what is left about it is chance. Brews of
a day resemble each other, whoever brewed them, so what is left is added up by day:

    m = Σ wₛ yₛ,    V = Σ_d c_d²,    c_d = Σ_s wₛ/nₛ · rₛ_d / √(1 - nₛ_d/nₛ)

wₛ: weight of a stratum, its part of the brews unless given; rₛ_d: sum of its brews' deviations on a day. The root makes
up for what a day took of its stratum's mean. Days resemble their neighbours too, as a coffee ages and a grind is left
standing: V grows by (1 + ρ)/(1 - ρ), ρ the correlation of neighbouring c_d, and counts days for as much fewer.

Liang and Zeger 1986, Longitudinal data analysis using generalized linear models, Biometrika 73:13,
doi:10.1093/biomet/73.1.13: variance from sums over clusters.
Bell and McCaffrey 2002, Bias reduction in standard errors for linear regression with multi-stage samples, Survey
Methodology 28:169 (from memory): the root, and Satterthwaite's degrees of freedom.
Bartlett 1946, On the theoretical specification and sampling properties of autocorrelated time-series, Supplement to the
Journal of the Royal Statistical Society 8:27, doi:10.2307/2983611: how many days count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.statistics.cells import counted
from calibration.statistics.rows import Codes, Floats
from calibration.statistics.sums import numbered

FEWEST_TO_RESEMBLE = (
    8  # days; engineering estimate, no source: from fewer, a correlation of neighbours is noise
)
NEIGHBOURS = 4  # days apart at most: a long weekend lies between
MOST_ALIKE = 0.8


@dataclass(frozen=True, slots=True)
class CrewMean:
    """mean; variance: of it, from days, None where no stratum was brewed on two days; df: its degrees of freedom;
    alone: as many independent brews would tell as much if nothing clustered, 1/Σ(wₛ²/nₛ); days: how many;
    cannot_cluster: whether no day has two brews and neighbouring days do not resemble each other."""

    mean: float
    variance: float | None
    df: float
    alone: float
    days: int
    cannot_cluster: bool


def crew_mean(
    stratum: Codes, day: Codes, n: Floats, total: Floats, weights: Floats | None = None
) -> CrewMean:
    """From cells: stratum and day whole numbers, strata from 0 without gaps; weights: of the strata, adding up to 1."""
    S = int(stratum.max()) + 1
    days, t = numbered(day)
    D = len(days)
    # a cell once, however often it is given
    used, at = numbered(stratum * D + t)
    s, d = np.divmod(used, D)
    n, total = counted(at, n, len(used)), counted(at, total, len(used))
    of_stratum = counted(s, n, S)
    w = of_stratum / of_stratum.sum() if weights is None else weights
    means = counted(s, total, S) / of_stratum
    alone = float(of_stratum.sum()) if weights is None else 1 / float((w**2 / of_stratum).sum())
    left = 1 - n / of_stratum[s]
    several = np.bincount(s, minlength=S) > 1
    kept = several[s]
    if not kept.any():
        return CrewMean(float(w @ means), None, 0.0, alone, D, False)
    pull = (w / of_stratum)[s]
    root = np.sqrt(np.where(kept, left, 1.0))
    by_day = counted(d, np.where(kept, pull * (total - n * means[s]) / root, 0.0), D)
    # what was brewed on one day alone shows no scatter: as much of it as the others', by their brews
    unseen = float((w**2 / of_stratum).sum() / (w**2 / of_stratum)[several].sum())
    variance = float(by_day @ by_day) * unseen
    expected = counted(d, np.where(kept, pull**2 * n, 0.0), D)
    held = expected[expected > 0]
    df = float(held.sum() ** 2 / (held @ held)) * (1 - 1 / len(held))
    free = int(kept.sum()) - int(several.sum())
    rho = _neighbours(days, by_day)
    return CrewMean(
        float(w @ means),
        variance * (1 + rho) / (1 - rho),
        max(1.0, min(df, float(free)) * (1 - rho) / (1 + rho)),
        alone,
        D,
        rho == 0 and float(counted(d, n, D).max()) <= 1,
    )


def _neighbours(days: Codes, c: Floats) -> float:
    """How alike neighbouring days are, 0 where that is no more than chance gives half of the time."""
    if len(days) < FEWEST_TO_RESEMBLE or not c.any():
        return 0.0
    near = np.diff(days) <= NEIGHBOURS
    if near.sum() < FEWEST_TO_RESEMBLE - 1:
        return 0.0
    found = float(c[1:][near] @ c[:-1][near]) / near.sum() / float(c @ c) * len(c)
    return float(min(max(found, 0.0), MOST_ALIKE))
