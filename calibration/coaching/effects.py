"""What a change should do, how much where physics or data say so, and how many check brews would show it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, sqrt

from brewbar.units import trimmed
from brewbar.words import gettext as _
from brewbar.words import ngettext
from calibration.coaching.context import Context
from calibration.coaching.fitting import Fit
from calibration.coaching.signature import Move, Quantity, Sign, Signature
from calibration.coaching.wording import MOVES, NAMES, amount, capital
from calibration.statistics.planning import brews_needed
from recipes.brewing.bed import relative_fluidity
from recipes.brewing.extraction import RETAINED_WATER_G_PER_G
from recipes.brewing.water import WATER_MAX_C, WATER_MIN_C

POWER = 0.9
CAN_BE_JUDGED = (Quantity.TDS, Quantity.BREW_TIME)
TOLD = (Quantity.TDS, Quantity.YIELD, Quantity.BREW_TIME)


@dataclass(frozen=True, slots=True)
class Spread:
    """sd: of one brew of the crew; smallest: the smallest difference that matters. In the unit of the quantity."""

    sd: float
    smallest: float

    def __post_init__(self) -> None:
        if not all(isfinite(value) and value > 0 for value in (self.sd, self.smallest)):
            raise ValueError(_("A spread and the smallest difference that matters must be above 0."))


@dataclass(frozen=True, slots=True)
class Effect:
    """quantity; move: unknown where no rule says; size: in words, "" where neither physics nor data give one."""

    quantity: Quantity
    move: Move
    size: str = ""

    @property
    def says(self) -> str:
        words = {"what": capital(_(NAMES[self.quantity])), "move": _(MOVES[self.move]), "size": self.size}
        return (_("%(what)s: %(move)s, %(size)s") if self.size else _("%(what)s: %(move)s")) % words


@dataclass(frozen=True, slots=True)
class Showing:
    """pairs: of check brews, one with the change and one without in the same session, that show a difference of
    ``shift`` nine times in ten; None where no number will do."""

    quantity: Quantity
    pairs: int | None
    shift: float
    says: str


def effects(fit: Fit, signature: Signature, context: Context) -> tuple[Effect, ...]:
    """The change undoes what is expected of the cause. Yield goes with TDS unless the dose or the water changes."""
    moves = {quantity: move.opposite for quantity, move in fit.hypothesis.expects.items()} | dict(
        fit.hypothesis.does
    )
    if Quantity.BEVERAGE not in moves and moves.get(Quantity.TDS, Move.UNKNOWN).moved:
        moves[Quantity.YIELD] = moves[Quantity.TDS]
    size = _sizes(fit, signature, context)
    return tuple(
        Effect(quantity, moves.get(quantity, Move.UNKNOWN), size.get(quantity, "")) for quantity in TOLD
    )


def _sizes(fit: Fit, signature: Signature, context: Context) -> Mapping[Quantity, str]:
    key, usual = fit.hypothesis.key, context.usual
    slurry = signature.signs[Quantity.SLURRY]
    if key in {"kettle-cooler", "kettle-hotter"} and usual.slurry_C is not None and _told(slurry):
        share = drawdown_change(usual.slurry_C, slurry.difference or 0.0)
        if share is not None:
            words = {"figure": trimmed(abs(100 * share), 0)}
            return {
                Quantity.BREW_TIME: _("the drawdown by about %(figure)s %%, by the water's viscosity") % words
            }
    if (shift := _balanced_tds(fit, signature, context)) is not None:
        words = {"figure": amount(Quantity.TDS, shift)}
        return {Quantity.TDS: _("by about %(figure)s, by the mass balance") % words}
    if key in {"age-stronger", "age-weaker"} and context.ageing is not None:
        words = {"figure": amount(Quantity.TDS, context.ageing.shift_tds)}
        return {Quantity.TDS: _("by about %(figure)s, by the café's own readings") % words}
    return {}


def _balanced_tds(fit: Fit, signature: Signature, context: Context) -> float | None:
    """What the cause must have done to TDS if it did to the beverage mass what was seen; None where nobody can say."""
    key, usual, beverage = fit.hypothesis.key, context.usual, signature.signs[Quantity.BEVERAGE]
    if (
        usual.tds_pct is None
        or usual.beverage_g is None
        or beverage.difference is None
        or not _told(beverage)
    ):
        return None
    if key in {"pour-past-weight", "pour-short"}:
        return dilution_tds(usual.tds_pct, usual.beverage_g, beverage.difference)
    if key in {"dose-more", "dose-less"} and usual.dose_g is not None:
        return dose_tds(usual.tds_pct, usual.beverage_g, usual.dose_g, beverage.difference)
    return None


def at_odds(fit: Fit, signature: Signature, context: Context) -> tuple[str, ...]:
    """Where the mass balance asks for another strength than was read."""
    shift, seen = _balanced_tds(fit, signature, context), signature.signs[Quantity.TDS]
    if shift is None or seen.interval is None or seen.interval.low <= shift <= seen.interval.high:
        return ()
    said = _("By the mass balance it would have moved TDS by about %(figure)s.")
    return (said % {"figure": amount(Quantity.TDS, shift)},)


def fresh_brews(signature: Signature, spreads: Mapping[Quantity, Spread]) -> str:
    """Before anything is changed: as many as show the smallest difference that matters, by the crew's known spread."""
    counts = [
        brews_needed(spread.smallest, spread.sd, POWER, signature.risk, known=True).n
        for one in signature.moved
        if (spread := spreads.get(one.quantity)) is not None
    ]
    fewest = min((count for count in counts if count is not None), default=None)
    if fewest is None:
        return _("Brew a few more check brews as they always are before anything is changed.")
    return (
        ngettext(
            "Brew %d more check brew as it always is before anything is changed.",
            "Brew %d more check brews as they always are before anything is changed.",
            fewest,
        )
        % fewest
    )


def _told(sign: Sign) -> bool:
    return sign.move.moved and sign.difference is not None


def drawdown_change(usual_C: float, difference_K: float) -> float | None:
    """By which share a slurry that differs from the usual drains slower: Darcy's law, viscosity by IAPWS SR6-08."""
    now_C = usual_C + difference_K
    if not all(WATER_MIN_C <= value <= WATER_MAX_C for value in (usual_C, now_C)):
        return None
    return relative_fluidity(usual_C) / relative_fluidity(now_C) - 1


def dilution_tds(tds_pct: float, beverage_g: float, more_g: float) -> float | None:
    """What so much more beverage takes from TDS with the same solids in it: T·B is the same."""
    now_g = beverage_g + more_g
    return tds_pct * (beverage_g / now_g - 1) if now_g > 0 else None


def dose_tds(tds_pct: float, beverage_g: float, dose_g: float, more_g: float) -> float | None:
    """What the dose does to TDS that has made so much more beverage, at the same yield: T = E·D/B, and each gram of
    coffee keeps `RETAINED_WATER_G_PER_G`."""
    now_g, now_dose_g = beverage_g + more_g, dose_g - more_g / RETAINED_WATER_G_PER_G
    if now_g <= 0 or now_dose_g <= 0:
        return None
    return tds_pct * (now_dose_g / dose_g * beverage_g / now_g - 1)


def showings(spreads: Mapping[Quantity, Spread], risk: float) -> dict[Quantity, Showing]:
    """Pairs of one session, since the day then cancels: their differences spread by √2 of one brew."""
    found = {}
    for quantity in CAN_BE_JUDGED:
        if (spread := spreads.get(quantity)) is None:
            continue
        pairs = brews_needed(spread.smallest, sqrt(2) * spread.sd, POWER, risk).n
        words = {"what": _(NAMES[quantity]), "shift": amount(quantity, spread.smallest)}
        if pairs is None:
            says = _("No number of check brews shows a difference of %(shift)s in %(what)s.") % words
        else:
            words["pairs"] = ngettext("%d pair of check brews", "%d pairs of check brews", pairs) % pairs
            says = (
                _(
                    "%(pairs)s, with the change and without, show a difference of %(shift)s in %(what)s 9 times in 10."
                )
                % words
            )
        found[quantity] = Showing(quantity, pairs, spread.smallest, says)
    return found


def soonest(of: Sequence[Effect], shown: Mapping[Quantity, Showing]) -> Showing | None:
    """By the quantity that the change moves and that fewest brews show; any, where no direction is foretold."""
    moved = [shown[one.quantity] for one in of if one.move.moved and one.quantity in shown]
    candidates = [one for one in moved or shown.values() if one.pairs is not None]
    return min(candidates, key=lambda one: one.pairs or 0, default=next(iter(moved), None))
