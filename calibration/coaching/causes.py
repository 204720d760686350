"""From a signature and what is known around it to likely causes, the first thing to try, and what is missing.

First the instrument and chance (`gates`), then what fits by at least two independent signs, in the order of `fitting`.
All of it is common practice, no source, save where physics or the café's own readings are named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from brewbar.words import gettext as _
from calibration.coaching import gates
from calibration.coaching.apart import apart
from calibration.coaching.context import Code, Context, Off
from calibration.coaching.effects import (
    Effect,
    Showing,
    Spread,
    at_odds,
    effects,
    fresh_brews,
    showings,
    soonest,
)
from calibration.coaching.facts import facts
from calibration.coaching.fitting import Fit, fits, that_would_part, who_is_off
from calibration.coaching.signature import Move, Quantity, Scope, Signature
from calibration.coaching.wording import NAMES, capital, said
from recipes.brewing.rules import COMMON_PRACTICE, RULES
from recipes.brewing.safety import POURING


@dataclass(frozen=True, slots=True)
class Cause:
    """code: the head barista's word for it; key: which of its kind, never changed; says: in a sentence.

    signs, facts: what bears it out; rules: of the trade, R1 to R15, and reasons: their words; source; change: the one
    to try first; effects: what that should do to TDS, yield and brew time; showing: how many check brews would show
    it, None where the crew's spread is not known; against: what would speak, or speaks, against it; cautions: to read
    before trying; undecided: causes that these brews cannot tell it from.
    """

    code: Code
    key: str
    says: str
    signs: tuple[str, ...]
    facts: tuple[str, ...]
    rules: tuple[str, ...]
    reasons: tuple[str, ...]
    source: str
    change: str
    effects: tuple[Effect, ...]
    showing: Showing | None
    against: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    undecided: tuple[Code, ...] = ()


@dataclass(frozen=True, slots=True)
class Advice:
    """causes: in the order in which to look at them; missing: what is not known and what to measure; says: in a
    sentence or two; apart: what cannot be told apart, named and not decided; signs: each in a sentence; taste: the
    note, and taste_rule why it stands beside."""

    causes: tuple[Cause, ...]
    missing: tuple[str, ...]
    says: str
    apart: tuple[str, ...] = ()
    signs: tuple[str, ...] = ()
    taste: str = ""
    taste_rule: str = ""


def advise(
    signature: Signature, context: Context, spreads: Mapping[Quantity, Spread] | None = None
) -> Advice:
    """spreads: of one brew of the crew, for TDS and brew time where they are known."""
    failed = gates.instrument_failed(context)
    seen = signature.without_strength() if failed else signature
    off = who_is_off(signature, context.off)
    known = facts(context, signature.signs[Quantity.TDS].smallest)
    listed = fits(seen, known, off)
    shown = showings(spreads or {}, signature.risk)
    told = apart(listed, off, context)
    causes = [_cause(fit, seen, context, shown, told.codes) for fit in listed]
    # a last weight that is not the brew water is a mistake whatever the cup does: R15
    causes = [
        *(_last_weight(one.says, one.change) for one in known if one.key in {"water-missing", "water-over"}),
        *causes,
    ]
    if seen.moved and (causes or gates.chance_first(seen)):
        chance = _chance(seen, spreads or {})
        causes = [chance, *causes] if gates.chance_first(seen) else [*causes, chance]
    if gates.instrument_open(signature, context) or (failed and _strength_was_read(signature)):
        causes.insert(0, _instrument(signature, context))
    missing = tuple(_missing(seen, signature, off, listed))
    return Advice(
        tuple(causes),
        missing,
        _says(causes, listed, seen, told.says),
        told.says,
        tuple(said(one) for one in signature.signs.values() if one.difference is not None),
        context.taste,
        _(RULES["R14"]) if context.taste else "",
    )


def _cause(
    fit: Fit,
    signature: Signature,
    context: Context,
    shown: Mapping[Quantity, Showing],
    undecided: Mapping[Code, tuple[Code, ...]],
) -> Cause:
    hypothesis = fit.hypothesis
    does = effects(fit, signature, context)
    own = tuple(rule for one in fit.facts for rule in one.rules)
    rules = tuple(dict.fromkeys((*own, *hypothesis.rules)))
    bearing = [capital(one.says) for one in fit.facts]
    if context.in_training and hypothesis.code is Code.POUR:
        bearing.append(_("This recipe is still being learnt."))
    speaks = [*(said(one) for one in fit.against), *at_odds(fit, signature, context), _(hypothesis.against)]
    return Cause(
        hypothesis.code,
        hypothesis.key,
        _(hypothesis.says),
        tuple(said(one) for one in fit.signs),
        tuple(bearing),
        rules,
        tuple(_(RULES[rule]) for rule in rules),
        _(COMMON_PRACTICE),
        next((one.change for one in fit.facts if one.change), _(hypothesis.change)),
        does,
        soonest(does, shown),
        tuple(speaks),
        tuple(_(one) for one in POURING) if hypothesis.hot else (),
        undecided.get(hypothesis.code, ()),
    )


def _last_weight(says: str, change: str) -> Cause:
    return Cause(
        Code.RECIPE,
        "recipe-last-weight",
        says,
        (),
        (),
        ("R15",),
        (_(RULES["R15"]),),
        _(COMMON_PRACTICE),
        change,
        (),
        None,
        (),
    )


def _instrument(signature: Signature, context: Context) -> Cause:
    checks = context.instrument
    return Cause(
        Code.INSTRUMENT,
        "instrument",
        gates.instrument_why(checks),
        (said(signature.signs[Quantity.TDS]),),
        (),
        (),
        (),
        _("arithmetic: a gain error leaves zero at zero"),
        gates.instrument_change(checks),
        (),
        None,
        gates.instrument_against(signature),
    )


def _chance(signature: Signature, spreads: Mapping[Quantity, Spread]) -> Cause:
    return Cause(
        Code.CHANCE,
        "chance",
        gates.chance_says(signature),
        (),
        (),
        (),
        (),
        _("Bonferroni's bound, whatever the figures share"),
        fresh_brews(signature, spreads),
        (),
        None,
        (_("The same signs in fresh brews."),),
    )


def _strength_was_read(signature: Signature) -> bool:
    return signature.signs[Quantity.TDS].difference is not None


def _missing(seen: Signature, signature: Signature, off: Off | None, listed: Sequence[Fit]) -> list[str]:
    """What would help most: all that is not told where too little is, else what tells the first two apart."""
    wanted: list[str] = []
    if gates.all_steady(signature) and seen is signature:
        return wanted
    if off is None and signature.scope is Scope.PERSON:
        wanted.append(
            _("Whether the others moved as well: brew this recipe with somebody else on the same day.")
        )
    if listed:
        quantity = that_would_part(listed, seen)
        if quantity is not None:
            wanted.append(_measure(quantity, seen) + " " + _("It tells likely causes apart."))
        return wanted
    return wanted + [_measure(one.quantity, seen) for one in seen.independent if one.move is Move.UNKNOWN]


def _measure(quantity: Quantity, signature: Signature) -> str:
    what = {"what": _(NAMES[quantity])}
    if signature.signs[quantity].difference is not None:
        return _("More check brews, since the %(what)s cannot be told from these.") % what
    if quantity is Quantity.SLURRY:
        return _("The slurry temperature: hold a probe in it just after the last pour.")
    if quantity is Quantity.BEVERAGE:
        return _("The beverage mass: weigh the server as the bed shows, less its tare.")
    if quantity is Quantity.BREW_TIME:
        return _("The brew time: from the first water until the bed shows.")
    return _("The strength: read two drops on an instrument that passed its check standard.")


def _says(
    causes: Sequence[Cause], listed: Sequence[Fit], signature: Signature, not_apart: Sequence[str]
) -> str:
    moved = len(signature.moved)
    if not moved and not causes:
        if gates.all_steady(signature):
            return _("Nothing has moved by what matters.")
        return _("Nothing is shown to have moved, and not all of it is shown to be steady.")
    first = causes[0] if causes else None
    if first is not None and first.code is Code.INSTRUMENT:
        said_first = _("Rule out the refractometer first: %(change)s") % {"change": _inside(first.change)}
        return said_first if listed or not moved else said_first + " " + _few(moved)
    if first is not None and first.code is Code.CHANCE:
        return _("This may well be chance: %(change)s") % {"change": _inside(first.change)}
    if first is not None and (listed or first.key == "recipe-last-weight"):
        words = {"cause": first.says, "change": _inside(first.change)}
        tried = _("%(cause)s Try first: %(change)s") % words
        return " ".join([tried, *not_apart[:1]]) if first.undecided else tried
    return _few(moved)


def _few(moved: int) -> str:
    if moved < 2:
        return _(
            "Only one figure has moved, which fits too many causes. Measure what is missing before anything is changed."
        )
    return _("No rule of the trade brings these signs together. Watch a brew, and note what is different.")


def _inside(change: str) -> str:
    return change[:1].lower() + change[1:]
