"""What can be said of a saved reading: against its recipe, and against a published band.

Nothing here is stored: the reading keeps its numbers and their uncertainties, the words follow from them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from brewbar import units
from calibration import checking
from calibration.instrument_spans import State
from calibration.models import Reading
from calibration.statistics import uncertainty
from calibration.statistics.uncertainty import COVERAGE_K
from recipes.aims import Aims, OwnAims
from recipes.brewing.bands import PublishedBand

Number = float | int | Decimal


@dataclass(frozen=True)
class Quantity:
    """One measured quantity and what it is held against, in its own unit; U is expanded, k = 2."""

    name: str
    value: float
    u: float
    target: float | None
    tolerance: float
    decimals: int
    unit: str

    @property
    def U(self) -> float:
        return COVERAGE_K * self.u

    @property
    def low(self) -> float | None:
        return None if self.target is None else self.target - self.tolerance

    @property
    def high(self) -> float | None:
        return None if self.target is None else self.target + self.tolerance

    @property
    def is_time(self) -> bool:
        return self.unit == "s"

    @property
    def shown(self) -> str:
        return self._written(self.value)

    @property
    def U_shown(self) -> str:
        return f"± {units.fixed(self.U, self.decimals)} {self.unit}"

    @property
    def aim(self) -> str:
        """The target with its tolerance; "" where there is none."""
        if self.target is None:
            return ""
        target = units.clock(self.target) if self.is_time else units.fixed(self.target, self.decimals)
        return f"{target} ± {units.fixed(self.tolerance, self.decimals)} {self.unit}"

    def _written(self, value: float) -> str:
        return units.clock(value) if self.is_time else f"{units.fixed(value, self.decimals)} {self.unit}"


@dataclass(frozen=True)
class Verdict:
    """A quantity, the state that a page shows for it, and the reason in one sentence.

    state: "inside", "high", "low" or "close"; "none" where it is not judged.
    """

    of: Quantity
    state: str
    says: str

    @property
    def word(self) -> str:
        words = {
            "inside": _("Inside"),
            "high": _("Outside, high"),
            "low": _("Outside, low"),
            "close": _("Too close to call"),
        }
        return words.get(self.state, _("Not judged"))


def own_aims(readings: Iterable[Reading]) -> OwnAims:
    """The own targets of these readings' cafés, for `aims_of`. One query, none where there is no reading."""
    rows = list(readings)
    cafes, recipes = {row.cafe_id for row in rows}, {row.version.recipe_id for row in rows}
    return OwnAims.of(cafes, recipes) if rows else OwnAims({})


def aims_of(reading: Reading, own: OwnAims | None = None) -> Aims:
    """What held in its café when it was brewed. One query, unless ``own`` was read before."""
    known = own_aims([reading]) if own is None else own
    return known.at(reading.cafe_id, reading.version, reading.brewed_at)


def against_recipe(reading: Reading, aims: Aims | None = None) -> list[Verdict]:
    """Strength, yield and brew time against what was aimed at, by what compares on one instrument.

    aims: of this reading, where a list has read them for all its rows; without it they cost a query.
    """
    aims = aims_of(reading) if aims is None else aims
    return [
        _judged(
            _quantity(
                _("TDS"), reading.tds, reading.u_tds_relative, aims.tds_target, aims.tds_tolerance, 2, "%"
            ),
            _why_no_strength(reading),
        ),
        _judged(
            _quantity(
                _("Extraction yield"),
                reading.ey,
                reading.u_ey_relative,
                aims.ey_target,
                aims.ey_tolerance,
                1,
                "%",
            ),
            _why_no_yield(reading),
        ),
        _judged(
            _quantity(
                _("Brew time"),
                reading.brew_time_s,
                uncertainty.BREW_TIME_U_S,
                aims.brew_time_s,
                aims.brew_time_tolerance_s,
                0,
                "s",
            )
        ),
    ]


def against_band(reading: Reading, band: PublishedBand) -> list[Verdict]:
    """Strength and yield against a published band, by the absolute uncertainty: the instrument's own error counts."""
    strength, extracted = (((low + high) / 2, (high - low) / 2) for low, high in (band.tds_pct, band.ey_pct))
    return [
        _judged(
            _quantity(_("TDS"), reading.tds, reading.u_tds_absolute, *strength, 2, "%"),
            _why_no_strength(reading),
        ),
        _judged(
            _quantity(_("Extraction yield"), reading.ey, reading.u_ey_absolute, *extracted, 1, "%"),
            _why_no_yield(reading),
        ),
    ]


def _quantity(
    name: str, value: Number, u: float, target: Number | None, tolerance: Number, decimals: int, unit: str
) -> Quantity:
    aim = None if target is None else float(target)
    return Quantity(name, float(value), u, aim, float(tolerance), decimals, unit)


def _judged(of: Quantity, why_not: str = "") -> Verdict:
    if of.target is None:
        return Verdict(of, "none", _("The recipe sets no target for this."))
    if why_not:
        return Verdict(of, "none", why_not)
    found = uncertainty.conformity(of.value, of.u, of.target, of.tolerance)
    state = {"inside": "inside", "outside": found.side}.get(found.word.value, "close")
    return Verdict(of, state, found.reason)


def _why_no_strength(reading: Reading) -> str:
    if reading.rinse_left_in:
        return _("Rinse water was left in and thins the cup: its strength is not the recipe's.")
    return ""


def _why_no_yield(reading: Reading) -> str:
    if weights_do_not_add_up(reading):
        return _("More coffee was weighed than the bed can have let through: the yield cannot be right.")
    return ""


def weights_do_not_add_up(reading: Reading) -> bool:
    """Whether the beverage is too heavy for the bed, with no rinse water to explain it."""
    return (
        reading.beverage_source != Reading.Beverage.ESTIMATED
        and not reading.rinse_left_in
        and checking.is_too_heavy(
            reading.beverage_g, reading.water_g, reading.dose_g, reading.bypass_g, reading.ice_g
        )
    )


def drops_disagree(reading: Reading) -> bool:
    return reading.drops_range_tds > reading.drops_allowed_tds


# --- marks


@dataclass(frozen=True)
class Mark:
    """Something that whoever reads the number has to know. ``shape`` is drawn beside the word."""

    shape: str
    word: str
    says: str = ""


def marks(reading: Reading, correction: Reading | None = None, instrument: State = "checked") -> list[Mark]:
    """What sets this reading apart; ``correction`` is the newer one that stands in its place, if any.

    instrument: the state of its refractometer when it was brewed, see `instrument_spans`.
    """
    candidates = [
        (reading.is_voided, _voided(reading)),
        (
            correction is not None,
            Mark("corrected", _("Corrected"), _("A newer reading stands in its place and counts instead.")),
        ),
        (
            reading.corrects_id is not None,
            Mark("corrected", _("Correction"), _("It corrects a typo; the older reading stays to be seen.")),
        ),
        (
            reading.kind == Reading.Kind.SERVED,
            Mark("info", _("A cup we served"), _("It stands beside the check brews, not among them.")),
        ),
        (
            reading.kind == Reading.Kind.PRACTICE,
            Mark("info", _("Practice"), _("It counts nowhere.")),
        ),
        (
            reading.was_served,
            Mark("info", _("Went to a guest"), _("A check like any other; a millilitre of it was read.")),
        ),
        (
            reading.attempt == Reading.Attempt.REBREW,
            Mark("info", _("Re-brew"), _("The first brew of the day counts. This one is kept as a re-brew.")),
        ),
        (
            reading.attempt == Reading.Attempt.REPEAT,
            Mark("info", _("Repeat"), _("It was asked for, and counts beside the first brew.")),
        ),
        (
            reading.beverage_source == Reading.Beverage.ESTIMATED,
            Mark(
                "estimated",
                _("Not weighed"),
                _("The coffee's mass is reckoned from what a bed usually keeps, so the yield is less sure."),
            ),
        ),
        (
            bool(reading.rinse_left_in),
            Mark(
                "caution",
                _("Rinse water left in"),
                _("It thins the cup but dissolves nothing: the yield holds."),
            ),
        ),
        (
            weights_do_not_add_up(reading),
            Mark(
                "caution",
                _("Weights do not add up"),
                _("Check server, dose and water, and correct the typo."),
            ),
        ),
        (drops_disagree(reading), _apart(reading)),
        (
            reading.entered_by_id != reading.barista_id,
            Mark(
                "info",
                _("Entered by %(who)s") % {"who": reading.entered_by},
                _("for the barista who brewed."),
            ),
        ),
    ]
    return [mark for holds, mark in candidates if holds] + instrument_marks(instrument)


def instrument_marks(state: State) -> list[Mark]:
    """What is to be known of a reading whose refractometer was in ``state``: one mark, or none."""
    if state == "failing":
        says = _("It was read between the last check that its instrument passed and the next one it passed.")
        return [Mark("failed", _("Instrument did not read right"), says)]
    if state == "unchecked":
        return [
            Mark("stale", _("Instrument not checked"), _("No check of it had passed in the hours before."))
        ]
    return []


def _voided(reading: Reading) -> Mark:
    why = {"who": reading.voided_by, "why": reading.void_reason.rstrip(".")}
    return Mark("void", _("Voided"), _("%(who)s: %(why)s. It counts nowhere.") % why)


def _apart(reading: Reading) -> Mark:
    apart = {
        "range": units.fixed(reading.drops_range_tds, 2),
        "allowed": units.fixed(reading.drops_allowed_tds, 2),
    }
    return Mark(
        "caution",
        _("Drops disagree"),
        _("They lie %(range)s %% apart, where %(allowed)s %% is usual: the result is less sure.") % apart,
    )
