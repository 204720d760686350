"""Run rules as a finite chain: what must be remembered of the past, and how often chance alone completes a pattern.

Champ and Woodall 1987, Exact results for Shewhart control charts with supplementary runs rules, Technometrics
29:393, doi:10.1080/00401706.1987.10488266: a state holds the earlier readings that can still help to complete a
pattern. States are not merged further: a few hundred are solved in no time.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import sparse, special

from brewbar.words import gettext as _
from calibration.statistics.run_rules import Alternation, Outside, Pattern, Rules, SameSide, Trend, Within

Memory = tuple[int, ...]  # how many readings ago what counts was seen, or how long a run is


@dataclass(frozen=True, slots=True)
class RuleChain:
    """moves: chance from state to state without a signal, shape (s, s), sparse; the first state is the start."""

    moves: sparse.csr_array

    @property
    def states(self) -> int:
        return int(self.moves.shape[0])


def rule_chain(rules: Rules, shift: float) -> RuleChain:
    """States that can be reached before a signal, for independent normal readings shifted by ``shift`` σ."""
    zones = _zones(rules.patterns, shift)
    start: tuple[Memory, ...] = tuple(_nothing(pattern) for pattern in rules.patterns)
    numbers, queue = {start: 0}, [start]
    rows, columns, chances = [], [], []
    for state in queue:  # grows while it is read
        for z, chance in zones:
            after = tuple(
                _step(pattern, memory, z) for pattern, memory in zip(rules.patterns, state, strict=True)
            )
            kept = tuple(memory for memory in after if memory is not None)
            if len(kept) < len(after):
                continue
            if kept not in numbers:
                numbers[kept] = len(numbers)
                queue.append(kept)
            rows.append(numbers[state])
            columns.append(numbers[kept])
            chances.append(chance)
    size = len(numbers)
    return RuleChain(sparse.csr_array((chances, (rows, columns)), shape=(size, size)))


def _zones(patterns: tuple[Pattern, ...], shift: float) -> list[tuple[float, float]]:
    """A place in each zone that the patterns tell apart, and the chance that a reading falls there."""
    lines = {0.0}
    for pattern in patterns:
        match pattern:
            case SameSide(beyond=line) | Outside(beyond=line) | Within(within=line):
                lines |= {line, -line}
            case Trend() | Alternation():
                raise ValueError(
                    _(
                        "How often rules on rising, falling or alternating readings signal by chance is not "
                        "known exactly beside others: leave out Nelson's 3 and 4."
                    )
                )
    edges: list[float] = [-np.inf, *sorted(lines), np.inf]
    places = np.clip(edges, min(lines) - 1, max(lines) + 1)
    return [
        (float(places[i : i + 2].mean()), _between(low - shift, high - shift))
        for i, (low, high) in enumerate(pairwise(edges))
    ]


def _between(low: float, high: float) -> float:
    # from the nearer tail, so that no digits are lost far out
    return float(
        special.ndtr(high) - special.ndtr(low) if low < 0 else special.ndtr(-low) - special.ndtr(-high)
    )


def _nothing(pattern: Pattern) -> Memory:
    return (0, 0) if isinstance(pattern, Outside) else (0,) if isinstance(pattern, Within) else ()


def _step(pattern: Pattern, memory: Memory, z: float) -> Memory | None:
    """The memory after one more reading; None if it completes the pattern."""
    match pattern:
        case SameSide(k, m, beyond):
            # upper hits as positive ages, lower hits as negative ones; 1 is the latest reading
            upper = _seen(tuple(age for age in memory if age > 0), z > beyond, k, m)
            lower = _seen(tuple(-age for age in memory if age < 0), -z > beyond, k, m)
            return None if upper is None or lower is None else upper + tuple(-age for age in lower)
        case Within(m, within):
            run = memory[0] + 1 if abs(z) < within else 0
            return None if run == m else (run,)
        case Outside(m, beyond):
            if abs(z) <= beyond:
                return (0, 0)
            outside, tail = min(memory[0] + 1, m), memory[1]
            side = 1 if z > 0 else -1
            tail = side * min(abs(tail) + 1 if tail * side > 0 else 1, m)
            return None if outside == m and abs(tail) < m else (outside, tail)
        case _:
            raise AssertionError(pattern)


def _seen(ages: Memory, hit: bool, k: int, m: int) -> Memory | None:
    ages = ((0,) if hit else ()) + ages
    if hit and len(ages) >= k:
        return None
    # a hit is remembered while it and those after it can still be k of m
    return tuple(age + 1 for i, age in enumerate(ages) if i + 1 + (m - 1 - age) >= k)
