"""How long a control chart runs before it signals: on average, and with what chance by the nth reading.

Zero state: the chart starts at its centre, and readings are normal, independent and shifted from the first on.
Limits are taken as known. Limits from a few readings signal more often, and so do readings that follow each other
(see `randomness`); a page that promises "once in 370 quiet checks" says so.

Each scheme is a Markov chain (Brook and Evans 1972, Biometrika 59:539, doi:10.1093/biomet/59.3.539) whose states are
the nodes of a Gauss-Legendre rule, not equal steps: the integral equation of Crowder 1987, Technometrics 29:401,
doi:10.1080/00401706.1987.10488267, solved by Nyström's method, exact to nine figures or so with some forty nodes. An
outer limit or a moving range cuts the integrand short, so that each piece is integrated for itself.
Lucas and Saccucci 1990, Exponentially weighted moving average control schemes, Technometrics 32:1,
doi:10.1080/00401706.1990.10484583. Lucas and Crosier 1982, Fast initial response for CUSUM quality-control schemes,
Technometrics 24:199, doi:10.1080/00401706.1982.10487759: two arms together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice, pairwise, repeat
from math import ceil, inf, isfinite, log, sqrt
from typing import Literal

import numpy as np
from scipy import optimize, sparse, special, stats
from scipy.sparse.linalg import spsolve

from brewbar.words import gettext as _
from calibration.statistics.chart_constants import constants, range_below
from calibration.statistics.pieces import Pieces, normal_density, operator
from calibration.statistics.rows import Floats
from calibration.statistics.rule_chain import rule_chain
from calibration.statistics.run_rules import Rules
from calibration.statistics.schemes import Averages, Cusum, Ewma, Individuals, Scheme

SETTLED = 1e-7  # limits of an average this close to their long-run width count as steady


@dataclass(frozen=True, slots=True)
class Chain:
    """first: from the start to the states, shape (s₁,); moves: from state to state, (s, s); opening: while limits
    still widen, the moves before those, shapes (s₁, s₂), (s₂, s₃), …, made one by one. All without a signal."""

    first: Floats
    moves: Floats | sparse.csr_array
    opening: Callable[[], Iterable[Floats]] = tuple


def average_run_length(scheme: Scheme, shift: float = 0.0) -> float:
    """Readings (groups, for averages) up to and with the first signal, on average; `shift` in σ.

    Infinite where nothing ever signals.
    """
    _number(shift)
    if isinstance(scheme, Cusum):
        # Lucas and Crosier 1982, eq. 1, exact for two arms with one k and h: 1/ARL = 1/ARL₊ + 1/ARL₋
        arms = [_mean(_cusum_arm(scheme, side * shift)) for side in (1, -1)]
        often = sum(1 / arm for arm in arms)
        return 1 / often if often > 0 else inf
    return _mean(_chain(scheme, shift))


def promise(scheme: Scheme) -> str:
    """How often chance alone signals, in a sentence, to three figures."""
    quiet = average_run_length(scheme)
    if quiet == inf:
        return _("Chance alone never makes this chart signal.")
    return _("Chance alone makes this chart signal about once in %(checks)s quiet checks.") % {
        "checks": f"{float(f'{quiet:.3g}'):,.0f}" if quiet >= 10 else f"{quiet:.1f}"
    }


def signal_by(scheme: Scheme, readings: int, shift: float = 0.0) -> Floats:
    """Chance of a signal by reading 1, 2, … ``readings``, shape (readings,).

    Of a CUSUM, the arm on the side of the shift: the other's signal would not be seeing it.
    """
    _number(shift)
    if readings < 1:
        raise ValueError(_("Ask for one reading or more."))
    chain = _cusum_arm(scheme, abs(shift)) if isinstance(scheme, Cusum) else _chain(scheme, shift)
    quiet, share = [], chain.first
    for moves in islice(_each(chain), readings):
        quiet.append(share.sum())
        share = share @ moves
    return np.asarray(np.clip(1 - np.array(quiet), 0.0, 1.0), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Widths:
    """Limits for a wanted distance between false alarms, in the units of `Ewma`.

    width: of the moving average; outer: of a single reading, None without; arl: readings between false alarms of
    both together; arl_average, arl_outer: of each alone, arl_outer infinite without an outer limit.
    """

    width: float
    outer: float | None
    arl: float
    arl_average: float
    arl_outer: float


@lru_cache(maxsize=64)
def width_for(
    arl: float, lambda_: float, outer: float | Literal["tuned"] | None = None, steady: bool = True
) -> Widths:
    """Limits of an EWMA chart that signals falsely once in ``arl`` readings on average.

    outer: None for no outer limit; a number of σ, and the average gets what false alarms that leaves; or "tuned",
    for both as wide as makes each alone signal as seldom as the other.
    """
    if not (isfinite(arl) and arl > 1):
        raise ValueError(_("The readings between false alarms must be a number above 1."))
    if outer is None:
        width = _width(arl, lambda_, None, steady)
        return Widths(width, None, arl, arl, inf)
    if outer != "tuned":
        alone = 1 / (2 * float(special.ndtr(-outer)))
        if alone <= arl * (1 + 1e-6):
            raise ValueError(
                _(
                    "An outer limit of %(outer)s σ signals falsely once in %(alone)d readings by itself: "
                    "set it wider, or ask for fewer readings between false alarms."
                )
                % {"outer": f"{outer:g}", "alone": round(alone)}
            )
        width = _width(arl, lambda_, outer, steady)
        return Widths(width, outer, arl, average_run_length(Ewma(lambda_, width, None, steady)), alone)

    def tuned(width: float) -> tuple[float, float, float]:
        each = average_run_length(Ewma(lambda_, width, None, steady))
        limit = float(-special.ndtri(0.5 / each))
        return each, limit, average_run_length(Ewma(lambda_, width, limit, steady))

    low = _width(arl, lambda_, None, steady)
    high = low + 0.1
    while tuned(high)[2] < arl:
        high += 0.1
    width = _root(lambda w: log(tuned(w)[2] / arl), low, high)
    each, limit, together = tuned(width)
    return Widths(width, limit, together, each, each)


@lru_cache(maxsize=64)
def height_for(arl: float, k: float = 0.5) -> float:
    """Decision limit h of a two-sided CUSUM that signals falsely once in ``arl`` readings on average."""
    if not (isfinite(arl) and arl > 1):
        raise ValueError(_("The readings between false alarms must be a number above 1."))
    least = average_run_length(Cusum(k, 1e-6))
    if arl <= least:
        raise ValueError(
            _("With an allowance k of %(k)s, false alarms are %(least)s readings apart or more.")
            % {"k": f"{k:g}", "least": f"{least:.1f}"}
        )
    high = 2.0
    while average_run_length(Cusum(k, high)) < arl:
        high *= 2
    return _root(lambda h: log(average_run_length(Cusum(k, h)) / arl), 1e-6, high)


def _width(arl: float, lambda_: float, outer: float | None, steady: bool) -> float:
    def miss(width: float) -> float:
        return log(average_run_length(Ewma(lambda_, width, outer, steady)) / arl)

    # no further out than need be: where next to nothing signals, the chain's equations have no digits left
    high = 2.0
    while miss(high) < 0:
        high += 0.5
    return _root(miss, 0.005, high)


def _root(miss: Callable[[float], float], low: float, high: float) -> float:
    return float(optimize.brentq(miss, low, high, xtol=1e-9, rtol=1e-10))


def _number(shift: float) -> None:
    if not isfinite(shift):
        raise ValueError(_("A shift must be a number."))


def _each(chain: Chain) -> Iterator[Floats | sparse.csr_array]:
    yield from chain.opening()
    yield from repeat(chain.moves)


def _mean(chain: Chain) -> float:
    """Σ P(N > n) for n = 0, 1, …: reading by reading while limits widen, then all at once, (I − moves)⁻¹ 1."""
    size = chain.moves.shape[0]
    if isinstance(chain.moves, np.ndarray):
        further = _solved(np.eye(size) - chain.moves)
    else:
        further = spsolve((sparse.eye_array(size) - chain.moves).tocsc(), np.ones(size))
    mean, share = 1.0, chain.first
    for moves in chain.opening():
        mean += float(share.sum())
        share = share @ moves
    mean += float(share @ further)
    return mean if mean > 0 and isfinite(mean) else inf


def _solved(matrix: Floats) -> Floats:
    try:
        return np.asarray(np.linalg.solve(matrix, np.ones(len(matrix))), dtype=np.float64)
    except np.linalg.LinAlgError:  # a state that is never left
        return np.full(len(matrix), inf)


def _chain(scheme: Individuals | Averages | Ewma | Rules, shift: float) -> Chain:
    match scheme:
        case Rules():
            moves = rule_chain(scheme, shift).moves
            return Chain(moves[[0], :].toarray()[0], moves)
        case Averages():
            quiet = np.array([_quiet_group(scheme, shift)])
            return Chain(quiet, quiet[:, None])
        case Individuals():
            return _individuals(scheme, shift)
        case Ewma():
            return _ewma(scheme, shift)


def _quiet_group(scheme: Averages, shift: float) -> float:
    """Mean and spread of a normal sample are independent, and a shift leaves the spread as it is."""
    moved = shift * sqrt(scheme.n)
    quiet = float(special.ndtr(scheme.width - moved) - special.ndtr(-scheme.width - moved))
    if scheme.spread is None:
        return quiet
    c, n = constants(scheme.n), scheme.n
    if scheme.spread == "R":
        low, high = (max(0.0, c.d2 + side * scheme.width * c.d3) for side in (-1, 1))
        return quiet * float(range_below(n, high) - range_below(n, low))
    s_sd = sqrt(1 - c.c4**2)
    low, high = (max(0.0, c.c4 + side * scheme.width * s_sd) for side in (-1, 1))
    return quiet * float(stats.chi2.cdf((n - 1) * high**2, n - 1) - stats.chi2.cdf((n - 1) * low**2, n - 1))


def _individuals(scheme: Individuals, shift: float) -> Chain:
    """The state is the last reading: the next must be within the limits, and near it."""
    width, apart = scheme.width, scheme.moving_range
    reach = inf if apart is None else apart
    pieces = Pieces.between(-width, width, [width - reach, reach - width], 24)

    def window(source: Floats) -> tuple[Floats, Floats]:
        return source - reach, source + reach

    def density(_source: Floats, y: Floats) -> Floats:
        return normal_density(y - shift)

    anywhere = pieces.weights * normal_density(pieces.nodes - shift)
    return Chain(anywhere, operator(pieces.nodes, pieces, window, density))


def _ewma(scheme: Ewma, shift: float) -> Chain:
    keep, weight = 1 - scheme.lambda_, scheme.lambda_
    reach = inf if scheme.outer is None else weight * scheme.outer

    def window(source: Floats) -> tuple[Floats, Floats]:
        return keep * source - reach, keep * source + reach

    def density(source: Floats, z: Floats) -> Floats:
        return normal_density((z - keep * source) / weight - shift) / weight

    def pieces(limit: float, following: float) -> Pieces:
        # where the outer limit first reaches beyond the average's, the chance of a signal has a bend
        bend = (following - reach) / keep if keep > 0 and isfinite(reach) else inf
        return Pieces.between(-limit, limit, [bend, -bend], 24 + ceil(4 * limit / weight))

    # the limits are within SETTLED of their long-run width from this age on
    ages = 1 if scheme.steady or keep == 0 else max(1, ceil(log(SETTLED) / (2 * log(keep))))
    limits = [*scheme.limits(ages).tolist(), scheme.limit, scheme.limit]
    stages = [pieces(limit, following) for limit, following in pairwise(limits)]

    def opening() -> Iterable[Floats]:
        return (operator(before.nodes, after, window, density) for before, after in pairwise(stages))

    first = operator(np.zeros(1), stages[0], window, density)[0]
    return Chain(first, operator(stages[-1].nodes, stages[-1], window, density), opening)


def _cusum_arm(scheme: Cusum, shift: float) -> Chain:
    """One arm: the sum is 0 with a chance of its own, or anywhere up to h."""
    k, h = scheme.k, scheme.h
    pieces = Pieces.between(0.0, h, [], 24 + ceil(4 * h))
    source = np.concatenate(([0.0], pieces.nodes))
    back = special.ndtr(k - source - shift)[:, None]
    onward = pieces.weights * normal_density(pieces.nodes - source[:, None] + k - shift)
    moves = np.hstack((back, onward))
    return Chain(moves[0], moves)
