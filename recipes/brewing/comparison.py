"""Two plans side by side: every number of theirs, and what follows from them, with what differs; and in words what
the rules of the trade expect of the second.

Pours stand beside one another by their order, so that "pour 2" is pour 2 on both sides.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import zip_longest

from recipes.brewing.bed import Brewer
from recipes.brewing.expectations import Expected, expect
from recipes.brewing.findings import Conditions
from recipes.brewing.foresight import foresee
from recipes.brewing.pours import Kettle, Pour, PourPlan, added_g, brew_ratio, ends_at_s

Value = float | str | None

AT_THE_BOIL = "at-the-boil"
"""Stands for a temperature where a plan asks for no number."""
_SAME = 0.0005


class Mark(StrEnum):
    """How the two sides of a line stand to one another."""

    SAME = "same"
    CHANGED = "changed"
    ONLY_A = "only-a"
    ONLY_B = "only-b"


@dataclass(frozen=True, slots=True)
class Line:
    """One value on both sides; None where there is none. field: the attribute of a plan or pour, or what follows.

    follows: whether it is computed from others, so that it is not a difference of its own.
    """

    field: str
    a: Value
    b: Value
    follows: bool = False

    @property
    def mark(self) -> Mark:
        if self.a is None or self.b is None:
            return Mark.SAME if self.a is self.b else Mark.ONLY_B if self.a is None else Mark.ONLY_A
        apart = self.apart
        same = self.a == self.b if apart is None else abs(apart) < _SAME
        return Mark.SAME if same else Mark.CHANGED

    @property
    def apart(self) -> float | None:
        """`b` less `a`, where both are numbers."""
        if isinstance(self.a, str) or isinstance(self.b, str) or self.a is None or self.b is None:
            return None
        return self.b - self.a


@dataclass(frozen=True, slots=True)
class PourPair:
    """Pour `number` (from 1) of both plans; only_in: the one side that has it, or None if both do."""

    number: int
    lines: tuple[Line, ...]
    only_in: Mark | None = None

    @property
    def differs(self) -> bool:
        return self.only_in is not None or any(line.mark is not Mark.SAME for line in self.lines)


@dataclass(frozen=True, slots=True)
class Lines:
    """facts: the plan's own numbers; sums: what follows from them; pours: pour by pour."""

    facts: tuple[Line, ...]
    sums: tuple[Line, ...]
    pours: tuple[PourPair, ...]

    @property
    def differences(self) -> int:
        """How many numbers differ; a pour that only one side has counts once."""
        alone = sum(pair.only_in is not None for pair in self.pours)
        both = (line for pair in self.pours if pair.only_in is None for line in pair.lines)
        return alone + sum(line.mark is not Mark.SAME and not line.follows for line in (*self.facts, *both))


@dataclass(frozen=True, slots=True)
class Comparison:
    """lines: number by number; expected: what the second plan brings that the first does not."""

    lines: Lines
    expected: Expected


def compare(
    a: PourPlan,
    b: PourPlan,
    kettle: Kettle | None = None,
    brewer: Brewer | None = None,
    cafe: Conditions | None = None,
) -> Comparison:
    """Both plans with the same equipment in the same place. Raises what `foresee` raises."""
    one, other = (foresee(plan, kettle, brewer, conditions=cafe) for plan in (a, b))
    return Comparison(line_by_line(a, b), expect(one, other))


def line_by_line(a: PourPlan, b: PourPlan) -> Lines:
    return Lines(tuple(_facts(a, b)), tuple(_sums(a, b)), tuple(_pours(a, b)))


_FACTS: tuple[tuple[str, Callable[[PourPlan], Value]], ...] = (
    ("dose_g", lambda plan: plan.dose_g),
    ("water_g", lambda plan: plan.water_g),
    ("water_temperature_C", lambda plan: AT_THE_BOIL if plan.at_the_boil else plan.water_temperature_C),
    ("bypass_g", lambda plan: plan.bypass_g or None),
    ("ice_g", lambda plan: plan.ice_g or None),
    ("tds_target", lambda plan: plan.tds_target),
    ("tds_tolerance", lambda plan: None if plan.tds_target is None else plan.tds_tolerance),
    ("ey_target", lambda plan: plan.ey_target),
    ("ey_tolerance", lambda plan: None if plan.ey_target is None else plan.ey_tolerance),
    ("brew_time_s", lambda plan: plan.brew_time_s),
    ("brew_time_tolerance_s", lambda plan: None if plan.brew_time_s is None else plan.brew_time_tolerance_s),
)


def _facts(a: PourPlan, b: PourPlan) -> Iterator[Line]:
    for field, value in _FACTS:
        yield Line(field, value(a), value(b))


def _sums(a: PourPlan, b: PourPlan) -> Iterator[Line]:
    for field, value in _SUMS:
        yield Line(field, value(a), value(b), follows=True)


def pouring_s(plan: PourPlan) -> float | None:
    """Seconds in which water is poured, pauses left out; None while one of the pours has no end yet."""
    ends = ends_at_s(plan)
    lasts = [
        None if end is None or pour.starts_at_s is None else end - pour.starts_at_s
        for pour, end in zip(plan.pours, ends, strict=True)
    ]
    known = [seconds for seconds in lasts if seconds is not None]
    return sum(known) if known and len(known) == len(lasts) else None


def _last_end_s(plan: PourPlan) -> float | None:
    return max((end for end in ends_at_s(plan) if end is not None), default=None)


def _drawdown_s(plan: PourPlan) -> float | None:
    end = _last_end_s(plan)
    if end is None or plan.brew_time_s is None or plan.brew_time_s < end:
        return None
    return plan.brew_time_s - end


_SUMS: tuple[tuple[str, Callable[[PourPlan], Value]], ...] = (
    ("brew_ratio", brew_ratio),
    ("pours", lambda plan: float(len(plan.pours))),
    ("pouring_s", pouring_s),
    ("ends_at_s", _last_end_s),
    ("drawdown_s", _drawdown_s),
)


def _pours(a: PourPlan, b: PourPlan) -> Iterator[PourPair]:
    sides = zip_longest(_values(a), _values(b))
    for number, (left, right) in enumerate(sides, start=1):
        only_in = Mark.ONLY_A if right is None else Mark.ONLY_B if left is None else None
        left, right = left or {}, right or {}
        fields = left or right
        lines = tuple(Line(name, left.get(name), right.get(name), name in _FOLLOWS) for name in fields)
        yield PourPair(number, lines, only_in)


_FOLLOWS = frozenset({"ends_at_s", "added_g"})


def _values(plan: PourPlan) -> Iterator[dict[str, Value]]:
    for pour, end, added in zip(plan.pours, ends_at_s(plan), added_g(plan), strict=True):
        yield _of_pour(pour, end, added)


def _of_pour(pour: Pour, end_s: float | None, added: float | None) -> dict[str, Value]:
    return {
        "starts_at_s": pour.starts_at_s,
        "ends_at_s": end_s,
        "to_g": pour.to_g,
        "added_g": added,
        "pattern": pour.pattern.value,
        "flow_g_s": pour.flow_g_s,
        "spout_height_mm": pour.spout_height_mm,
        "temperature_C": pour.temperature_C,
        "after": pour.after.value or None,
        "note": pour.note or None,
    }
