"""Readings collapsed into cells: counts, means and what is left within them, in one pass over the rows.

A cell holds the rows that share a level of every term. Whatever a model of crossed or nested effects says of the
rows, it says of the cells' counts and means, and of one matrix of squares within them: n, x̄ and S.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import prod
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewbar.words import gettext as _
from calibration.statistics.rows import Codes, Floats, Labels, codes, finite

SMALL_TABLE = 1 << 14  # up to so many possible cells are counted in a table, used or not


def counted(codes: Codes, weights: Floats, size: int) -> Floats:
    """The weights added up by code."""
    return np.bincount(codes, weights, size).astype(np.float64, copy=False)


@dataclass(frozen=True, slots=True)
class Term:
    """One random effect. name: such as "staff:day"; codes: level of each cell, shape (c,); size: how many levels;
    parts: for each of its factors, the labels and which of them each level has, shape (size,)."""

    name: str
    codes: Codes
    size: int
    parts: tuple[tuple[tuple[Hashable, ...], Codes], ...]

    def labels(self) -> tuple[Hashable, ...]:
        """Of the levels: a tuple for each where a term has several factors."""
        columns = [[labels[code] for code in numbers.tolist()] for labels, numbers in self.parts]
        return tuple(columns[0]) if len(columns) == 1 else tuple(zip(*columns, strict=True))

    def counts(self, n: Floats) -> Floats:
        """How many rows each level has."""
        return counted(self.codes, n, self.size)


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the fixed part. name: of the column in the data; level: which level it marks, None for a
    slope; middle: what was taken off a slope's values."""

    name: str
    level: str | None = None
    middle: float = 0.0


@dataclass(frozen=True, slots=True)
class Cells:
    """n: rows in each cell, shape (c,); means: of the fixed columns and, last, of the values less `shift`,
    shape (p + 1, c); within: their squares and products about the cell means, shape (p + 1, p + 1);
    shift: what was taken off every value; rows: how many; columns: the fixed part, the constant first;
    noise: a sum of squares about the means that rounding alone can make."""

    n: Floats
    means: Floats
    within: Floats
    shift: float
    rows: int
    terms: tuple[Term, ...]
    columns: tuple[Column, ...]
    noise: float = 0.0

    def with_terms(self, terms: Sequence[Term]) -> Cells:
        return replace(self, terms=tuple(terms))

    def with_columns(self, kept: Sequence[int]) -> Cells:
        """Only these columns of the fixed part."""
        chosen = [*kept, len(self.columns)]
        return replace(
            self,
            means=self.means[chosen],
            within=self.within[np.ix_(chosen, chosen)],
            columns=tuple(self.columns[place] for place in kept),
        )

    def less_constant(self, constant: float) -> Cells:
        """The values less an intercept that is known, and none in the fixed part."""
        added = [*(column.middle for column in self.columns[1:]), self.shift - constant]
        means = self.means[1:] + np.array(added)[:, None]
        return replace(self, means=means, within=self.within[1:, 1:], columns=self.columns[1:])

    def without_residual(self) -> Cells:
        """One row for each cell, its mean."""
        return replace(self, n=np.ones_like(self.n), within=np.zeros_like(self.within), rows=len(self.n))

    def products(self) -> Floats:
        """[X y]'[X y] over the rows, the values less their shift."""
        return self.means @ (self.n * self.means).T + self.within

    @property
    def repeated_share(self) -> float:
        """Which share of the cells has a second row."""
        return float((self.n > 1).mean())


def collapse(
    values: ArrayLike,
    factors: Mapping[str, Labels],
    terms: Sequence[str],
    fixed: Mapping[str, Labels] | None = None,
) -> Cells:
    """The cells of a model; ValueError in kind words for input that is no model or no number."""
    y = finite(values)
    named = _factors_of(terms, factors)
    coded = {name: _numbered(factors[name], len(y), name) for name in named}
    columns, x = _fixed_columns(fixed or {}, len(y))

    place, used = _placed(coded, len(y))
    n = np.bincount(place).astype(float)

    shift = float(y[0] + (y - y[0]).mean())
    data = [*x, y - shift]
    means = np.ones((len(data) + 1, len(n)))
    within = np.zeros((len(data) + 1, len(data) + 1))
    left = np.empty((len(data), len(y)))
    for column, one in enumerate(data):
        means[column + 1] = np.bincount(place, one, len(n)) / n
        np.subtract(one, means[column + 1][place], out=left[column])
    within[1:, 1:] = left @ left.T
    noise = len(y) * (8 * np.finfo(float).eps * max(abs(shift), float(np.abs(data[-1]).max()))) ** 2
    return Cells(n, means, within, shift, len(y), _terms(terms, coded, used), columns, noise)


def _placed(
    coded: Mapping[str, tuple[Codes, tuple[Hashable, ...]]], rows: int
) -> tuple[Codes, NDArray[np.intp]]:
    """Which cell each row lies in, from 0, and which of all possible cells those are."""
    first, *others = coded.values()
    place = first[0]
    for numbers, labels in others:
        place = place * len(labels) + numbers
    possible = prod(len(labels) for _numbers, labels in coded.values())
    if possible > max(SMALL_TABLE, 4 * rows):
        used, place = np.unique(place, return_inverse=True)
        return place, used
    used = np.flatnonzero(np.bincount(place, minlength=possible))
    if len(used) < possible:
        renumbered = np.zeros(possible, dtype=np.intp)
        renumbered[used] = np.arange(len(used))
        place = renumbered[place]
    return place, used


def collapse_sums(
    n: ArrayLike,
    sums: ArrayLike,
    squares: ArrayLike,
    factors: Mapping[str, Labels],
    terms: Sequence[str],
    fixed: Mapping[str, Labels] | None = None,
) -> Cells:
    """As `collapse`, from rows that were added up before: of each group how many, their sum and their sum of squares.

    A group lies in one cell; several may lie in the same, as groups by recipe do. Squares are of values as they are,
    so the values' leading digits should not be many more than their spread has.
    """
    counts, totals, squared = finite(n), finite(sums), finite(squares)
    if not len(counts) == len(totals) == len(squared):
        raise ValueError(_("Every group needs its number, its sum and its sum of squares."))
    if (counts <= 0).any():
        raise ValueError(_("Group %(row)d has no values.") % {"row": int((counts <= 0).argmax()) + 1})
    named = _factors_of(terms, factors)
    coded = {name: _numbered(factors[name], len(counts), name) for name in named}
    columns, x = _fixed_columns(fixed or {}, len(counts), counts)
    place, used = _placed(coded, len(counts))

    rows = float(counts.sum())
    shift = float(totals.sum() / rows)
    y = totals / counts - shift
    rounding = 4 * np.finfo(float).eps * (squared + totals**2 / counts)
    left = squared - totals**2 / counts
    inside = np.where(left > rounding, left, 0.0)
    data = np.array([*x, y])
    size = counted(place, counts, len(used))
    means = np.ones((len(data) + 1, len(size)))
    within = np.zeros((len(data) + 1, len(data) + 1))
    apart = np.empty_like(data)
    for column, one in enumerate(data):
        means[column + 1] = np.bincount(place, one * counts) / size
        np.subtract(one, means[column + 1][place], out=apart[column])
    within[1:, 1:] = (counts * apart) @ apart.T
    within[-1, -1] += inside.sum()
    noise = float(rounding.sum()) + rows * (8 * np.finfo(float).eps * abs(shift)) ** 2
    return Cells(size, means, within, shift, round(rows), _terms(terms, coded, used), columns, noise)


def _factors_of(terms: Sequence[str], factors: Mapping[str, Labels]) -> list[str]:
    """The factors that the terms name, each once."""
    if isinstance(terms, str) or not terms:
        raise ValueError(_("Name at least one term, such as staff."))
    seen: dict[frozenset[str], str] = {}
    for term in terms:
        parts = term.split(":")
        for part in parts:
            if part not in factors:
                raise ValueError(
                    _("The term %(term)s names %(part)s, which is no column of these data.")
                    % {"term": term, "part": part or _("nothing")}
                )
        if len(set(parts)) < len(parts):
            raise ValueError(_("The term %(term)s names one column twice.") % {"term": term})
        if (twin := seen.setdefault(frozenset(parts), term)) is not term:
            raise ValueError(_("%(one)s and %(other)s are the same term.") % {"one": twin, "other": term})
    return list(dict.fromkeys(part for term in terms for part in term.split(":")))


def _numbered(labels: Labels, n: int, name: str) -> tuple[Codes, tuple[Hashable, ...]]:
    """Codes from 0 in the order of the labels, where labels have an order."""
    if isinstance(labels, np.ndarray) and labels.dtype.kind in "iu" and len(labels) == n:
        low, high = int(labels.min()), int(labels.max())
        if high - low < 4 * n + 1024:  # whole numbers that lie close together need no sorting
            numbers = (labels - low).astype(np.intp, copy=False)
            used = np.flatnonzero(np.bincount(numbers, minlength=high - low + 1))
            if len(used) <= high - low:
                renumbered = np.zeros(high - low + 1, dtype=np.intp)
                renumbered[used] = np.arange(len(used))
                numbers = renumbered[numbers]
            return numbers, tuple((used + low).tolist())
    numbers, found = codes(labels, n, name)
    try:
        order = sorted(range(len(found)), key=found.__getitem__)  # type: ignore[arg-type]
    except TypeError:
        return numbers, found
    place = np.empty(len(found), dtype=np.intp)
    place[order] = np.arange(len(found))
    return place[numbers], tuple(found[level] for level in order)


def _terms(
    terms: Sequence[str], coded: Mapping[str, tuple[Codes, tuple[Hashable, ...]]], used: NDArray[np.intp]
) -> tuple[Term, ...]:
    of_cell: dict[str, Codes] = {}
    left = used
    for name, (_numbers, labels) in reversed(list(coded.items())):
        left, of_cell[name] = np.divmod(left, len(labels))
    made = []
    for term in terms:
        names = term.split(":")
        if len(names) == 1:
            labels = coded[term][1]
            made.append(Term(term, of_cell[term], len(labels), ((labels, np.arange(len(labels))),)))
            continue
        first = level = np.arange(len(used))
        if len(names) < len(coded):
            together = np.zeros(len(used), dtype=np.intp)
            for name in names:
                together = together * len(coded[name][1]) + of_cell[name]
            _found, first, level = np.unique(together, return_index=True, return_inverse=True)
        parts = tuple((coded[name][1], of_cell[name][first]) for name in names)
        made.append(Term(term, level, len(first), parts))
    return tuple(made)


def _fixed_columns(
    fixed: Mapping[str, Labels], n: int, weights: Floats | None = None
) -> tuple[tuple[Column, ...], list[Floats]]:
    """Numbers are a slope, taken about their mean; words are compared with the first of them in order."""
    columns, x = [Column("")], []
    for name, given in fixed.items():
        if len(given) != n:
            raise ValueError(
                _("Every value needs its %(column)s: there are %(n)d values and %(labels)d of %(column)s.")
                % {"column": name, "n": n, "labels": len(given)}
            )
        if _all_numbers(given):
            slope = np.asarray(given, dtype=float)
            if not np.isfinite(slope).all():
                row = int((~np.isfinite(slope)).argmax()) + 1
                raise ValueError(_("Row %(row)d has no %(column)s.") % {"row": row, "column": name})
            middle = float(np.average(slope, weights=weights))
            columns.append(Column(name, None, middle))
            x.append(slope - middle)
            continue
        numbers, labels = _numbered(given, n, name)
        for level, label in enumerate(labels[1:], start=1):
            columns.append(Column(name, str(label)))
            x.append((numbers == level).astype(float))
    return tuple(columns), x


def _all_numbers(given: Labels) -> bool:
    if isinstance(given, np.ndarray) and given.dtype.kind in "iuf":
        return True
    number: tuple[Any, ...] = (int, float, np.integer, np.floating)
    return all(isinstance(one, number) and not isinstance(one, bool) for one in given)
