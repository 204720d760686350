"""The words for quantities, moves and signs."""

from __future__ import annotations

from brewbar.units import degrees_apart, grams, percent, trimmed
from brewbar.words import gettext as _
from brewbar.words import gettext_noop, ngettext
from calibration.coaching.signature import Move, Quantity, Sign

NAMES = {
    Quantity.TDS: gettext_noop("TDS"),
    Quantity.YIELD: gettext_noop("extraction yield"),
    Quantity.BREW_TIME: gettext_noop("brew time"),
    Quantity.BEVERAGE: gettext_noop("beverage mass"),
    Quantity.SLURRY: gettext_noop("slurry temperature"),
}
MOVES = {
    Move.UP: gettext_noop("up"),
    Move.DOWN: gettext_noop("down"),
    Move.STEADY: gettext_noop("unchanged"),
    Move.UNKNOWN: gettext_noop("not known"),
}


def amount(quantity: Quantity, value: float) -> str:
    """The size of a difference, without its sign."""
    size = abs(value)
    if quantity is Quantity.TDS:
        return percent(size, 2)
    if quantity is Quantity.YIELD:
        return _("%(figure)s points") % {"figure": trimmed(size, 1)}
    if quantity is Quantity.BREW_TIME:
        return _("%(figure)s s") % {"figure": trimmed(size, 0)}
    if quantity is Quantity.BEVERAGE:
        return grams(size, 0)
    return degrees_apart(size, 1)


def said(sign: Sign) -> str:
    """One sign, in a sentence."""
    words = {"what": capital(_(NAMES[sign.quantity]))}
    if sign.difference is None or sign.interval is None:
        if sign.n:
            return _("%(what)s: the brews are too few to tell.") % words
        return _("%(what)s was not measured.") % words
    words["brews"] = ngettext("%d brew", "%d brews", sign.n) % sign.n
    words["size"] = amount(sign.quantity, sign.difference)
    words["give"] = amount(sign.quantity, (sign.interval.high - sign.interval.low) / 2)
    if sign.move is Move.STEADY:
        words["smallest"] = amount(sign.quantity, sign.smallest or 0.0)
        return _("%(what)s is steady, within ±%(smallest)s (%(brews)s).") % words
    if sign.move is Move.UP:
        return _("%(what)s is up by %(size)s, give or take %(give)s (%(brews)s).") % words
    if sign.move is Move.DOWN:
        return _("%(what)s is down by %(size)s, give or take %(give)s (%(brews)s).") % words
    return _("%(what)s cannot be told yet: give or take %(give)s is too wide (%(brews)s).") % words


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]
