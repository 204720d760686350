"""Gauge studies from ranges, as they are done on paper, and from the means and spreads of repeats kept day by day.

AIAG 2010, Measurement systems analysis reference manual, 4th edition, chapter III, section B: average and range
method, with K1, K2 and K3.
Duncan 1986, Quality control and industrial statistics (Irwin),
appendix D3: d2*, for a single range √(d2² + d3²).
NIST/SEMATECH e-Handbook of Statistical Methods, 2.4.3 and 2.6.1: nested gauge study (sections from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import ArrayLike

from brewbar.words import gettext as _
from calibration.statistics.chart_constants import LARGEST, constants
from calibration.statistics.gauge_result import CATEGORIES_FACTOR
from calibration.statistics.rows import Labels, codes, finite


@dataclass(frozen=True, slots=True)
class RangeGauge:
    """A gauge study by averages and ranges, in the unit of the values; shares in per cent of the total.

    parts, operators, repeats: how many. repeatability (EV), reproducibility (AV), grr, part_sd (PV), total (TV):
    standard deviations. categories: 1.41·PV/GRR; distinct_categories: cut to a whole number; None without spread.
    """

    parts: int
    operators: int
    repeats: int
    repeatability: float
    reproducibility: float
    grr: float
    part_sd: float
    total: float
    repeatability_pct: float | None
    reproducibility_pct: float | None
    grr_pct: float | None
    part_pct: float | None
    categories: float | None
    distinct_categories: int | None


def single_range(n: int) -> float:
    """1/d2*: the standard deviation of n values for one of their range, known from this range alone. Duncan 1986."""
    known = constants(n)
    return 1 / hypot(known.d2, known.d3)


def range_study(
    values: ArrayLike, parts: Labels, operators: Labels, exact_constants: bool = False
) -> RangeGauge:
    """AIAG 2010, average and range method; a full table of two parts, two operators and two repeats or more.

    values: shape (n,); parts, operators: one for each value. K1, K2 and K3 have four decimals, as the form prints
    them, or all of them with ``exact_constants``.
    """
    y = finite(values)
    part, part_names = codes(parts, len(y), _("part"))
    operator, operator_names = codes(operators, len(y), _("operator"))
    p, o = len(part_names), len(operator_names)
    cell = part * o + operator
    counts = np.bincount(cell, minlength=p * o)
    if p < 2 or o < 2 or counts[0] < 2 or (counts != counts[0]).any():
        raise ValueError(
            _(
                "The range method wants two parts and two operators or more, every part measured equally often, "
                "at least twice, by every operator."
            )
        )
    repeats = int(counts[0])
    if max(p, o, repeats) > LARGEST:
        raise ValueError(_("The range method takes up to 25 parts, operators and repeats."))
    table = y[np.argsort(cell, kind="stable")].reshape(p, o, repeats)
    # K1 from many ranges, K2 and K3 from a single one
    K1, K2, K3 = 1 / constants(repeats).d2, single_range(o), single_range(p)
    if not exact_constants:
        K1, K2, K3 = round(K1, 4), round(K2, 4), round(K3, 4)
    ev = float(np.ptp(table, axis=2).mean()) * K1
    av = sqrt(max((float(np.ptp(table.mean(axis=(0, 2)))) * K2) ** 2 - ev**2 / (p * repeats), 0.0))
    pv = float(np.ptp(table.mean(axis=(1, 2)))) * K3
    grr = hypot(ev, av)
    total = hypot(grr, pv)
    categories = CATEGORIES_FACTOR * pv / grr if grr > 0 else None

    def share(sd: float) -> float | None:
        return 100 * sd / total if total > 0 else None

    return RangeGauge(
        parts=p,
        operators=o,
        repeats=repeats,
        repeatability=ev,
        reproducibility=av,
        grr=grr,
        part_sd=pv,
        total=total,
        repeatability_pct=share(ev),
        reproducibility_pct=share(av),
        grr_pct=share(grr),
        part_pct=share(pv),
        categories=categories,
        distinct_categories=None if categories is None else int(categories),
    )


@dataclass(frozen=True, slots=True)
class Nested:
    """A gauge over repeats, days and runs, in the unit of the values.

    s1: of one repeat, within a day; s2: of a day's mean, within a run; s3: of a run's mean; df1, df2, df3: their
    degrees of freedom. day_sd, run_sd: what days and runs add of their own, 0 where repeats explain it all.
    total: of a single reading, on any day of any run. None with a reason in `notes` where it cannot be told.
    """

    s1: float
    df1: int
    s2: float | None
    df2: int
    s3: float | None
    df3: int
    day_sd: float | None
    run_sd: float | None
    total: float | None
    notes: tuple[str, ...]


def nested_study(means: ArrayLike, sds: ArrayLike, repeats: int, items: Labels, runs: Labels) -> Nested:
    """Three levels, from each day's mean and standard deviation of ``repeats`` readings of one item.

    means, sds: shape (n,), a row for each item, run and day; items, runs: one for each row, as many days in each.
    """
    m, s = finite(means), finite(sds)
    if len(m) != len(s):
        raise ValueError(_("Every mean needs its standard deviation."))
    if (s < 0).any():
        raise ValueError(
            _("The standard deviation in row %(row)d is below 0.") % {"row": int((s < 0).argmax()) + 1}
        )
    if repeats < 2:
        raise ValueError(_("Each day needs two readings or more."))
    item, item_names = codes(items, len(m), _("item"))
    run, run_names = codes(runs, len(m), _("run"))
    k, r = len(item_names), len(run_names)
    cell = item * r + run
    days = np.bincount(cell, minlength=k * r)
    if (days != days[0]).any():
        raise ValueError(_("Every item wants as many days in every run."))
    K = int(days[0])
    s1, df1 = sqrt(float((s**2).mean())), len(m) * (repeats - 1)
    table = m[np.argsort(cell, kind="stable")].reshape(k, r, K)
    notes = []
    s2 = s3 = day_sd = run_sd = total = None
    if K > 1:
        s2 = sqrt(float(table.var(axis=2, ddof=1).mean()))
        day_sd = sqrt(max(s2**2 - s1**2 / repeats, 0.0))
    else:
        notes.append(_("One day in a run says nothing of the spread between days."))
    if r > 1:
        s3 = sqrt(float(table.mean(axis=2).var(axis=1, ddof=1).mean()))
    else:
        notes.append(_("One run says nothing of the spread between runs."))
    if s2 is not None and s3 is not None:
        run_sd = sqrt(max(s3**2 - s2**2 / K, 0.0))
        # e-Handbook 2.4.3: s3² + (K - 1)/K s2² + (J - 1)/J s1²
        total = sqrt(s3**2 + (K - 1) / K * s2**2 + (repeats - 1) / repeats * s1**2)
    return Nested(s1, df1, s2, k * r * (K - 1), s3, k * (r - 1), day_sd, run_sd, total, tuple(notes))
