"""How often chance alone makes the largest F over all places of a change as large as this.

Without a change, and with σ known, the difference of means before and after place t, over its standard error, is a
Gauss-Markov chain in t: correlation √(s(n − t)/(t(n − s))) of places s < t (James, James and Siegmund 1987, Tests for a
change-point, Biometrika 74:71, doi:10.1093/biomet/74.1.71). Its chance to leave ±c is integrated place by place.
With σ estimated, the chances of one place and of each pair of neighbours are exact (Worsley 1982, An improved
Bonferroni inequality and applications, Biometrika 69:297, doi:10.1093/biomet/69.2.297: their sum is a bound from
above), and what the bound overstates is taken from the case of a known σ. By simulation p comes out up to 7 % of itself
too small for 6 to 20 readings (0.047 for 0.05), 3 % for 50, and right above.

Siegmund 1985, Sequential analysis, doi:10.1007/978-1-4757-1862-1, 10.2: a walk in steps of standard deviation τ crosses
a line as a path without steps crosses one 0.5826 τ further out.
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil

import numpy as np
from scipy import special

from calibration.statistics.pieces import Pieces, gauss_legendre, normal_density
from calibration.statistics.rows import Floats

MOST_STEPS = (
    160  # a longer series is stood for by one of this many places, its line moved by Siegmund's correction
)
OVERSHOOT = 0.5826  # −ζ(½)/√(2π): Siegmund 1985, 10.2


def chance_of_sup_f(f: float, n: int, first: int, last: int) -> float:
    """P(largest F over changes after first, …, last of n normal readings ≥ f), none having happened."""
    single = float(special.fdtrc(1, n - 2, f))
    if single <= 0:
        return 0.0
    if single >= 1:
        return 1.0
    c = float(-special.ndtri(single / 2))
    places = np.arange(first, last + 1) / n
    if len(places) > MOST_STEPS:  # σ is known well enough
        fewer = np.linspace(places[0], places[-1], MOST_STEPS)
        moved = c - OVERSHOOT * (_mean_step(fewer) - _mean_step(places))
        return min(1.0, max(single, _leaves(fewer, max(moved, 0.0))))
    known = single + _entered(places, lambda square: np.exp(-0.5 * c * c * square))
    share, power = f / (n - 2 + f), (n - 3) / 2
    estimated = single + _entered(places, lambda square: np.maximum(1 - share * square, 0.0) ** power)
    return min(1.0, max(single, _leaves(places, c) * estimated / known))


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


def _leaves(places: Floats, c: float) -> float:
    """Chance to be beyond ±c at any of the places: added up where it happens, so that small ones keep their digits."""
    left = 2 * float(special.ndtr(-c))
    if c == 0 or len(places) == 1:
        return left
    keep, sd = _steps(places)
    pieces = Pieces.between(-c, c, [], 24 + ceil(3.6 * c / float(sd.min())))
    z, weights = pieces.nodes, pieces.weights
    inside = normal_density(z)
    for rho, tau in zip(keep.tolist(), sd.tolist(), strict=True):
        mass = weights * inside
        out = special.ndtr(-(c - rho * z) / tau) + special.ndtr(-(c + rho * z) / tau)
        left += float(mass @ out)
        inside = normal_density((z[:, None] - rho * z) / tau) @ mass / tau
    return left
