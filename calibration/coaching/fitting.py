"""How well each hypothesis fits a signature, and in which order they are looked at.

Signs are counted before anything else, each alike: the more of them a hypothesis foretells, the sooner it is looked
at. Then come those that fewer speak against, then those that R13 looks at first, then those whose signs are surer.
So a sign that becomes surer never lowers a hypothesis that foretells it. A move the other way than foretold rules a
hypothesis out, and so do fewer than two independent signs: one always fits too much.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import log10

from calibration.coaching.context import Off
from calibration.coaching.facts import Fact
from calibration.coaching.signature import Against, Move, Quantity, Scope, Sign, Signature
from calibration.coaching.trade import Hypothesis
from calibration.coaching.trade_bar import COFFEE, DOSE, GRIND, KETTLES
from calibration.coaching.trade_pour import POURS, RECIPES

HYPOTHESES: tuple[Hypothesis, ...] = (*POURS, *GRIND, *DOSE, *KETTLES, *COFFEE, *RECIPES)
LEAST_SIGNS = 2
SUREST = 6.0  # beyond one in a million nothing becomes surer


@dataclass(frozen=True, slots=True)
class Fit:
    """signs: that bear the hypothesis out; against: that do not; facts: that bear it out, together one sign."""

    hypothesis: Hypothesis
    signs: tuple[Sign, ...]
    against: tuple[Sign, ...]
    facts: tuple[Fact, ...]

    @property
    def count(self) -> int:
        return len(self.signs) + bool(self.facts)

    @property
    def sureness(self) -> float:
        chances = [one.p for one in self.signs if one.move.moved and one.p is not None]
        return sum(SUREST if p <= 10**-SUREST else -log10(p) for p in chances)


def who_is_off(signature: Signature, told: Off | None) -> Off | None:
    """As somebody said; else one person beside the others of the day, or a day as a whole."""
    if told is not None:
        return told
    if signature.scope is not Scope.PERSON:
        return Off.DAY
    return Off.ONE if signature.against is Against.OTHERS else None


def fits(signature: Signature, known: Sequence[Fact], off: Off | None) -> list[Fit]:
    """Those that can be thought of, in the order in which to look at them."""
    found = [
        fit
        for hypothesis in HYPOTHESES
        if not (hypothesis.shared and off is Off.ONE) and (fit := _fit(hypothesis, signature, known))
    ]
    # sorted is stable: what is equal stays in the order of the trade's list
    return sorted(
        found,
        key=lambda fit: (
            -fit.count,
            len(fit.against),
            off is None or fit.hypothesis.first_for is not off,
            -fit.sureness,
        ),
    )


def _fit(hypothesis: Hypothesis, signature: Signature, known: Iterable[Fact]) -> Fit | None:
    bearing = tuple(one for one in known if one.key in hypothesis.facts)
    if hypothesis.needs_fact and not bearing:
        return None
    signs, against = [], []
    for quantity, expected in hypothesis.expects.items():
        seen = signature.signs[quantity]
        if seen.move is expected:
            signs.append(seen)
        elif seen.move.moved and expected.moved:
            return None
        elif seen.move is not Move.UNKNOWN:
            against.append(seen)
    either = [signature.signs[quantity] for quantity in hypothesis.any_way]
    # what fits either way foretells little: the surest of them counts, and it alone
    signs += sorted((one for one in either if one.move.moved), key=lambda one: one.p or 0.0)[:1]
    alone = [quantity for quantity in hypothesis.leaves if quantity not in hypothesis.expects]
    against += [signature.signs[quantity] for quantity in alone if signature.signs[quantity].move.moved]
    fit = Fit(hypothesis, tuple(signs), tuple(against), bearing)
    if fit.count < LEAST_SIGNS or not any(one.move.moved for one in signs):
        return None
    return fit


def that_would_part(listed: Sequence[Fit], signature: Signature) -> Quantity | None:
    """What was not told, and would tell the first from one that comes after it, the nearest first."""
    untold = [one.quantity for one in signature.independent if one.move is Move.UNKNOWN]
    for other in listed[1:]:
        for quantity in untold:
            if _foretold(listed[0].hypothesis, quantity) is not _foretold(other.hypothesis, quantity):
                return quantity
    return None


def _foretold(hypothesis: Hypothesis, quantity: Quantity) -> Move:
    leaves = Move.STEADY if quantity in hypothesis.leaves else Move.UNKNOWN
    return hypothesis.expects.get(quantity, leaves)
