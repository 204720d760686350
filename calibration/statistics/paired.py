"""Two people in the same sessions, and one person before and after: what is different, what is the same, what is fixed.

To find no difference is not to find sameness: a few readings find nothing. The same means that the interval of the
difference lies within the margin that would not matter. Fixed means that the readings afterwards are, in that sense,
at their target.

Schuirmann 1987, A comparison of the two one-sided tests procedure and the power approach for assessing the
equivalence of average bioavailability, Journal of Pharmacokinetics and Biopharmaceutics 15:657,
doi:10.1007/BF01068419: the interval of coverage 1 - 2α for equivalence at risk α.
Welch 1947, The generalization of 'Student's' problem when several different population variances are involved,
Biometrika 34:28, doi:10.1093/biomet/34.1-2.28.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from enum import StrEnum
from math import inf, isfinite, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.mean_squares import Interval
from calibration.statistics.propagation import effective_df
from calibration.statistics.rows import Floats, Labels, codes, finite, level


class Sameness(StrEnum):
    SAME = "same"
    DIFFERENT = "different"
    TOO_EARLY = "too-early"


@dataclass(frozen=True, slots=True)
class Difference:
    """n: pairs or readings; difference: its mean; sd: of single differences; se: of their mean; df; interval: of the
    mean difference; p: of none; equivalence: the interval that is held against the margin, of coverage 1 - 2α where
    `interval` has 1 - α; margin: what would not matter, ±; word: what is said; reason: why, in a sentence. In the
    unit of the readings; None where one pair says nothing of the spread."""

    n: int
    difference: float
    sd: float | None
    se: float | None
    df: float | None
    interval: Interval | None
    p: float | None
    equivalence: Interval | None
    margin: float
    word: Sameness
    reason: str


def paired(a: ArrayLike, b: ArrayLike, margin: float, coverage: float = 0.95) -> Difference:
    """a less b in the same sessions, a pair in each: what the day brought to both cancels.

    a, b: shape (n,).
    """
    one, other = finite(a), finite(b)
    if len(one) != len(other):
        raise ValueError(
            _("Pairs are needed: there are %(a)d of one and %(b)d of the other.")
            % {"a": len(one), "b": len(other)}
        )
    return _against(one - other, 0.0, margin, coverage)


@dataclass(frozen=True, slots=True)
class Pairs:
    """sessions in which both were there, in the order of first appearance; a, b: the mean of each there, shape (n,);
    left_out: rows of sessions that only one of them had."""

    sessions: tuple[Hashable, ...]
    a: tuple[float, ...]
    b: tuple[float, ...]
    left_out: int


def pairs(values: ArrayLike, who: Labels, sessions: Labels, a: Hashable, b: Hashable) -> Pairs:
    """The pairs of a and b, one for each session that both were in; everybody else's rows are passed over."""
    y = finite(values)
    person, people = codes(who, len(y), _("name"))
    session, names = codes(sessions, len(y), _("session"))
    if a == b or a not in people or b not in people:
        raise ValueError(_("Two different people who have readings are needed."))
    sums, counts = {}, {}
    for name in (a, b):
        rows = person == people.index(name)
        counts[name] = np.bincount(session[rows], minlength=len(names))
        sums[name] = np.bincount(session[rows], y[rows], minlength=len(names))
    both = (counts[a] > 0) & (counts[b] > 0)
    means = {name: tuple((sums[name][both] / counts[name][both]).tolist()) for name in (a, b)}
    kept = tuple(name for name, here in zip(names, both.tolist(), strict=True) if here)
    return Pairs(kept, means[a], means[b], int((counts[a] + counts[b])[~both].sum()))


class Repair(StrEnum):
    FIXED = "fixed"
    NOT_FIXED = "not-fixed"
    TOO_EARLY = "too-early"


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """before, after: each less the target, as a Difference; change: after less before, its interval by Welch; p: of no
    change; word: whether it is fixed; reason: why, in a sentence. None where the change's spread cannot be told."""

    before: Difference
    after: Difference
    change: float
    change_interval: Interval | None
    p: float | None
    word: Repair
    reason: str


def before_after(
    before: ArrayLike,
    after: ArrayLike,
    target: float,
    margin: float,
    before_sessions: Labels | None = None,
    after_sessions: Labels | None = None,
    coverage: float = 0.95,
) -> BeforeAfter:
    """Is it fixed: do the readings after a change lie at the target, give or take the margin?

    before, after: readings, or differences from the others of the same sessions with target 0. Readings of one session
    are averaged first where sessions are given, since what a session brings to all of them is no news.
    """
    if not isfinite(target):
        raise ValueError(_("The target must be a number."))
    first, second = _by_session(before, before_sessions), _by_session(after, after_sessions)
    was, now = _against(first, target, margin, coverage), _against(second, target, margin, coverage)
    change = now.difference - was.difference
    interval, p = None, None
    if was.se is not None and now.se is not None and was.df is not None and now.df is not None:
        se = sqrt(was.se**2 + now.se**2)
        df = effective_df([was.se, now.se], [was.df, now.df])
        interval, p = _interval(change, se, df, coverage), _p(change, se, df)
    word = {
        Sameness.SAME: Repair.FIXED,
        Sameness.DIFFERENT: Repair.NOT_FIXED,
        Sameness.TOO_EARLY: Repair.TOO_EARLY,
    }[now.word]
    reason = {
        Repair.FIXED: _("The readings since then lie at the target, within the margin."),
        Repair.NOT_FIXED: _("The readings since then still lie outside the margin around the target."),
        Repair.TOO_EARLY: _("The readings since then are too few or too far apart to tell: read more brews."),
    }[word]
    if word is Repair.FIXED and was.word is Sameness.SAME:
        reason = _("The readings lie at the target, within the margin, and did so before as well.")
    return BeforeAfter(was, now, change, interval, p, word, reason)


def _by_session(values: ArrayLike, sessions: Labels | None) -> Floats:
    y = finite(values)
    if sessions is None:
        return y
    session, _names = codes(sessions, len(y), _("session"))
    means: Floats = np.bincount(session, y - y[0]) / np.bincount(session) + y[0]
    return means


def _against(values: Floats, target: float, margin: float, coverage: float) -> Difference:
    """The mean's difference from a target, and what it says of a margin: Schuirmann 1987."""
    if not 0 < margin < inf:
        raise ValueError(_("The margin that would not matter must be above 0."))
    level(coverage)
    if coverage <= 0.5:
        raise ValueError(_("A verdict wants a coverage above 0.5, such as 0.95."))
    n, x = len(values), values - values[0]
    difference = float(x.mean()) + float(values[0]) - target
    if n < 2:
        reason = _("One alone says nothing of how far the next will differ.")
        return Difference(
            n, difference, None, None, None, None, None, None, margin, Sameness.TOO_EARLY, reason
        )
    sd = float(x.std(ddof=1))
    se, df = sd / sqrt(n), n - 1.0
    inner = _interval(difference, se, df, 2 * coverage - 1)
    word, reason = _word(inner, margin)
    return Difference(
        n,
        difference,
        sd,
        se,
        df,
        _interval(difference, se, df, coverage),
        _p(difference, se, df),
        inner,
        margin,
        word,
        reason,
    )


def _word(inner: Interval, margin: float) -> tuple[Sameness, str]:
    # typed decimals: a difference of 0.05 is within a margin of 0.05
    low, high, edge = round(inner.low, 9), round(inner.high, 9), round(margin, 9)
    if -edge <= low and high <= edge:
        return Sameness.SAME, _("All differences that remain likely lie within the margin.")
    if low > edge or high < -edge:
        return Sameness.DIFFERENT, _("All differences that remain likely lie outside the margin.")
    return Sameness.TOO_EARLY, _("Differences within the margin and outside it both remain likely.")


def _interval(value: float, se: float, df: float, coverage: float) -> Interval:
    beyond = (1 + coverage) / 2
    t = float(special.stdtrit(df, beyond) if df < inf else special.ndtri(beyond))
    return Interval(value - t * se, value + t * se)


def _p(value: float, se: float, df: float) -> float:
    if se == 0:
        return 1.0 if value == 0 else 0.0
    return float(2 * special.stdtr(df, -abs(value / se)))
