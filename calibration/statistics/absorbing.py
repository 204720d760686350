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
Henderson 1953, Estimation of variance and covariance components, Biometrics 9:226, doi:10.2307/3001853: method 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log, pi

import numpy as np
from scipy.linalg import LinAlgError, lapack

from calibration.statistics.cells import Cells, Term
from calibration.statistics.rows import Codes, Floats

@dataclass(frozen=True, slots=True)
class Point:
    """The surface at one set of ratios γ, for σ² = 1 unless said otherwise. k terms, in the order of the cells'.

    ratios: γ, shape (k,); log_det: log|V| and, for REML, log|X'V⁻¹X|; ypy: y'Py; traces: tr(PZ_kZ_k'), V⁻¹ for P
    in ML; squares: y'PZ_kZ_k'Py; information: y'PV_kPV_lPy, shape (k, k); pulls: Z_k'Py of each term;
    precisions: the diagonal of Z_k'PZ_k of each term; leans: Z_k'V⁻¹X of each term; beta: of the fixed columns;
    covariance: (X'V⁻¹X)⁻¹.
    """

    ratios: Floats
    log_det: float
    ypy: float
    traces: Floats
    squares: Floats
    information: Floats
    pulls: tuple[Floats, ...]
    precisions: tuple[Floats, ...]
    leans: tuple[Floats, ...]
    beta: Floats
    covariance: Floats


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
        nothing = Term("", np.zeros(size, dtype=np.intp), 1, ("",))
        self._one = nothing if self.largest is None else terms[self.largest]
        self._many = [terms[k] for k in self.dense]
        ends = np.cumsum([0, *(term.size for term in self._many)])
        self._sizes = [term.size for term in self._many]
        self._blocks = [slice(low, high) for low, high in zip(ends[:-1], ends[1:], strict=True)]
        self.size = int(ends[-1])
        self._constant = bool(cells.columns) and cells.columns[0].name == ""

    # Sums over cells, each level against each

    def _sums(self, weights: Floats) -> tuple[Floats, Floats, Floats]:
        """Z'WZ: the diagonal of the largest term, the dense terms against it, and the dense terms."""
        one, many = self._one, self._many
        diagonal = np.bincount(one.codes, weights, one.size)
        across = np.empty((self.size, one.size))
        for block, pair in self._pairs:
            across[block] = np.bincount(pair, weights, (block.stop - block.start) * one.size).reshape(
                -1, one.size
            )
        dense = np.zeros((self.size, self.size))
        for i, (block, term) in enumerate(zip(self._blocks, many, strict=True)):
            inside = dense[block, block]
            inside[np.diag_indices(term.size)] = across[block].sum(1)
            for other, beside in zip(self._blocks[:i], many[:i], strict=True):
                pair = np.bincount(
                    term.codes * beside.size + beside.codes, weights, term.size * beside.size
                ).reshape(term.size, beside.size)
                dense[block, other], dense[other, block] = pair, pair.T
        return diagonal, across, dense

    def _collect(self, weighted: Floats) -> tuple[Floats, Floats]:
        """Z'A of a weighted matrix A of cells: for the largest term and for the dense ones."""
        width = weighted.shape[1]
        one, many = np.empty((self._one.size, width)), np.empty((self.size, width))
        for j in range(width):
            column = weighted[:, j]
            one[:, j] = np.bincount(self._one.codes, column, self._one.size)
            for block, term in zip(self._blocks, self._many, strict=True):
                many[block, j] = np.bincount(term.codes, column, term.size)
        return one, many

    def _of_dense(self, values: Floats) -> Floats:
        """The values of the dense levels of each cell, added up."""
        total = np.zeros(len(self.cells.n))
        for block, term in zip(self._blocks, self._many, strict=True):
            total += values[block][term.codes]
        return total

    def at(self, ratios: Floats) -> Point:
        """Everything at γ = ratios, none of them below 0."""
        cells, one, p = self.cells, self._one, self.p
        data = cells.means
        g_cell = 0.0 if self.telling is None else float(ratios[self.telling])
        g_one = 0.0 if self.largest is None else float(ratios[self.largest])
        g_many = np.repeat(ratios[self.dense], self._sizes)

        # The telling term changes the weight of a cell: (I/n + γI)⁻¹
        shrunk = 1.0 + g_cell * cells.n
        w = cells.n / shrunk
        diagonal, across, within_dense = self._sums(w)
        weighted = w[:, None] * data
        inner = data.T @ weighted + cells.within
        r_one, r_many = self._collect(weighted, diagonal, across)
        log_det = float(np.log(shrunk).sum())

        # The largest term goes level by level: W - WZ(γ/(1 + γZ'WZ))Z'W
        left = 1.0 / (1.0 + g_one * diagonal)
        h = g_one * left
        log_det -= float(np.log(left).sum())
        half = across * np.sqrt(h)
        dense = within_dense - half @ half.T
        inner -= (r_one.T * h) @ r_one
        r_many = r_many - (across * h) @ r_one

        # The dense rest: I + Λ Z'WZ Λ = LL'
        inverse, log_rest = _inverse_beside_one(dense, np.sqrt(g_many))
        log_det += log_rest
        rooted = np.sqrt(g_many)[:, None] * inverse * np.sqrt(g_many)
        shaped = left[:, None] * across.T
        shaped_rooted = shaped @ rooted
        spread_one = np.einsum("ij,ij->i", shaped_rooted, shaped)

        def solved(one_side: Floats, many_side: Floats) -> tuple[Floats, Floats]:
            """Z'V⁻¹A from Z'WA, the largest term's already taken off the others'."""
            pulled = rooted @ many_side
            return left[:, None] * one_side - shaped @ pulled, many_side - dense @ pulled

        inner -= r_many.T @ (rooted @ r_many)
        v_one, v_many = solved(r_one, r_many)

        covariance, log_fixed = _inverse_of(inner[:p, :p])
        beta = covariance @ inner[:p, p]
        ypy = float(inner[p, p] - inner[:p, p] @ beta)
        if not self.ml:
            log_det += log_fixed

        # Z'V⁻¹[X y] and the diagonal of Z'V⁻¹Z, term by term
        count = len(cells.terms)
        seen = [np.empty((0, p + 1))] * count
        diagonals = [np.empty(0)] * count
        if self.largest is not None:
            seen[self.largest] = v_one
            diagonals[self.largest] = left * diagonal - spread_one
        for block, k in zip(self._blocks, self.dense, strict=True):
            seen[k] = v_many[block]
            plain = dense[block, block].diagonal()
            if ratios[k] * plain.max() > 1e-4:  # each form loses digits where the other does not
                diagonals[k] = (1.0 - inverse[block, block].diagonal()) / ratios[k]
            else:
                diagonals[k] = plain - ((dense[block] @ rooted) * dense[block]).sum(1)
        if self.telling is not None:
            lifted = data - (g_one * v_one)[one.codes]
            spread = h[one.codes] + g_one**2 * spread_one[one.codes]
            for block, term in zip(self._blocks, self._many, strict=True):
                lifted -= (g_many[block, None] * v_many[block])[term.codes]
                spread -= 2.0 * g_one * shaped_rooted[:, block][one.codes, term.codes]
                for other, beside in zip(self._blocks, self._many, strict=True):
                    spread += rooted[block, other][term.codes, beside.codes]
            seen[self.telling] = w[:, None] * lifted
            diagonals[self.telling] = w - w * w * spread

        toward = np.append(-beta, 1.0)
        pulls = tuple(each @ toward for each in seen)
        fixed = tuple(each[:, :p] for each in seen)
        precisions = tuple(
            each - ((x @ covariance) * x).sum(1) for each, x in zip(diagonals, fixed, strict=True)
        )
        traces = np.array([float(each.sum()) for each in (diagonals if self.ml else precisions)])
        squares = np.array([float(pull @ pull) for pull in pulls])

        # y'PV_kPV_lPy, with q_k = Z_kZ_k'Py: Gilmour, Thompson and Cullis 1995, equation 5 (from memory)
        q_one, q_many = np.empty((one.size, count)), np.empty((self.size, count))
        for k, pull in enumerate(pulls):
            if k == self.largest:
                q_one[:, k], q_many[:, k] = diagonal * pull, across @ pull
            elif k == self.telling:
                collected = self._collect((w * pull)[:, None])
                q_one[:, k], q_many[:, k] = collected[0][:, 0], collected[1][:, 0]
            else:
                block = self._blocks[self.dense.index(k)]
                q_one[:, k], q_many[:, k] = across[block].T @ pull, within_dense[:, block] @ pull
        of_levels = np.empty((count, count))
        if self.largest is not None:
            of_levels[self.largest] = pulls[self.largest] @ q_one
        for block, k in zip(self._blocks, self.dense, strict=True):
            of_levels[k] = pulls[k] @ q_many[block]
        if self.telling is not None:
            of_levels[self.telling] = of_levels[:, self.telling]
            of_levels[self.telling, self.telling] = float(w @ pulls[self.telling] ** 2)
        q_many -= (across * h) @ q_one
        of_fixed = np.array([x.T @ pull for x, pull in zip(fixed, pulls, strict=True)]).reshape(count, p)
        information = (
            of_levels
            - (q_one.T * h) @ q_one
            - q_many.T @ (rooted @ q_many)
            - of_fixed @ covariance @ of_fixed.T
        )
        return Point(
            ratios, log_det, ypy, traces, squares, information, pulls, precisions, fixed, beta, covariance
        )

    def first_guess(self) -> Floats:
        """Variances, the residual last, by equating sums of squares to what they would be on average: Henderson
        1953, method 1, on what the fixed part leaves; none of them at 0 or below."""
        cells, p = self.cells, self.p
        n, k = cells.n, len(cells.terms)
        data = cells.means
        products = data.T @ (n[:, None] * data) + cells.within
        beta = _inverse_of(products[:p, :p])[0] @ products[:p, p]
        left = n * (data[:, p] - data[:, :p] @ beta)
        total = float(products[p, p] - products[:p, p] @ beta)
        rows = float(cells.rows)
        sums, shares = np.zeros(k + 1), np.zeros((k + 1, k + 1))
        sums[k], shares[k, :k], shares[k, k] = total, rows, rows
        of_mean = np.ones(k + 1)
        for i, term in enumerate(cells.terms):
            counts = term.counts(n)
            of_mean[i] = float(counts @ counts) / rows
            sums[i] = float((np.bincount(term.codes, left, term.size) ** 2 / counts).sum())
            shares[i, i], shares[i, k] = rows, term.size
            for j, other in enumerate(cells.terms):
                if j == i:
                    continue
                if i == self.telling:
                    shares[i, j] = rows
                elif j == self.telling:
                    shares[i, j] = float((n * n / counts[term.codes]).sum())
                else:
                    shares[i, j] = float(((_table(term, other, n) ** 2).sum(1) / counts).sum())
        guess = np.linalg.lstsq(shares - of_mean, sums, rcond=None)[0]
        floor = max(0.02 * total / rows, 1e-300)
        return np.maximum(guess, floor)

    # Sums over cells

    def _sums(self, weights: Floats) -> tuple[Floats, Floats, Floats]:
        """Z'WZ: the diagonal of the largest term, the dense terms against it, and the dense terms."""
        one = self._one
        diagonal = np.bincount(one.codes, weights, one.size)
        across = np.empty((self.size, one.size))
        dense = np.zeros((self.size, self.size))
        for i, (block, term) in enumerate(zip(self._blocks, self._many, strict=True)):
            across[block] = _table(term, one, weights)
            dense[block, block] = np.diag(across[block].sum(1))
            for other, beside in zip(self._blocks[:i], self._many[:i], strict=True):
                dense[block, other] = _table(term, beside, weights)
                dense[other, block] = dense[block, other].T
        return diagonal, across, dense

    def _collect(
        self, weighted: Floats, diagonal: Floats | None = None, across: Floats | None = None
    ) -> tuple[Floats, Floats]:
        """Z'A of a matrix A of cells, for the largest term and for the dense ones; the first column of weighted
        data is the weights themselves, which are summed already."""
        width = weighted.shape[1]
        of_one, of_many = np.empty((self._one.size, width)), np.empty((self.size, width))
        begin = 0
        if diagonal is not None and across is not None and self._constant:
            of_one[:, 0], of_many[:, 0] = diagonal, across.sum(1)
            begin = 1
        for j in range(begin, width):
            column = weighted[:, j]
            of_one[:, j] = np.bincount(self._one.codes, column, self._one.size)
            for block, term in zip(self._blocks, self._many, strict=True):
                of_many[block, j] = np.bincount(term.codes, column, term.size)
        return of_one, of_many


def _table(rows: Term, columns: Term, weights: Floats) -> Floats:
    """The weights added up by levels of two terms."""
    together = rows.codes * columns.size + columns.codes
    return np.bincount(together, weights, rows.size * columns.size).reshape(rows.size, columns.size)


def _inverse_of(matrix: Floats) -> tuple[Floats, float]:
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
    inverse, _failed = lapack.dpotri(factor, lower=1)
    return np.tril(inverse) + np.tril(inverse, -1).T, log_det


def _inverse_beside_one(matrix: Floats, root: Floats) -> tuple[Floats, float]:
    """(I + ΛAΛ)⁻¹ for a diagonal Λ, and log|I + ΛAΛ|."""
    beside = root[:, None] * matrix * root
    beside[np.diag_indices(len(root))] += 1.0
    return _inverse_of(beside)
