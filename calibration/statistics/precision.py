"""How far results of one method scatter: within a laboratory, and between laboratories. Front door of precision.

For a café, a laboratory is a refractometer or a person, and a level is one brew or one check solution.
Drops of one sample are settled in `drops`, gauge studies done in `gauge` and `gauge_ranges`; their public names are
said here too.

ISO 5725-2:1994, Accuracy (trueness and precision) of measurement methods and results, part 2, 7.3 and 7.4:
Mandel's h and k, repeatability and reproducibility with unequal numbers (clauses from memory).
ISO 5725-6:1994, 4.1.4: limits r and R.
ASTM E691, Standard practice for conducting an interlaboratory study: critical values of h and k (from memory).
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.drops import DropVerdict, allowed_range_units, critical_range, settle_drops
from calibration.statistics.gauge import gauge_study
from calibration.statistics.gauge_ranges import Nested, RangeGauge, nested_study, range_study
from calibration.statistics.gauge_result import Gauge
from calibration.statistics.rows import Codes, Floats, Labels, codes, finite

__all__ = [
    "DropVerdict",
    "Gauge",
    "Laboratory",
    "Nested",
    "Precision",
    "RangeGauge",
    "allowed_range_units",
    "critical_range",
    "gauge_study",
    "h_limit",
    "k_limit",
    "nested_study",
    "precision",
    "range_study",
    "settle_drops",
]

LIMIT_FACTOR = 2.8  # ISO 5725-6:1994, 4.1.4: 1.96·√2, as printed


@dataclass(frozen=True, slots=True)
class Laboratory:
    """One laboratory at one level, in the unit of the values.

    name; n: results; mean: ȳ; sd: s, None for a single result; h: Mandel's h, how far its mean lies from the
    others in their standard deviations; k: Mandel's k, its spread against everybody's. h and k have no unit and
    are None where they cannot be told.
    """

    name: Hashable
    n: int
    mean: float
    sd: float | None
    h: float | None
    k: float | None


@dataclass(frozen=True, slots=True)
class Precision:
    """One level of a study, in the unit of the values.

    level: its name; n: results; mean: m̂, over all results; s_r, s_L, s_R: repeatability, between-laboratory and
    reproducibility standard deviation, s_R² = s_r² + s_L²; r, R: what two results differ by at most in 95 % of
    pairs, from one laboratory and from two; sd_of_means: s_x, of the laboratories' means, unweighted;
    laboratories: shape (p,), in the order of first appearance; notes: what could not be told, and why. None
    where a figure cannot be told; s_L is 0 where the means scatter no more than repeatability explains.
    """

    level: Hashable
    n: int
    mean: float
    s_r: float | None
    s_L: float | None
    s_R: float | None
    r: float | None
    R: float | None
    sd_of_means: float | None
    laboratories: tuple[Laboratory, ...]
    notes: tuple[str, ...]

    @property
    def h(self) -> tuple[float | None, ...]:
        return tuple(one.h for one in self.laboratories)

    @property
    def k(self) -> tuple[float | None, ...]:
        return tuple(one.k for one in self.laboratories)


def precision(values: ArrayLike, labs: Labels, levels: Labels | None = None) -> tuple[Precision, ...]:
    """One Precision for each level, in the order of first appearance; without levels, all results are one's.

    values: shape (n,); labs, levels: one for each value. Any number of results in each cell.
    """
    y = finite(values)
    lab, lab_names = codes(labs, len(y), _("laboratory"))
    level, level_names = codes([_("all")] * len(y) if levels is None else levels, len(y), _("level"))
    found = []
    for number, name in enumerate(level_names):
        rows = level == number
        present, lab_here = np.unique(lab[rows], return_inverse=True)
        # labs first met at this level keep the order of the whole table, so that h and k line up between levels
        found.append(_one_level(name, y[rows], lab_here, [lab_names[code] for code in present]))
    return tuple(found)


def _one_level(level: Hashable, y: Floats, lab: Codes, names: list[Hashable]) -> Precision:
    p, counts = len(names), np.bincount(lab)
    shift = y[0]  # constant leading digits cost nothing then
    x = y - shift
    means: Floats = np.bincount(lab, x) / counts
    # equal values whose sum rounds: a mean of three times 0.1 is not 0.1
    rounding = 4 * np.finfo(float).eps * float(np.abs(x).max())
    squares: Floats = np.bincount(lab, (x - means[lab]) ** 2).astype(float)
    squares[squares <= counts * rounding**2] = 0.0
    mean = float(x.mean())
    s_r2, s_L2, notes = _variances(mean, means, squares, counts)
    s_R2 = None if s_r2 is None or s_L2 is None else s_r2 + s_L2
    # ISO 5725-2:1994, 7.3.1, equations 6 and 7
    h_scale = sqrt(float(((means - mean) ** 2).sum()) / (p - 1)) if p > 1 else 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        spreads = np.sqrt(squares / (counts - 1))
    repeated = counts > 1
    k_scale = sqrt(float((spreads[repeated] ** 2).mean())) if repeated.any() else 0.0
    laboratories = tuple(
        Laboratory(
            name,
            int(counts[i]),
            float(means[i] + shift),
            float(spreads[i]) if repeated[i] else None,
            float((means[i] - mean) / h_scale) if h_scale > rounding else None,
            float(spreads[i] / k_scale) if repeated[i] and k_scale > 0 else None,
        )
        for i, name in enumerate(names)
    )
    return Precision(
        level,
        len(y),
        mean + float(shift),
        _root(s_r2),
        _root(s_L2),
        _root(s_R2),
        _root(s_r2, LIMIT_FACTOR),
        _root(s_R2, LIMIT_FACTOR),
        float(means.std(ddof=1)) if p > 1 else None,
        laboratories,
        notes,
    )


def _variances(
    mean: float, means: Floats, squares: Floats, counts: Codes
) -> tuple[float | None, float | None, tuple[str, ...]]:
    """s_r² and s_L² of one level, ISO 5725-2:1994, 7.4.5, equations 19 to 23, None with the reason."""
    n, p = int(counts.sum()), len(counts)
    if n == p:
        note = _("No laboratory has a second result at this level, so neither spread can be told apart.")
        return None, None, (note,)
    s_r2 = float(squares.sum()) / (n - p)
    if p == 1:
        note = _("One laboratory alone says nothing of the spread between laboratories.")
        return s_r2, None, (note,)
    s_d2 = float((counts * (means - mean) ** 2).sum()) / (p - 1)
    n_bar = (n - float((counts**2).sum()) / n) / (p - 1)
    between = (s_d2 - s_r2) / n_bar
    if between < 0:
        note = _("The laboratories' means lie no further apart than repeatability explains: s_L is 0.")
        return s_r2, 0.0, (note,)
    return s_r2, between, ()


def _root(variance: float | None, factor: float = 1.0) -> float | None:
    return None if variance is None else factor * sqrt(variance)


def h_limit(laboratories: int, risk: float = 0.01) -> float:
    """What |h| stays below for one laboratory with probability 1 - risk. ASTM E691, from Student's t."""
    if laboratories < 3:
        raise ValueError(_("Mandel's h has a limit from three laboratories on."))
    p = laboratories
    t = float(special.stdtrit(p - 2, 1 - _risk(risk) / 2))
    return (p - 1) * t / sqrt(p * (t * t + p - 2))


def k_limit(laboratories: int, results: int, risk: float = 0.01) -> float:
    """What k stays below for one laboratory of ``results`` each, with probability 1 - risk. ASTM E691, from F."""
    if laboratories < 2 or results < 2:
        raise ValueError(_("Mandel's k has a limit from two laboratories of two results on."))
    p, df = laboratories, results - 1
    f = float(special.fdtri(df, (p - 1) * df, 1 - _risk(risk)))
    return sqrt(p / (1 + (p - 1) / f))


def _risk(risk: float) -> float:
    if not 0 < risk < 1:
        raise ValueError(_("A risk lies between 0 and 1, such as 0.01."))
    return risk
