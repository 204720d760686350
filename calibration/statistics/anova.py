"""Analysis of variance with one factor or two, any imbalance, and whether groups scatter alike.

Every sum of squares is taken from the means and counts of cells, after the first value has been taken off all of
them, so that constant leading digits cost no accuracy and a million rows cost one pass.

Searle 1971, Linear models (Wiley): reductions in sum of squares, chapter 7.
Yates 1934, The analysis of multiple classifications with unequal numbers in the different classes, Journal of the
American Statistical Association 29:51, doi:10.1080/01621459.1934.10502686: weighted squares of means.
Bartlett 1937, Properties of sufficiency and statistical tests, Proceedings of the Royal Society A 160:268,
doi:10.1098/rspa.1937.0109.
Brown and Forsythe 1974, Robust tests for the equality of variances, Journal of the American Statistical Association
69:364, doi:10.1080/01621459.1974.10482955: Levene's test from medians.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, log, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.rows import Codes, Floats, Labels, codes, finite

Kind = Literal[1, 2, 3]


@dataclass(frozen=True, slots=True)
class Term:
    """One line of the table. ss: sum of squares, in the unit squared; df: degrees of freedom; ms: ss/df;
    f: ms over that of the residual; p: chance of an f as large if the term did nothing. ms, f and p are None
    where they cannot be told; f is infinite when the residual is nothing."""

    ss: float
    df: int
    ms: float | None
    f: float | None
    p: float | None


@dataclass(frozen=True, slots=True)
class Residual:
    """What the terms leave. ss, df, ms as of a `Term`; sd: √ms, in the unit of the values, None without df."""

    ss: float
    df: int
    ms: float | None
    sd: float | None


@dataclass(frozen=True, slots=True)
class Anova:
    """A table of variance.

    n: values; mean: theirs; kind: 1 in the order given, 2 each factor after the other, 3 with equal weight for
    every cell; terms: by name, "a", "b" and "a:b"; total_ss about the mean; r_squared: the share of it that the
    model explains, None when all values are equal; notes: what was left out, and why.
    """

    n: int
    mean: float
    kind: Kind
    terms: Mapping[str, Term]
    residual: Residual
    total_ss: float
    r_squared: float | None
    notes: tuple[str, ...]


def one_way(values: ArrayLike, groups: Labels, name: str = "group") -> Anova:
    """Do the groups' means differ by more than chance? values: shape (n,); groups: one for each value."""
    return anova(values, {name: groups})


def anova(values: ArrayLike, factors: Mapping[str, Labels], kind: Kind = 2) -> Anova:
    """Table of variance for one factor or two with their interaction; ``kind`` matters for two that are unbalanced.

    values: shape (n,); factors: a column of labels by name. With one value in every cell the interaction is what
    is left over, and the notes say so.
    """
    if len(factors) not in {1, 2}:
        raise ValueError(_("An analysis of variance takes one factor or two."))
    if kind not in {1, 2, 3}:
        raise ValueError(_("The type of sums of squares is 1, 2 or 3."))
    y = finite(values)
    shift = float(y[0])
    x = y - shift
    x -= x.mean()
    coded = [codes(labels, len(y), name)[0] for name, labels in factors.items()]
    names = list(factors)
    sums = _one(x, coded[0], names[0]) if len(coded) == 1 else _two(x, coded[0], coded[1], names, kind)
    total = float(x @ x)
    residual = _residual(sums.residual_ss, sums.residual_df)
    return Anova(
        len(y),
        float((y - shift).mean()) + shift,
        kind,
        {name: _term(ss, df, residual) for name, (ss, df) in sums.terms.items()},
        residual,
        total,
        1 - residual.ss / total if total > 0 else None,
        tuple(sums.notes),
    )


@dataclass(slots=True)
class _Sums:
    terms: dict[str, tuple[float, int]]
    residual_ss: float
    residual_df: int
    notes: list[str]


def _cells(x: Floats, code: Codes) -> tuple[NDArray[np.intp], Floats, float]:
    """Counts and means of cells 0, 1, …, and the sum of squares within them, in two passes."""
    counts = np.bincount(code)
    means: Floats = np.bincount(code, x) / np.maximum(counts, 1)
    within = x - means[code]
    squares = float(within @ within)
    # equal values whose sum rounds: a mean of three times 0.1 is not 0.1
    rounding = 4 * np.finfo(float).eps * float(np.abs(x).max())
    return counts, means, squares if squares > len(x) * rounding**2 else 0.0


def _one(x: Floats, group: Codes, name: str) -> _Sums:
    counts, means, within = _cells(x, group)
    notes = [_("There is one group only, so nothing can be compared.")] if len(counts) == 1 else []
    return _Sums({name: (float(counts @ means**2), len(counts) - 1)}, within, len(x) - len(counts), notes)


def _two(x: Floats, a: Codes, b: Codes, names: list[str], kind: Kind) -> _Sums:
    wide = int(b.max()) + 1
    counts, means, within = _cells(x, a * wide + b)
    shape = (int(a.max()) + 1, wide)
    padding = shape[0] * wide - len(counts)
    n = np.pad(counts, (0, padding)).reshape(shape).astype(float)
    mean = np.pad(means, (0, padding)).reshape(shape)
    filled = int((n > 0).sum())

    ss_a = _marginal(n, mean, axis=1)
    b_after_a, df_b = _after(n, mean)
    a_after_b, df_a = _after(n.T, mean.T)
    df_alone = (shape[0] - 1, shape[1] - 1)
    additive = ss_a + b_after_a
    interaction = max(float((n * mean**2).sum()) - additive, 0.0)
    df_both = filled - 1 - df_alone[0] - df_b

    notes = []
    if df_b < df_alone[1]:
        notes.append(
            _(
                "The two factors fall into parts that share no level, so each is partly hidden behind the other."
            )
        )
    lines = {
        1: ((ss_a, df_alone[0]), (b_after_a, df_b)),
        2: ((a_after_b, df_a), (b_after_a, df_b)),
        3: ((a_after_b, df_a), (b_after_a, df_b)),
    }[kind]
    if kind == 3 and filled < n.size:
        notes.append(
            _(
                "Some pairs of levels have no value, so type 3 cannot be told; the sums of squares are of type 2."
            )
        )
    elif kind == 3 and len(x) > filled:
        lines = ((_weighted_squares(n, mean), df_a), (_weighted_squares(n.T, mean.T), df_b))
    terms = dict(zip(names, lines, strict=True))
    both = ":".join(names)
    if len(x) == filled:
        notes.append(
            _("No pair of levels has a second value, so the interaction cannot be told from the residual.")
        )
        return _Sums(terms, interaction, df_both, notes)
    if df_both == 0:
        notes.append(_("There are too few pairs of levels to tell an interaction."))
    else:
        terms[both] = (interaction, df_both)
    return _Sums(terms, within + (interaction if df_both == 0 else 0.0), len(x) - filled, notes)


def _marginal(n: Floats, mean: Floats, axis: int) -> float:
    """Sum of squares of one factor alone, for values whose mean is 0."""
    totals, counts = (n * mean).sum(axis=axis), n.sum(axis=axis)
    return float((totals**2 / counts).sum())


def _after(n: Floats, mean: Floats) -> tuple[float, int]:
    """Sum of squares of the columns' factor after the rows', and its degrees of freedom: Searle 1971, 7.1.

    The rows are eliminated: S = diag(n.j) - N' diag(1/ni.) N, q = the columns' totals less what the rows explain.
    """
    if n.shape[1] > n.shape[0]:
        # the smaller factor is the one to solve for; reductions are the same from either side
        reduction, rank = _after(n.T, mean.T)
        rows, columns = _marginal(n, mean, axis=1), _marginal(n, mean, axis=0)
        return max(columns + reduction - rows, 0.0), rank + n.shape[1] - n.shape[0]
    per_row = n.sum(axis=1)
    row_means = (n * mean).sum(axis=1) / per_row
    S = np.diag(n.sum(axis=0)) - n.T @ (n / per_row[:, None])
    q = (n * (mean - row_means[:, None])).sum(axis=0)
    roots, vectors = np.linalg.eigh(S)
    told = roots > max(roots[-1], 0.0) * 1e-10 * len(roots)
    along = vectors.T[told] @ q
    return float((along**2 / roots[told]).sum()), int(told.sum())


def _weighted_squares(n: Floats, mean: Floats) -> float:
    """Type 3 sum of squares of the rows' factor, every cell filled: Yates 1934, weighted squares of means."""
    plain = mean.mean(axis=1)
    weights = n.shape[1] ** 2 / (1 / n).sum(axis=1)
    return float(weights @ (plain - weights @ plain / weights.sum()) ** 2)


def _residual(ss: float, df: int) -> Residual:
    ms = ss / df if df > 0 else None
    return Residual(ss, df, ms, None if ms is None else sqrt(ms))


def _term(ss: float, df: int, residual: Residual) -> Term:
    if df < 1:
        return Term(ss, df, None, None, None)
    ms = ss / df
    if residual.ms is None or (residual.ms == 0 and ms == 0):
        return Term(ss, df, ms, None, None)
    f = ms / residual.ms if residual.ms > 0 else inf
    return Term(ss, df, ms, f, float(special.fdtrc(df, residual.df, f)) if f < inf else 0.0)


@dataclass(frozen=True, slots=True)
class Spreads:
    """Do groups scatter alike? bartlett, levene: statistics without a unit, Levene's from medians; bartlett_p,
    levene_p: chance of as much if they do. None with a reason in words where they cannot be told."""

    bartlett: float | None
    bartlett_p: float | None
    levene: float | None
    levene_p: float | None
    reason: str


def spreads(values: ArrayLike, groups: Labels) -> Spreads:
    """Bartlett's test, sharp for normal values only, and Levene's from medians, which asks for no shape."""
    y = finite(values)
    x = y - y[0]
    group, names = codes(groups, len(y), _("group"))
    counts, _means, within = _cells(x, group)
    if len(names) < 2 or counts.min() < 2:
        return Spreads(None, None, None, None, _("Two groups of two values or more are needed."))
    if within == 0:
        return Spreads(None, None, None, None, _("No group scatters at all."))
    medians = np.array([np.median(x[group == code]) for code in range(len(names))])
    levene = one_way(np.abs(x - medians[group]), group).terms["group"]
    bartlett = _bartlett(x, group, counts, within)
    p = None if bartlett is None else float(special.chdtrc(len(names) - 1, bartlett))
    reason = _("A group without any spread leaves Bartlett's test nothing to compare.") if p is None else ""
    return Spreads(bartlett, p, levene.f, levene.p, reason)


def _bartlett(x: Floats, group: Codes, counts: Codes, within: float) -> float | None:
    """Bartlett 1937, as in NIST/SEMATECH e-Handbook, 1.3.5.7."""
    k, df = len(counts), counts - 1.0
    means = np.bincount(group, x) / counts
    variances = np.bincount(group, (x - means[group]) ** 2) / df
    if (variances == 0).any():
        return None
    pooled = within / df.sum()
    spread = df.sum() * log(pooled) - float(df @ np.log(variances))
    return float(spread / (1 + ((1 / df).sum() - 1 / df.sum()) / (3 * (k - 1))))
