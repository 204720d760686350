"""What comes before any cause of the cup: the instrument, and chance."""

from __future__ import annotations

from brewbar.units import trimmed
from brewbar.words import gettext as _
from calibration.coaching.context import CheckState, Context, InstrumentChecks
from calibration.coaching.signature import Against, Move, Quantity, Signature

CHANCE_MATTERS = 0.05


def instrument_failed(context: Context) -> bool:
    checks = context.instrument
    return CheckState.FAILED in {checks.standard, checks.zero}


def instrument_open(signature: Signature, context: Context) -> bool:
    """Whether strength has moved, and no check standard says that the instrument was right.

    Between brews read on one instrument its error is common: an offset is gone from their difference, and a gain error
    of some per cent makes it some per cent larger or smaller.
    """
    checks = context.instrument
    if not signature.signs[Quantity.TDS].move.moved or checks.standard is CheckState.PASSED:
        return False
    return not (checks.shared and signature.against is Against.OTHERS)


def instrument_why(checks: InstrumentChecks) -> str:
    if CheckState.FAILED in {checks.standard, checks.zero}:
        return _("The refractometer failed its last check, so TDS and yield say nothing until it is right.")
    if checks.zero is CheckState.PASSED:
        return _("The refractometer passed a water zero only, which cannot see a gain error.")
    return _("The refractometer was not checked with a standard since this began.")


def instrument_change(checks: InstrumentChecks) -> str:
    if CheckState.FAILED in {checks.standard, checks.zero}:
        return _("Clean the prism, let it and the sample cool, zero it, then read a check standard again.")
    return _("Read a check standard on the refractometer before anything else is changed.")


def instrument_against(signature: Signature) -> tuple[str, ...]:
    said = [_("A check standard that reads right.")]
    if any(one.move.moved for one in signature.independent if one.quantity is not Quantity.TDS):
        said.append(_("A refractometer moves neither the clock, nor the scale, nor the thermometer."))
    return tuple(said)


def chance_first(signature: Signature) -> bool:
    return signature.chance is not None and signature.chance > CHANCE_MATTERS


def chance_says(signature: Signature) -> str:
    figure = 100 * (signature.chance or 0.0)
    shown = _("under 1 %%") % {} if figure < 1 else _("up to %(figure)s %%") % {"figure": trimmed(figure, 0)}
    return _(
        "Chance alone brings one of these figures this far away in %(shown)s of such comparisons, and more often "
        "where brews are looked at because they stood out."
    ) % {"shown": shown}


def all_steady(signature: Signature) -> bool:
    """Strength and brew time are shown to be, and so is whatever else was measured."""
    needed = (signature.signs[Quantity.TDS], signature.signs[Quantity.BREW_TIME])
    measured = (one for one in signature.independent if one.difference is not None)
    return all(one.move is Move.STEADY for one in (*needed, *measured))
