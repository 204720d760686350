"""The likelihood of crossed and nested random effects from cells, with its slope and its curvature.

y = Xβ + Σ Z_k u_k + e, u_k ~ N(0, γ_k σ²), e ~ N(0, σ²), so that var y = σ²V, V = I + Σ γ_k Z_k Z_k'.
P = V⁻¹ - V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹. V is never made. The term that tells every cell from every other (mostly an
interaction) changes the weight of its cells and no more; the largest other term is eliminated level by level; what
is left is as large as the remaining terms have levels, and is factored by Cholesky.

Harville 1977, Maximum likelihood approaches to variance component estimation and to related problems, Journal of the
American Statistical Association 72:320, doi:10.1080/01621459.1977.10480998.
Gilmour, Thompson and Cullis 1995, Average information REML, Biometrics 51:1440, doi:10.2307/2533274.
Bates, Mächler, Bolker and Walker 2015, Fitting linear mixed-effects models using lme4, Journal of Statistical
Software 67(1), doi:10.18637/jss.v067.i01: the criterion and its constant, equations 34 and 42.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import accumulate, pairwise
from math import log

import numpy as np
from scipy.linalg import LinAlgError, lapack

from brewbar.words import gettext as _
from calibration.statistics.cells import Cells, Term, counted
from calibration.statistics.rows import Codes, Floats

LARGEST_TABLE = 10**8  # levels against levels, held as numbers of 8 bytes


@dataclass(frozen=True, slots=True)
class Point:
    """The surface at one set of ratios γ, for σ² = 1 unless said otherwise. k terms, in the order of the cells'.

    ratios: γ, shape (k,); log_det: log|V| and, for REML, log|X'V⁻¹X|; ypy: y'Py; traces: tr(PZ_kZ_k'), V⁻¹ for P
    in ML; squares: y'PZ_kZ_k'Py; information: y'PV_kPV_lPy, shape (k, k); pulls: Z_k'Py of each term;
    precisions: the diagonal of Z_k'PZ_k of each term, if asked for; beta: of the p fixed columns; covariance:
    (X'V⁻¹X)⁻¹; leans, pulled: X'V⁻¹Z_kZ_k'V⁻¹X, shape (k, p, p), and X'V⁻¹Z_kZ_k'Py, shape (k, p).
    """

    ratios: Floats
    log_det: float
    ypy: float
    traces: Floats
    squares: Floats
    information: Floats
    pulls: tuple[Floats, ...]
    precisions: tuple[Floats, ...]
    beta: Floats
    covariance: Floats
    leans: Floats
    pulled: Floats

    def fixed_at(self, ratios: Floats) -> Point:
        """With the fixed part as it is at ratios a little off, by its slope; the rest as it was."""
        more, covariance = ratios - self.ratios, self.covariance
        leaning = np.tensordot(more, self.leans, 1)
        return replace(
            self,
            beta=self.beta - covariance @ (more @ self.pulled),
            covariance=covariance + covariance @ leaning @ covariance,
        )


@dataclass(frozen=True, slots=True)
class _Eliminated:
    """What is left once terms are eliminated, at one γ. o levels of the largest term, d of the dense ones.

    w: the cells' weights, telling term absorbed; diagonal (o), across (d, o), within (d, d): Z'WZ; h: γ/(1 + γZ'WZ)
    of the largest term; plain: its Z'WZ/(1 + γZ'WZ); dense: `within` with the largest term absorbed; inverse:
    (I + Λ·dense·Λ)⁻¹ and rooted: Λ·inverse·Λ, for Λ² = γ; rooted_shaped: rooted·across/(1 + γZ'WZ), and spread the
    sums of its products with the latter part; one, many: [X y]'V⁻¹Z; inner: [X y]'V⁻¹[X y]; log_det: log|V|.
    """

    w: Floats
    diagonal: Floats
    across: Floats
    within: Floats
    h: Floats
    plain: Floats
    dense: Floats
    inverse: Floats
    rooted: Floats
    rooted_shaped: Floats
    spread: Floats
    one: Floats
    many: Floats
    inner: Floats
    log_det: float


class Surface:
    """-2 log likelihood of `cells`, restricted unless ``ml``; df: n - p, or n for ML."""

    def __init__(self, cells: Cells, ml: bool = False) -> None:
        self.cells, self.ml = cells, ml
        self.p = len(cells.columns)
        self.df = cells.rows if ml else cells.rows - self.p
        terms = cells.terms
        size = len(cells.n)
        self.telling = next((k for k, term in enumerate(terms) if term.size == size), None)
        others = [k for k in range(len(terms)) if k != self.telling]
        self.largest = max(others, key=lambda k: terms[k].size, default=None)
        self.dense = [k for k in others if k != self.largest]
        nothing = Term("", np.zeros(size, dtype=np.intp), 1, ())
        self._one = nothing if self.largest is None else terms[self.largest]
        self._many = [terms[k] for k in self.dense]
        self._sizes = [term.size for term in self._many]
        ends = [0, *accumulate(self._sizes)]
        self._blocks = [slice(low, high) for low, high in pairwise(ends)]
        self.size = ends[-1]
        if self.size * self._one.size > LARGEST_TABLE:
            raise ValueError(
                _("%(one)s has too many levels to be crossed with %(others)s: leave one of them out.")
                % {"one": self._one.name, "others": ", ".join(term.name for term in self._many)}
            )
        self._of_many = np.repeat(self.dense, self._sizes).astype(np.intp)  # the term of each dense level
        self._identity = np.eye(self.size)
        self._with_one = [together(term, self._one) for term in self._many]
        self._with_others = {
            (i, j): together(self._many[i], self._many[j]) for i in range(len(self._many)) for j in range(i)
        }
        self._nothing = np.empty((self.p + 1, 0))
        self._constant = bool(cells.columns) and cells.columns[0].name == ""

    def at(self, ratios: Floats, each: bool = False) -> Point:
        """Everything at γ = ratios, none of them below 0; the precision of every level only if ``each``."""
        p = self.p
        e = self._eliminate(ratios)
        covariance, log_fixed = inverse_of(e.inner[:p, :p])
        beta = covariance @ e.inner[:p, p]
        seen, diagonals, traces = self._by_term(ratios, e, each)
        turn = np.eye(p + 1)
        turn[p, :p] = -beta
        turned = [turn @ of_term for of_term in seen]  # [X Py]'V⁻¹Z
        products = np.array([one @ one.T for one in turned]).reshape(len(turned), p + 1, p + 1)
        leans, pulled = products[:, :p, :p], products[:, :p, p]
        if not self.ml:
            traces -= (leans * covariance).sum((1, 2))
        precisions: tuple[Floats, ...] = ()
        if each:
            precisions = tuple(
                own - ((covariance @ one[:p]) * one[:p]).sum(0)
                for own, one in zip(diagonals, turned, strict=True)
            )
        pulls = tuple(one[p] for one in turned)
        return Point(
            ratios,
            e.log_det if self.ml else e.log_det + log_fixed,
            float(e.inner[p, p] - e.inner[:p, p] @ beta),
            traces,
            products[:, p, p],
            self._information(pulls, e) - pulled @ covariance @ pulled.T,
            pulls,
            precisions,
            beta,
            covariance,
            leans,
            pulled,
        )

    def _eliminate(self, ratios: Floats) -> _Eliminated:
        cells = self.cells
        g_cell = 0.0 if self.telling is None else float(ratios[self.telling])
        g_one = 0.0 if self.largest is None else float(ratios[self.largest])
        g_many = ratios[self._of_many]
        root = np.sqrt(g_many)
        scale = root[:, None] * root

        # The telling term changes the weight of a cell: (I/n + γI)⁻¹
        shrunk = 1.0 + g_cell * cells.n
        w = cells.n / shrunk
        diagonal, across, within = self._sums(w)
        weighted = w * cells.means
        inner = cells.means @ weighted.T + cells.within
        r_one, r_many = self._collect(weighted, diagonal, within)

        # The largest term goes level by level: W - WZ(γ/(1 + γZ'WZ))Z'W
        left = 1.0 / (1.0 + g_one * diagonal)
        h = g_one * left
        half = across * np.sqrt(h)
        dense = within - half @ half.T
        taken = r_one * h
        inner -= taken @ r_one.T
        r_many -= taken @ across.T

        # The dense rest: I + Λ Z'WZ Λ = LL'
        inverse, log_rest = inverse_of(self._identity + dense * scale)
        rooted = inverse * scale
        shaped = across * left
        rooted_shaped = rooted @ shaped
        pulled = r_many @ rooted
        inner -= pulled @ r_many.T
        return _Eliminated(
            w=w,
            diagonal=diagonal,
            across=across,
            within=within,
            h=h,
            dense=dense,
            inverse=inverse,
            rooted=rooted,
            rooted_shaped=rooted_shaped,
            spread=(rooted_shaped * shaped).sum(0),
            one=left * r_one - pulled @ shaped,
            many=r_many - pulled @ dense,
            inner=inner,
            log_det=float(np.log(shrunk).sum() - np.log(left).sum()) + log_rest,
            plain=left * diagonal,
        )

    def _by_term(
        self, ratios: Floats, e: _Eliminated, each: bool
    ) -> tuple[list[Floats], list[Floats], Floats]:
        """[X y]'V⁻¹Z, the diagonal of Z'V⁻¹Z and its sum, term by term."""
        count = len(self.cells.terms)
        seen: list[Floats] = [self._nothing] * count
        diagonals: list[Floats] = [self._nothing] * count
        if self.largest is not None:
            seen[self.largest] = e.one
            diagonals[self.largest] = e.plain - e.spread
        for block, k in zip(self._blocks, self.dense, strict=True):
            seen[k] = e.many[:, block]
            plain = e.dense[block, block].diagonal()
            if ratios[k] * plain.max() > 1e-4:  # each form loses digits where the other does not
                diagonals[k] = (1.0 - e.inverse[block, block].diagonal()) / ratios[k]
            else:
                diagonals[k] = plain - ((e.dense[block] @ e.rooted) * e.dense[block]).sum(1)
        traces = np.array([float(own.sum()) for own in diagonals])
        if self.telling is None:
            return seen, diagonals, traces

        g_one = 0.0 if self.largest is None else float(ratios[self.largest])
        lifted = self.cells.means - (g_one * e.one).take(self._one.codes, 1)
        of_many = ratios[self._of_many] * e.many
        for block, term in zip(self._blocks, self._many, strict=True):
            lifted -= of_many[:, block].take(term.codes, 1)
        lifted *= e.w
        seen[self.telling] = lifted
        by_one = e.h + g_one**2 * e.spread
        one, across, dense = self._sums(e.w * e.w)
        taken = one @ by_one + np.vdot(dense, e.rooted) - 2.0 * g_one * np.vdot(across, e.rooted_shaped)
        traces[self.telling] = e.w.sum() - taken
        if each:
            of_cells = self._of_cells(by_one, g_one * e.rooted_shaped, e.rooted)
            diagonals[self.telling] = e.w - e.w * e.w * of_cells
        return seen, diagonals, traces

    def _information(self, pulls: tuple[Floats, ...], e: _Eliminated) -> Floats:
        """q_k'V⁻¹q_l with q_k = Z_kZ_k'Py; less what the fixed part takes, y'PV_kPV_lPy: Gilmour, Thompson and
        Cullis 1995, equation 5 (from memory)."""
        count = len(pulls)
        q_one, q_many = np.empty((count, self._one.size)), np.empty((count, self.size))
        of_levels = np.empty((count, count))
        for k, pull in enumerate(pulls):
            if k == self.largest:
                q_one[k], q_many[k] = e.diagonal * pull, e.across @ pull
            elif k == self.telling:
                (q_one[k],), (q_many[k],) = self._collect((e.w * pull)[None])
            else:
                block = self._blocks[self.dense.index(k)]
                q_one[k], q_many[k] = pull @ e.across[block], e.within[:, block] @ pull
        if self.largest is not None:
            of_levels[self.largest] = q_one @ pulls[self.largest]
        for block, k in zip(self._blocks, self.dense, strict=True):
            of_levels[k] = q_many[:, block] @ pulls[k]
        if self.telling is not None:
            of_levels[self.telling] = of_levels[:, self.telling]
            of_levels[self.telling, self.telling] = e.w @ (pulls[self.telling] ** 2)
        taken = q_one * e.h
        q_many -= taken @ e.across.T
        information: Floats = of_levels - taken @ q_one.T - (q_many @ e.rooted) @ q_many.T
        return information

    def _of_cells(self, by_one: Floats, by_both: Floats, dense: Floats) -> Floats:
        """What the other terms take off V⁻¹ at each cell, from what they take at their levels."""
        taken = by_one[self._one.codes]
        for block, term in zip(self._blocks, self._many, strict=True):
            taken -= 2.0 * by_both[block][term.codes, self._one.codes]
            for other, beside in zip(self._blocks, self._many, strict=True):
                taken += dense[block, other][term.codes, beside.codes]
        return taken

    # Sums over cells

    def _sums(self, weights: Floats) -> tuple[Floats, Floats, Floats]:
        """Z'WZ: the diagonal of the largest term, the dense terms against it, and the dense terms."""
        one = self._one
        across = np.empty((self.size, one.size))
        for block, size, pair in zip(self._blocks, self._sizes, self._with_one, strict=True):
            across[block] = counted(pair, weights, size * one.size).reshape(size, one.size)
        # every cell has a level of the first dense term, whose block adds up faster than the cells
        diagonal = across[self._blocks[0]].sum(0) if self._blocks else counted(one.codes, weights, one.size)
        dense = self._identity * across.sum(1)
        for (i, j), pair in self._with_others.items():
            shape = self._sizes[i], self._sizes[j]
            meeting = counted(pair, weights, shape[0] * shape[1]).reshape(shape)
            dense[self._blocks[i], self._blocks[j]] = meeting
            dense[self._blocks[j], self._blocks[i]] = meeting.T
        return diagonal, across, dense

    def _collect(
        self, weighted: Floats, diagonal: Floats | None = None, dense: Floats | None = None
    ) -> tuple[Floats, Floats]:
        """A'Z of rows A over the cells, for the largest term and for the dense ones; the first row of weighted
        data is the weights themselves, which are summed already."""
        rows = len(weighted)
        of_one, of_many = np.empty((rows, self._one.size)), np.empty((rows, self.size))
        begin = 0
        if diagonal is not None and dense is not None and self._constant:
            of_one[0], of_many[0] = diagonal, dense.diagonal()
            begin = 1
        for j in range(begin, rows):
            of_one[j] = np.bincount(self._one.codes, weighted[j], self._one.size)
            for block, term in zip(self._blocks, self._many, strict=True):
                of_many[j, block] = np.bincount(term.codes, weighted[j], term.size)
        return of_one, of_many


def together(rows: Term, columns: Term) -> Codes:
    """One code for each pair of levels."""
    return rows.codes * columns.size + columns.codes


def table(rows: Term, columns: Term, weights: Floats) -> Floats:
    """The weights added up by levels of two terms."""
    size = rows.size * columns.size
    return counted(together(rows, columns), weights, size).reshape(rows.size, columns.size)


def inverse_of(matrix: Floats) -> tuple[Floats, float]:
    """The inverse of a positive definite matrix, and the logarithm of its determinant."""
    size = len(matrix)
    if size == 0:
        return np.empty((0, 0)), 0.0
    if size == 1 and matrix[0, 0] > 0:
        return 1.0 / matrix, log(float(matrix[0, 0]))
    factor, failed = lapack.dpotrf(matrix, lower=1)
    if failed:
        raise LinAlgError("The likelihood is not defined here.")
    log_det = 2.0 * float(np.log(factor.diagonal()).sum())
    inverse, _failed = lapack.dpotri(factor, lower=1)  # its lower half; the upper one is 0
    inverse.flat[:: size + 1] *= 0.5
    return inverse + inverse.T, log_det
