"""A moving average over standardised errors: when it signals, since when, and by how much.

The errors come from `following`: independent and standard normal as long as nothing changes, so that the run lengths
of `run_length` hold. After a signal the average starts again from 0.

Roberts 1959, Control chart tests based on geometric moving averages, Technometrics 1:239,
doi:10.1080/00401706.1959.10489860. Lucas and Saccucci 1990, Exponentially weighted moving average control schemes,
Technometrics 32:1, doi:10.1080/00401706.1990.10484583: with an outer limit for a single reading. Brook and Evans 1972,
An approach to the probability distribution of CUSUM run length, Biometrika 59:539, doi:10.1093/biomet/59.3.539.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, inf, isfinite, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.crew_days import Day
from calibration.statistics.pieces import Pieces, normal_density, operator
from calibration.statistics.rows import Floats, finite
from calibration.statistics.run_length import width_for
from calibration.statistics.schemes import Ewma

WEIGHT = 0.1
OUTER = 3.5
SHORTEST_RUN = 20.0  # points between false alarms: a chart that signals more often says nothing
OUTER_SHARE = 1.5  # the outer limit alone signals this many times more seldom than both together, or more
COVERAGE = 0.95
SLOWLY = 0.25  # chance beforehand that a change came little by little
REACH = 1.959964  # of a normal distribution, in its standard deviations

Verdict = Literal["off high", "off low", "not off", "too few to say"]


@dataclass(frozen=True, slots=True)
class Alarm:
    """index: of the point that signalled, from 0; side: 1 for high, -1 for low; rule: of the average or of a single
    point; since: likeliest first point of the change, between since_low and since_high (points, from 0), which
    held it in 98 of 100 sudden changes and 86 of slow ones in simulation; size: of
    the shift at the time of the signal, with limits low and high, in the unit of the errors: rather too large than too
    small, since chance helped it to signal then; days: those of index, since, since_low and since_high, where days
    were given."""

    index: int
    side: int
    rule: Literal["ewma", "outer"]
    since: int
    since_low: int
    since_high: int
    size: float
    low: float
    high: float
    days: tuple[Day, Day, Day, Day] | None = None


@dataclass(frozen=True, slots=True)
class Watched:
    """average: the moving average at each point, in σ, before it is set back to 0 by a signal; limit: half width
    of its limits there; starts: points at which the average began; alarms: in order."""

    scheme: Ewma
    average: Floats
    limit: Floats
    starts: tuple[int, ...]
    alarms: tuple[Alarm, ...]


def scheme_for(points_a_month: float, budget: float = 1.0) -> Ewma:
    """A chart for a share of ``points_a_month``, the points of all charts of a café, so that all of them together
    signal falsely ``budget`` times a month: the run length of each is points over budget, to two figures."""
    if not (isfinite(points_a_month) and points_a_month > 0 and isfinite(budget) and budget > 0):
        raise ValueError(_("Points a month and false alarms a month must be numbers above 0."))
    run = max(SHORTEST_RUN, float(f"{points_a_month / budget:.2g}"))
    outer = max(OUTER, round(float(-special.ndtri(0.5 / (OUTER_SHARE * run))), 2))
    return Ewma(WEIGHT, width_for(run, WEIGHT, outer).width, outer)


def watch(
    z: ArrayLike,
    scheme: Ewma,
    days: Sequence[Day] | None = None,
    *,
    error: ArrayLike | None = None,
    se: ArrayLike | None = None,
    keeps: ArrayLike | None = None,
    anew: Iterable[int] = (),
) -> Watched:
    """The chart of standardised errors ``z``. error, se, keeps: as `following` gives them, for sizes in the unit of
    the values and for what baselines have learned of a shift meanwhile; anew: points, from 0, at which the average
    starts again."""
    x = finite(z, 0)
    e = x if error is None else finite(error, 0)
    s = np.ones(len(x)) if se is None else finite(se, 0)
    k = np.ones(len(x)) if keeps is None else finite(keeps, 0)
    if not len(x) == len(e) == len(s) == len(k) or (days is not None and len(days) != len(x)):
        raise ValueError(_("Every error needs its own standard error and its day."))
    widths = scheme.limits(len(x))
    outer = inf if scheme.outer is None else scheme.outer
    keep, weight = 1 - scheme.lambda_, scheme.lambda_
    average, limit = np.empty(len(x)), np.empty(len(x))
    starts, alarms = [0], []
    now, begin = 0.0, set(anew)
    for i, value in enumerate(x.tolist()):
        if i in begin and i > starts[-1]:
            starts.append(i)
            now = 0.0
        now = keep * now + weight * value
        average[i], limit[i] = now, widths[i - starts[-1]]
        beyond = abs(now) > limit[i]
        if beyond or abs(value) > outer:
            side = 1 if (now if beyond else value) > 0 else -1
            alarms.append(_alarm(starts[-1], i, side, "ewma" if beyond else "outer", e, s, k, days))
            starts.append(i + 1)
            now = 0.0
    return Watched(scheme, average, limit, tuple(starts), tuple(alarms))


def _alarm(
    start: int, index: int, side: int, rule: Literal["ewma", "outer"], e: Floats, s: Floats, k: Floats,
    days: Sequence[Day] | None,
) -> Alarm:  # fmt: skip
    """One change of unknown size from an unknown point of the run on, at once or little by little, every point and
    slow ones a quarter of all beforehand.

    Given where and how, the errors are c·δ + noise, c the part of today's δ that was there and not yet learned, and δ
    is A/W ± 1/√W, A = Σ c e/s², W = Σ c²/s²; exp(A²/2W)/√W is the likelihood with δ integrated out.
    """
    e, s, k = e[start : index + 1], s[start : index + 1], k[start : index + 1]
    n = len(e)
    learned = np.concatenate(([0.0], np.cumsum(np.log(np.maximum(k, 1e-12)))[:-1]))
    at_once = np.triu(np.exp(np.minimum(learned - learned[:, None], 0.0)))
    # as many shifts as there are points since, each as large
    little_by_little = np.cumsum(at_once[::-1], axis=0)[::-1] / np.arange(n, 0, -1)[:, None]
    c = np.vstack((at_once, little_by_little))
    A, W = c @ (e / s**2), (c * c) @ s**-2.0
    beforehand = np.log(np.repeat([1 - SLOWLY, SLOWLY], n))
    score = np.where(A * side > 0, A * A / (2 * W) - np.log(W) / 2 + beforehand, -inf)
    weights = np.exp(score - score.max())
    weights /= weights.sum()
    of_points = weights[:n] + weights[n:]
    order = np.argsort(-of_points, kind="stable")
    likeliest = order[: int((np.cumsum(of_points[order]) >= COVERAGE).argmax()) + 1]
    best, low, high = int(order[0]), int(likeliest.min()), int(likeliest.max())
    middle = A / W
    size = float(weights @ middle)
    reach = REACH * sqrt(float(weights @ (1 / W + (middle - size) ** 2)))
    points = (index, start + best, start + low, start + high)
    named = None if days is None else (days[points[0]], days[points[1]], days[points[2]], days[points[3]])
    return Alarm(index, side, rule, *points[1:], size, size - reach, size + reach, named)


def delay_of(scheme: Ewma, means: ArrayLike) -> Floats:
    """Chance of a signal by point 1, 2, …, for independent normal points with standard deviation 1 and these means,
    shape (points,): Brook and Evans 1972, with a matrix of moves for each point.

    The chance of a signal among later points, none having come before point k, is (F - F_k)/(1 - F_k).
    """
    shifts = finite(means)
    keep, weight = 1 - scheme.lambda_, scheme.lambda_
    reach = inf if scheme.outer is None else weight * scheme.outer
    limits = scheme.limits(len(shifts) + 1).tolist()
    moved: dict[tuple[float, ...], tuple[Pieces, Floats]] = {}
    source, share = np.zeros(1), np.ones(1)
    quiet = []
    before = 0.0
    for shift, (limit, following) in zip(shifts.tolist(), pairwise(limits), strict=True):
        key = (before, limit, following, shift)
        if key not in moved:
            # as in `run_length`: where the outer limit first reaches beyond the average's next one
            bend = (following - reach) / keep if keep > 0 and isfinite(reach) else inf
            pieces = Pieces.between(-limit, limit, [bend, -bend], 24 + ceil(4 * limit / weight))
            moves = operator(
                source, pieces, lambda s: (keep * s - reach, keep * s + reach),
                lambda s, z, by=shift: normal_density((z - keep * s) / weight - by) / weight,  # type: ignore[misc]
            )  # fmt: skip
            moved[key] = pieces, moves
        pieces, moves = moved[key]
        share = share @ moves
        source, before = pieces.nodes, limit
        quiet.append(share.sum())
    return np.asarray(np.clip(1 - np.array(quiet), 0.0, 1.0), dtype=np.float64)


def off(estimate: float, low: float, high: float, smallest: float) -> Verdict:
    """Whether a person's shrunk estimate is off by more than the smallest difference that matters, by its interval:
    wholly beyond it, wholly within, or neither."""
    if not all(map(isfinite, (estimate, low, high, smallest))) or smallest < 0 or not low <= high:
        raise ValueError(_("An estimate needs limits in order and a smallest difference of 0 or more."))
    if low > smallest:
        return "off high"
    if high < -smallest:
        return "off low"
    return "not off" if -smallest <= low and high <= smallest else "too few to say"


def words_of(verdict: Verdict) -> str:
    """A verdict in the reader's language."""
    match verdict:
        case "off high":
            return _("off high")
        case "off low":
            return _("off low")
        case "not off":
            return _("not off")
        case "too few to say":
            return _("too few to say")
