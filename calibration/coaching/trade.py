"""The shape of one thing that may be behind a signature, as the trade knows it: common practice, no source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from calibration.coaching.context import Code, Off
from calibration.coaching.signature import Move, Quantity


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """key: its name, never changed; code: the cause it comes under.

    expects: how each quantity moves by it; any_way: of which one moves, either way; leaves: what it does not move,
    unless it is expected to; facts: which of `facts.Fact` bear it out; needs_fact: it is not thought of without one;
    rules: of the trade; first_for: R13, when it is looked at first; shared: everybody of that day has it, so it makes
    no difference between two of them; hot: trying the change wants the cautions; does: what the change does beyond
    undoing what is expected. says, change, against: in a sentence, marked for the catalogue.
    """

    key: str
    code: Code
    says: str
    change: str
    against: str
    expects: Mapping[Quantity, Move] = field(default_factory=dict)
    any_way: tuple[Quantity, ...] = ()
    leaves: tuple[Quantity, ...] = (Quantity.BEVERAGE, Quantity.SLURRY)
    facts: tuple[str, ...] = ()
    needs_fact: bool = False
    rules: tuple[str, ...] = ()
    first_for: Off | None = None
    shared: bool = False
    hot: bool = False
    does: Mapping[Quantity, Move] = field(default_factory=dict)
