"""Integrals over what a chart may look like next, in pieces that are each smooth.

A function on an interval is known by its values at Gauss-Legendre nodes of each piece; over part of a piece it is
integrated by a rule of its own, its values there taken from the polynomial through the piece's nodes (Atkinson 1997,
The numerical solution of integral equations of the second kind, doi:10.1017/CBO9780511626340, chapter 4).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import isfinite

import numpy as np
from numpy.polynomial import legendre

from calibration.statistics.rows import Floats

Density = Callable[[Floats, Floats], Floats]
Window = Callable[[Floats], tuple[Floats, Floats]]


def normal_density(x: Floats) -> Floats:
    return np.asarray(np.exp(-0.5 * x * x) / np.sqrt(2 * np.pi))


@lru_cache(maxsize=256)
def gauss_legendre(m: int) -> tuple[Floats, Floats]:
    """Nodes and weights on −1 to 1; kept, since they cost more than most integrals."""
    nodes, weights = legendre.leggauss(m)
    return nodes, weights


@lru_cache(maxsize=64)
def _through_nodes(m: int) -> Floats:
    """From values at the nodes to the coefficients of the Legendre series through them."""
    nodes, weights = gauss_legendre(m)
    degrees = np.arange(m)
    return np.asarray(legendre.legvander(nodes, m - 1).T * weights * (degrees[:, None] + 0.5))


@dataclass(frozen=True, slots=True)
class Pieces:
    """edges: of the pieces, ascending; m: nodes in each; nodes: shape (pieces·m,)."""

    edges: tuple[float, ...]
    m: int
    nodes: Floats

    @classmethod
    def between(cls, low: float, high: float, cuts: Iterable[float], m: int) -> Pieces:
        """Of the interval, cut where a cut lies inside; about ``m`` nodes in all, and 12 or more in a piece."""
        slack = 1e-9 * (high - low)
        inside = sorted({cut for cut in cuts if isfinite(cut) and low + slack < cut < high - slack})
        edges = (low, *inside, high)
        each = max(12, -(-m // (len(edges) - 1)))
        own = gauss_legendre(each)[0]
        nodes = [(a + b) / 2 + (b - a) / 2 * own for a, b in pairwise(edges)]
        return cls(edges, each, np.concatenate(nodes))

    @property
    def weights(self) -> Floats:
        own = gauss_legendre(self.m)[1]
        return np.concatenate([(b - a) / 2 * own for a, b in pairwise(self.edges)])


def operator(sources: Floats, pieces: Pieces, window: Window, density: Density) -> Floats:
    """Matrix K with (K v)ᵢ = ∫ v(y) density(sᵢ, y) dy over the part of ``pieces`` in the window of source sᵢ.

    Shape (sources, nodes of the pieces).
    """
    low, high = window(sources)
    unit, weights = gauss_legendre(pieces.m)
    blocks = []
    for a, b in pairwise(pieces.edges):
        start, stop = np.clip(low, a, b), np.clip(high, a, b)
        half = ((stop - start) / 2)[:, None]
        y = ((start + stop) / 2)[:, None] + half * unit
        value = half * weights * density(sources[:, None], y)
        cut = ((start > a) | (stop < b)) & (stop > start)
        if cut.any():
            there = legendre.legvander(2 * (y[cut] - a) / (b - a) - 1, pieces.m - 1)
            value[cut] = np.einsum("iq,iqd->id", value[cut], there) @ _through_nodes(pieces.m)
        blocks.append(value)
    return np.hstack(blocks)
