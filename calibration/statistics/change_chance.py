"""How often chance alone makes the largest F over all places of a change as large as this.

Without a change, and with σ known, the difference of means before and after place t, over its standard error, is a
Gauss-Markov chain in t: correlation √(s(n − t)/(t(n − s))) of places s < t (James, James and Siegmund 1987, Tests for a
change-point, Biometrika 74:71, doi:10.1093/biomet/74.1.71). Its chance to leave ±c is integrated place by place.
With σ estimated, the chances of one place and of each pair of neighbours are exact (Worsley 1982, An improved
Bonferroni inequality and applications, Biometrika 69:297, doi:10.1093/biomet/69.2.297: their sum is a bound from
above), and what the bound overstates is taken from the case of a known σ. That leaves p up to 7 % of itself too small
in short series; the case of a known σ, whose chance is exact and is the mean of the others over χ², shows by how much.
By simulation p is then right to 4 % of itself, from 6 readings up, and mostly to 1 %.

Siegmund 1985, Sequential analysis, doi:10.1007/978-1-4757-1862-1, 10.2: a walk in steps of standard deviation τ crosses
a line as a path without steps crosses one 0.5826 τ further out.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from math import ceil

import numpy as np
from scipy import special

from calibration.statistics.pieces import gauss_legendre, normal_density
from calibration.statistics.rows import Floats

# a longer series is stood for by one of this many places, its line moved by Siegmund's correction
MOST_STEPS = 160
CORRECTED_UP_TO = 60  # readings; σ is known well enough above
OVERSHOOT = 0.5826  # −ζ(½)/√(2π): Siegmund 1985, 10.2


def chance_of_sup_f(f: float, n: int, first: int, last: int) -> float:
    """P(largest F over changes after first, …, last of n normal readings ≥ f), none having happened."""
    single = float(special.fdtrc(1, n - 2, f))
    if single <= 0:
        return 0.0
    if single >= 1:
        return 1.0
    places = np.arange(first, last + 1) / n
    c = _normal_value(np.array([single]))
    if len(places) > MOST_STEPS:  # σ is known well enough
        fewer = np.linspace(places[0], places[-1], MOST_STEPS)
        moved = c - OVERSHOOT * (_mean_step(fewer) - _mean_step(places))
        return min(1.0, max(single, float(_leaves(fewer, np.maximum(moved, 0.0))[0])))
    share = f / (n - 2 + f)
    chance = float(_roughly(np.array([share]), n, places)[0])
    if n <= CORRECTED_UP_TO:
        chance *= float(_leaves(places, c)[0]) / _mixed(float(c[0]) ** 2, n, places)
    return min(1.0, max(single, chance))


def _normal_value(single: Floats) -> Floats:
    return np.asarray(-special.ndtri(single / 2))


def _roughly(shares: Floats, n: int, places: Floats) -> Floats:
    """Chance that one place explains more than such a share of the squares; `_leaves` scaled by the two bounds."""
    single = special.fdtrc(1, n - 2, (n - 2) * shares / (1 - shares))
    c = _normal_value(single)
    known = [_entered(places, partial(_length_above, value)) for value in c.tolist()]
    estimated = [_entered(places, partial(_share_above, share, n)) for share in shares.tolist()]
    return np.minimum(1.0, _leaves(places, c) * (single + estimated) / (single + known))


def _length_above(c: float, q: Floats) -> Floats:
    """P(χ² of 2 > q·c²)."""
    return np.asarray(np.exp(-0.5 * c * c * q))


def _share_above(share: float, n: int, q: Floats) -> Floats:
    """P(two of n − 1 directions hold more than q·share of the squares)."""
    return np.asarray(np.maximum(1 - share * q, 0.0) ** ((n - 3) / 2))


def _mixed(square: float, n: int, places: Floats) -> float:
    """Mean over R ~ χ² with n − 1 degrees of freedom of the chance for a share square/R: that of a known σ."""
    nodes, weights = gauss_legendre(40)
    low, high = square, 2 * square + float(special.chdtri(n - 1, 1e-13))
    r, dr = (high + low) / 2 + (high - low) / 2 * nodes, (high - low) / 2 * weights
    density = np.exp((n - 3) / 2 * np.log(r / 2) - r / 2 - special.gammaln((n - 1) / 2)) / 2
    # what adds next to nothing, where nearly all of the squares would have to be explained, costs as much as the rest
    single = special.fdtrc(1, n - 2, (n - 2) * square / (r - square))
    kept = single * density > 1e-12 * (single * density).max()
    return float((dr * density)[kept] @ _roughly(square / r[kept], n, places))


def _entered(places: Floats, beyond: Callable[[Floats], Floats]) -> float:
    """Sum over neighbours of P(beyond the line at the second, not at the first).

    Two neighbours are the projections of one vector of any direction in the plane on two axes at an angle α, so that
    only its length matters: ``beyond(q)`` is the chance that its square is above q times the line's.
    """
    angle = np.arccos(_steps(places)[0])[:, None]
    unit, weights = gauss_legendre(24)
    # both ends of the arc where one axis is passed and the other is not, and where the arcs meet at the far side
    near = angle / 4 * (unit + 1)
    entering = beyond(1 / np.cos(near) ** 2) - beyond(1 / np.sin(near) ** 2)
    return float((2 / np.pi * angle / 4 * weights * entering).sum())


def _steps(places: Floats) -> tuple[Floats, Floats]:
    """Correlation of neighbouring places, and the standard deviation of one given the other."""
    odds = places / (1 - places)
    squared = odds[:-1] / odds[1:]
    return np.sqrt(squared), np.sqrt(1 - squared)


def _mean_step(places: Floats) -> float:
    # over log odds, in which the chain is stationary
    gaps = np.diff(np.log(places / (1 - places)))
    return float((gaps * _steps(places)[1]).sum() / gaps.sum())


def _leaves(places: Floats, c: Floats) -> Floats:
    """Chance to be beyond ±c at any of the places, for each c: added up where it happens, so that small ones keep
    their digits."""
    left = 2 * special.ndtr(-c)
    if len(places) == 1:
        return np.asarray(left)
    keep, sd = _steps(places)
    unit, weights = gauss_legendre(24 + ceil(3.6 * float(c.max()) / float(sd.min())))
    z, dz = c[:, None] * unit, c[:, None] * weights
    inside = normal_density(z)
    for rho, tau in zip(keep.tolist(), sd.tolist(), strict=True):
        mass = dz * inside
        out = special.ndtr(-(c[:, None] - rho * z) / tau) + special.ndtr(-(c[:, None] + rho * z) / tau)
        left = left + (mass * out).sum(axis=1)
        onward = normal_density((z[:, :, None] - rho * z[:, None, :]) / tau) / tau
        inside = (onward @ mass[:, :, None])[:, :, 0]
    return np.asarray(left)
