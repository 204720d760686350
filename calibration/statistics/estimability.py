"""What a design lets one estimate: which effects these readings can tell apart, and in words why not the others.

Searle, Casella and McCulloch 1992, Variance components (Wiley): chapter 4 on connectedness and what mean squares
can separate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from brewbar.words import gettext as _
from brewbar.words import ngettext
from calibration.statistics.absorbing import table
from calibration.statistics.cells import Cells, Term
from calibration.statistics.rows import Floats

TINY = 1e-9
CANCELLED = 1e-13
FEWEST_REPEATED = 0.15  # engineering estimate, no source: below it, an interaction and a row's own are one


@dataclass(frozen=True, slots=True)
class Model:
    """What can be fitted. cells: with the terms and columns that can be told apart; names: of the components by
    name of term, in order, several terms under one name where they can't be told apart, the residual's own
    under residual; lost: reason by name of a term whose spread can't be told; lost_columns: reason by place of a
    fixed column; notes: what to say of the design; noise: what a sum of squares may be by rounding alone."""

    cells: Cells
    names: dict[str, str]
    residual: str
    lost: dict[str, str]
    lost_columns: dict[int, str]
    notes: tuple[str, ...]
    noise: float

    def nothing_to_part(self) -> str:
        """Why these readings have no spread that could be parted; empty when they have."""
        rows, p = self.cells.rows, len(self.cells.columns)
        if rows == 1:
            return _("There is a single reading, so nothing can be said of the spread.")
        if rows <= p:
            return _("There are no more readings than fixed effects, so nothing can be said of the spread.")
        if self.spread_is_zero():
            return (
                _("All readings are the same, so there is no spread to part.")
                if p == 1
                else _("The fixed columns explain every reading exactly, so there is no spread to part.")
            )
        return ""

    def spread_is_zero(self) -> bool:
        products, p = self.cells.products(), len(self.cells.columns)
        # what the columns leave is a difference of sums, which has the digits of the sums
        rounding = CANCELLED * float(products[-1, -1]) if p > 1 else 0.0
        return self.cells.rows > p and _left(products) <= max(self.noise, rounding)

    def of_means(self) -> Model | None:
        """The model of the cells' means, where a term tells the cells apart and the rows of a cell never differ:
        that term is then all that the residual can be. None where they do differ."""
        cells = self.cells
        telling = next((term for term in cells.terms if term.size == len(cells.n)), None)
        if telling is None or cells.rows == len(cells.n) or _left(cells.within) > self.noise:
            return None
        others = [term for term in cells.terms if term is not telling]
        return replace(self, cells=cells.without_residual().with_terms(others), residual=telling.name)


def _left(products: Floats) -> float:
    """What the columns before the last leave of its sum of squares."""
    beside = products[:-1, -1]
    if not beside.any():
        return float(products[-1, -1])
    if len(beside) == 1:
        return float(products[1, 1] - beside[0] ** 2 / products[0, 0])
    return float(products[-1, -1] - beside @ np.linalg.lstsq(products[:-1, :-1], beside, rcond=None)[0])


def sort_out(cells: Cells, merge_below: float, residual: str) -> Model:
    """Leave out what has no spread to estimate, join what can't be told apart, and say so."""
    notes: list[str] = []
    cells, lost_columns = _independent_columns(cells)
    lost = {term.name: reason for term in cells.terms if (reason := _no_spread(cells, term))}
    notes.extend([*lost.values(), *lost_columns.values()])

    groups: list[list[Term]] = []
    for term in cells.terms:
        if term.name in lost:
            continue
        twin = next((group for group in groups if _same(group[0], term)), None)
        if twin is None:
            groups.append([term])
        else:
            twin.append(term)
    kept: list[Term] = []
    names: dict[str, str] = {}
    joined = residual
    for group in groups:
        first, name = group[0], " + ".join(term.name for term in group)
        if len(group) > 1:
            notes.append(
                _("%(names)s have the same levels in these readings, so they are one component here.")
                % {"names": _listed([term.name for term in group])}
            )
        if reason := _like_a_row(cells, first, merge_below, name, residual):
            notes.append(reason)
            joined = f"{name} + {residual}"
            names |= {term.name: joined for term in group}
            continue
        names |= {term.name: name for term in group}
        kept.append(first if len(group) == 1 else Term(name, first.codes, first.size, first.parts))
    notes.extend(_apart(kept))
    return Model(cells.with_terms(kept), names, joined, lost, lost_columns, tuple(notes), cells.noise)


def _independent_columns(cells: Cells) -> tuple[Cells, dict[int, str]]:
    """Only fixed columns that the ones before them don't already make up."""
    if len(cells.columns) == 1:
        return cells, {}
    products = cells.products()
    kept: list[int] = []
    lost: dict[int, str] = {}
    for place, column in enumerate(cells.columns):
        own = products[place, place]
        beside = products[np.ix_(kept, [place])]
        explained = (
            beside.T @ np.linalg.solve(products[np.ix_(kept, kept)], beside) if kept else np.zeros((1, 1))
        )
        if own - explained.item() > TINY * own:
            kept.append(place)
            continue
        what = column.name if column.level is None else f"{column.name} {column.level}"
        lost[place] = (
            _("%(what)s is the same in every row, so nothing can be said of it.") % {"what": what}
            if own == 0 or (column.level is None and own < TINY * max(column.middle**2, 1e-300))
            else _("%(what)s can't be told from the columns before it.") % {"what": what}
        )
    return (cells.with_columns(kept) if lost else cells), lost


def _no_spread(cells: Cells, term: Term) -> str:
    """Why a term's levels say nothing of its spread; empty when they do."""
    if term.size == 1:
        return _("There is a single level of %(term)s, so its spread can't be estimated.") % {
            "term": term.name
        }
    p = len(cells.columns)
    if p == 1:
        return ""
    weighted = cells.n * cells.means[:p]
    sums = np.array([np.bincount(term.codes, row, term.size) for row in weighted])
    explained = float(np.trace(np.linalg.solve(cells.products()[:p, :p], sums @ sums.T)))
    if cells.rows - explained > TINY * cells.rows:
        return ""
    return _("The fixed columns take up all of %(term)s, so its spread can't be estimated.") % {
        "term": term.name
    }


def _same(one: Term, other: Term) -> bool:
    """Whether two terms part the cells alike."""
    return one.size == other.size and len(np.unique(one.codes * other.size + other.codes)) == one.size


def _like_a_row(cells: Cells, term: Term, merge_below: float, name: str, residual: str) -> str:
    """Why a term can't be told from what a single row adds; empty when it can."""
    if term.size < len(cells.n):
        return ""
    share = cells.repeated_share
    words = {"term": name, "residual": residual, "share": f"{100 * share:.0f}"}
    if share == 0:
        return (
            _("No cell of %(term)s has a second row, so %(term)s and %(residual)s are one component here.")
            % words
        )
    if ":" in term.name and share < merge_below:
        return (
            _(
                "Only %(share)s %% of the cells of %(term)s have a second row, too few to tell %(term)s from "
                "%(residual)s: they are one component here."
            )
            % words
        )
    return ""


def _apart(terms: Sequence[Term]) -> list[str]:
    """Two crossed factors whose levels fall into groups that never meet."""
    notes = []
    for one, other in combinations([term for term in terms if ":" not in term.name], 2):
        meet = table(one, other, np.ones(len(one.codes))) > 0
        if meet[:, meet[0]].any(1).all():  # every level meets one that the first level meets
            continue
        rows, columns = meet.nonzero()
        if len(rows) in {one.size, other.size}:  # one lies within the other, as runs lie within days
            continue
        size = one.size + other.size
        graph = coo_array((np.ones(len(rows)), (rows, columns + one.size)), shape=(size, size))
        groups, _labels = connected_components(graph, directed=False)
        if groups > 1:
            notes.append(
                ngettext(
                    "%(one)s and %(other)s fall into %(groups)d groups that share no reading: what sets the "
                    "groups apart can't be put down to either.",
                    "%(one)s and %(other)s fall into %(groups)d groups that share no reading: what sets the "
                    "groups apart can't be put down to either.",
                    groups,
                )
                % {"one": one.name, "other": other.name, "groups": groups}
            )
    return notes


def _listed(names: Sequence[str]) -> str:
    return _("%(most)s and %(last)s") % {"most": ", ".join(names[:-1]), "last": names[-1]}
