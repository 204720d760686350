"""A first guess at variance components, by equating sums of squares to what they would be on average.

Henderson 1953, Estimation of variance and covariance components, Biometrics 9:226, doi:10.2307/3001853: method 1,
here on what the fixed part leaves.
"""

from __future__ import annotations

import numpy as np

from calibration.statistics.absorbing import inverse_of, table
from calibration.statistics.cells import Cells
from calibration.statistics.rows import Floats

LEAST = 0.02  # of the whole variance: none starts at 0 or below


def first_guess(cells: Cells) -> Floats:
    """Variances of the terms and, last, of the residual."""
    p, n, k = len(cells.columns), cells.n, len(cells.terms)
    products = cells.products()
    beta = inverse_of(products[:p, :p])[0] @ products[:p, p]
    left = n * (cells.means[p] - beta @ cells.means[:p])
    total = float(products[p, p] - products[:p, p] @ beta)
    rows = float(cells.rows)
    sums, shares = np.full(k + 1, total), np.full((k + 1, k + 1), rows)
    of_mean = np.ones(k + 1)
    counts = [term.counts(n) for term in cells.terms]
    for i, (term, count) in enumerate(zip(cells.terms, counts, strict=True)):
        of_mean[i] = float(count @ count) / rows
        sums[i] = float((np.bincount(term.codes, left, term.size) ** 2 / count).sum())
        shares[i, k] = term.size
        for j in range(i):
            shares[i, j], shares[j, i] = _shared(cells, i, j, count, counts[j])
    guess = np.linalg.lstsq(shares - of_mean, sums, rcond=None)[0]
    raised: Floats = np.maximum(guess, max(LEAST * total / rows, 1e-300))
    return raised


def _shared(cells: Cells, i: int, j: int, of_i: Floats, of_j: Floats) -> tuple[float, float]:
    """Σ n_ij²/n_i and Σ n_ij²/n_j over the levels that two terms share."""
    one, other, size = cells.terms[i], cells.terms[j], len(cells.n)
    if one.size == size:
        return float(cells.rows), float((cells.n**2 / of_j[other.codes]).sum())
    if other.size == size:
        return float((cells.n**2 / of_i[one.codes]).sum()), float(cells.rows)
    squares = table(one, other, cells.n) ** 2
    return float((squares.sum(1) / of_i).sum()), float((squares.sum(0) / of_j).sum())
