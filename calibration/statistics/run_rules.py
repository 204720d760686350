"""Run rules: patterns of readings about a centre that chance alone seldom makes.

z is a reading less the centre, over the standard deviation. Western Electric Company 1956, Statistical Quality
Control Handbook: rules 1 to 4 (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2). Nelson 1984, The Shewhart
control chart: tests for special causes, J. Quality Technology 16:237, doi:10.1080/00224065.1984.11978921:
tests 1 to 8.

The handbooks leave open what the house settles so: a signal is given at the reading that completes a pattern, which
is itself part of it; "beyond" and "within" are strict, so a reading exactly on a line is neither, and one exactly on
the centre ends a run on a side; equal neighbours end a trend and an alternation; "k of m" may be complete before
there are m readings; a trend of six readings has five steps; eight readings outside 1σ count only with both sides
among them (Nelson's mixture). A pattern that goes on signals at every reading that completes it again.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewbar.words import gettext as _
from calibration.statistics.rows import Floats, finite

Flags = NDArray[np.bool_]


class Handbook(StrEnum):
    WESTERN_ELECTRIC = "western-electric"
    NELSON = "nelson"


@dataclass(frozen=True, slots=True)
class SameSide:
    """k of m readings in a row beyond so many standard deviations, all k on one side; the last is one of them."""

    k: int
    m: int
    beyond: float


@dataclass(frozen=True, slots=True)
class Outside:
    """m readings in a row outside so many standard deviations, on either side, both sides among them."""

    m: int
    beyond: float


@dataclass(frozen=True, slots=True)
class Within:
    """m readings in a row within so many standard deviations."""

    m: int
    within: float


@dataclass(frozen=True, slots=True)
class Trend:
    """m readings in a row, each above the one before, or each below."""

    m: int


@dataclass(frozen=True, slots=True)
class Alternation:
    """m readings in a row, up and down in turn."""

    m: int


Pattern = SameSide | Outside | Within | Trend | Alternation

PATTERNS: dict[Handbook, dict[int, Pattern]] = {
    Handbook.WESTERN_ELECTRIC: {
        1: SameSide(1, 1, 3),
        2: SameSide(2, 3, 2),
        3: SameSide(4, 5, 1),
        4: SameSide(8, 8, 0),
    },
    Handbook.NELSON: {
        1: SameSide(1, 1, 3),
        2: SameSide(9, 9, 0),
        3: Trend(6),
        4: Alternation(14),
        5: SameSide(2, 3, 2),
        6: SameSide(4, 5, 1),
        7: Within(15, 1),
        8: Outside(8, 1),
    },
}


@dataclass(frozen=True, slots=True)
class Rules:
    """Which rules of which handbook are watched together, by their numbers there."""

    numbers: tuple[int, ...] = (1, 2, 3, 4)
    handbook: Handbook = Handbook.WESTERN_ELECTRIC

    def __post_init__(self) -> None:
        if not self.numbers:
            raise ValueError(_("Name at least one rule."))
        known = PATTERNS[self.handbook]
        for number in self.numbers:
            if number not in known:
                raise ValueError(
                    _("Rule %(number)s is not one of the rules 1 to %(last)d of this handbook.")
                    % {"number": number, "last": max(known)}
                )

    @property
    def patterns(self) -> tuple[Pattern, ...]:
        return tuple(PATTERNS[self.handbook][number] for number in self.numbers)


def western_electric(z: ArrayLike, numbers: Iterable[int] = (1, 2, 3, 4)) -> dict[int, tuple[int, ...]]:
    """By rule, the readings that complete it, counted from 1. z: shape (n,), in standard deviations."""
    return completed(z, Rules(tuple(numbers)))


def nelson(z: ArrayLike, numbers: Iterable[int] = range(1, 9)) -> dict[int, tuple[int, ...]]:
    """By test, the readings that complete it, counted from 1. z: shape (n,), in standard deviations."""
    return completed(z, Rules(tuple(numbers), Handbook.NELSON))


def completed(z: ArrayLike, rules: Rules) -> dict[int, tuple[int, ...]]:
    """By rule of ``rules``, the readings that complete it, counted from 1."""
    values = finite(z)
    found = zip(rules.numbers, rules.patterns, strict=True)
    return {number: tuple((np.flatnonzero(_completes(values, p)) + 1).tolist()) for number, p in found}


def _completes(z: Floats, pattern: Pattern) -> Flags:
    found: Flags
    match pattern:
        case SameSide(k, m, beyond):
            upper, lower = z > beyond, -z > beyond
            found = (upper & (_among_last(upper, m) >= k)) | (lower & (_among_last(lower, m) >= k))
        case Outside(m, beyond):
            above, below = _among_last(z > beyond, m), _among_last(-z > beyond, m)
            found = (above + below == m) & (above > 0) & (below > 0)
        case Within(m, within):
            found = _among_last(np.abs(z) < within, m) == m
        case Trend(m):
            step = np.diff(z, prepend=z[0])
            found = (_among_last(step > 0, m - 1) == m - 1) | (_among_last(step < 0, m - 1) == m - 1)
        case Alternation(m):
            step = np.sign(np.diff(z, prepend=z[0]))
            turned = np.concatenate(([False], step[1:] * step[:-1] < 0))
            found = _among_last(turned, m - 2) == m - 2
    return found


def _among_last(hits: Flags, m: int) -> NDArray[np.int64]:
    """How many of the last m readings are hits, at each reading; fewer than m at the start."""
    total = np.cumsum(hits, dtype=np.int64)
    earlier = np.concatenate((np.zeros(m, dtype=total.dtype), total[:-m]))[: len(total)]
    return total - earlier


def words(rule: str) -> str:
    """What a rule watches for, in words; ``rule`` as a chart's signal names it, such as "nelson 3"."""
    handbook, _space, number = rule.partition(" ")
    pattern = PATTERNS[Handbook(handbook)][int(number)]
    match pattern:
        case SameSide(1, 1, beyond):
            return _("a reading beyond %(sigmas)g σ") % {"sigmas": beyond}
        case SameSide(k, m, 0) if k == m:
            return _("%(m)d readings in a row on one side of the centre") % {"m": m}
        case SameSide(k, m, beyond):
            return _("%(k)d of %(m)d readings in a row beyond %(sigmas)g σ on one side") % {
                "k": k,
                "m": m,
                "sigmas": beyond,
            }
        case Outside(m, beyond):
            return _("%(m)d readings in a row outside %(sigmas)g σ, on both sides") % {
                "m": m,
                "sigmas": beyond,
            }
        case Within(m, within):
            return _("%(m)d readings in a row within %(sigmas)g σ") % {"m": m, "sigmas": within}
        case Trend(m):
            return _("%(m)d readings in a row that only rise or only fall") % {"m": m}
        case Alternation(m):
            return _("%(m)d readings in a row that rise and fall in turn") % {"m": m}
