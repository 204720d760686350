"""What one reading is worth: whether its drops agree, how well its TDS is known, what that says of a target.

A drop is one refractometer reading of one sample; drops repeat the instrument, not the brew. TDS is in %.

ISO 5725-6:1994, Accuracy (trueness and precision) of measurement methods and results, part 6, 5.2:
critical ranges, and the final result where tests are expensive.
JCGM 100:2008 (GUM), equation 10: combined standard uncertainty.
JCGM 106:2012, 7.4: conformance probability, two-sided tolerance, normal, flat prior.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import ceil, floor, fsum, hypot, isfinite, sqrt
from statistics import NormalDist, mean, median, stdev
from typing import Literal

from brewbar.units import trimmed
from brewbar.words import gettext as _

COVERAGE_K = 2.0

# ISO 5725-6:1994, table 1 (values from memory): 95 % of the ranges of n normal results stay below f(n) sigma
CRITICAL_RANGE_FACTORS = {2: 2.8, 3: 3.3, 4: 3.6, 5: 3.9, 6: 4.0, 7: 4.2, 8: 4.3, 9: 4.4, 10: 4.5}
DROPS_BEFORE_MEDIAN = 4  # ISO 5725-6, 5.2: two, then a third, then a fourth result, then no more is asked for

TEMPERATURE_COEFFICIENT_PCT_K = 0.057  # 22.5 °C: ICUMSA sucrose table, IAPWS R9-97, 0.85 % TDS per °Bx
TEMPERATURE_U_K = 0.3  # engineering estimate, no source: sample against prism after half a minute
DRIFT_U_PCT = 0.005  # engineering estimate, no source: since the last check
ACCURACY_LIMIT_PCT = 0.03  # usual statement for coffee-range instruments, as a limit

INSIDE_FROM, OUTSIDE_UP_TO = 0.80, 0.20  # the house's rule
BREW_TIME_U_S = 3.0  # engineering estimate, no source: when a bed is seen to show, and a thumb on a clock


def critical_range(n: int, sigma: float) -> float:
    """CR0.95(n) = f(n)·sigma, sigma the repeatability standard deviation: ISO 5725-6:1994, table 1."""
    if n not in CRITICAL_RANGE_FACTORS:
        raise ValueError("A critical range is known for 2 to 10 results.")
    if not 0 <= sigma < float("inf"):
        raise ValueError("A repeatability standard deviation is 0 or more.")
    return CRITICAL_RANGE_FACTORS[n] * sigma


@dataclass(frozen=True, slots=True)
class DropVerdict:
    """What the drops of one sample come to, in % TDS.

    value: their mean or median, as `rule` says; range: largest less smallest; n: how many;
    allowed_range: the critical range for n drops, a whole number of display units, None for a single drop;
    sd: the standard deviation of one drop to reckon with, the instrument's own while the drops agree and
    theirs when they do not; ask_another: whether one more is wanted; reason: why, in a sentence.
    """

    value: float
    range: float
    allowed_range: float | None
    n: int
    rule: Literal["mean", "median"]
    sd: float
    ask_another: bool
    reason: str


def settle_drops(drops: Sequence[float], repeatability_sd: float, resolution: float) -> DropVerdict:
    """Mean, median or 'one more', by ISO 5725-6:1994, 5.2, for tests that are costly to repeat.

    Two drops within the critical range give their mean; otherwise a third is asked for, then a fourth, each
    time against the range for that many; four that still disagree give their median. A fifth that someone
    enters unasked is judged with the rest. No drop is ever left out.
    """
    if not drops:
        raise ValueError("Enter at least one drop.")
    if not all(isfinite(drop) for drop in drops):
        raise ValueError("Every drop must be a number.")
    if not resolution > 0:
        raise ValueError("The display's resolution must be above 0.")
    if not repeatability_sd >= 0:
        raise ValueError("The repeatability standard deviation must be 0 or more.")
    n = len(drops)
    if n == 1:
        reason = _("One drop cannot show its spread: read a second drop of the same sample.")
        return DropVerdict(drops[0], 0.0, None, 1, "mean", repeatability_sd, True, reason)

    units = [floor(drop / resolution + 0.5) for drop in drops]
    spread_units = max(units) - min(units)
    allowed_units = allowed_range_units(n, repeatability_sd, resolution)
    spread, allowed = round(spread_units * resolution, 9), round(allowed_units * resolution, 9)
    words = {"n": n, "apart": trimmed(spread, 4), "usual": trimmed(allowed, 4)}
    if spread_units <= allowed_units:
        reason = _(
            "The %(n)d drops lie %(apart)s %% TDS apart, within the usual %(usual)s %%: their mean counts."
        )
        return DropVerdict(mean(drops), spread, allowed, n, "mean", repeatability_sd, False, reason % words)

    ask_another = n < DROPS_BEFORE_MEDIAN
    sd = max(repeatability_sd, stdev(drops))
    reason = (
        _(
            "The %(n)d drops lie %(apart)s %% TDS apart, more than the usual %(usual)s %%: "
            "read one more drop of the same sample."
        )
        if ask_another
        else _(
            "The %(n)d drops lie %(apart)s %% TDS apart, more than the usual %(usual)s %%: "
            "their median counts, and none is left out."
        )
    )
    # two drops have no other middle than their mean
    rule: Literal["mean", "median"] = "mean" if n == 2 else "median"
    return DropVerdict(median(drops), spread, allowed, n, rule, sd, ask_another, reason % words)


def allowed_range_units(n: int, repeatability_sd: float, resolution: float) -> int:
    """The critical range for n drops in whole units of the display, to the nearest.

    Repeatability includes the display's rounding, resolution²/12 (JCGM 100:2008, F.2.2.1). To the nearest
    unit, false alarms on honest drops stay at about 5 % for repeatabilities up to two units, wherever the
    true value lies between two marks; rounded down, they would reach half of all readings.
    """
    sigma = sqrt(repeatability_sd**2 + resolution**2 / 12)
    return floor(critical_range(n, sigma) / resolution + 0.5)


@dataclass(frozen=True, slots=True)
class TdsLine:
    """One contribution to the uncertainty of a mean TDS: its standard uncertainty u in % TDS.

    absolute_only: whether it cancels between readings of one instrument.
    """

    name: str
    u_pct: float
    absolute_only: bool = False


@dataclass(frozen=True, slots=True)
class TdsBudget:
    """Uncertainty of the mean TDS of one reading, in % TDS.

    Relative: for a recipe's targets and for comparing people on one instrument.
    Absolute: for published bands, for yields against them, and for comparing cafés. u standard, U with k = 2.
    """

    lines: tuple[TdsLine, ...]

    @property
    def u_relative(self) -> float:
        return hypot(*(line.u_pct for line in self.lines if not line.absolute_only))

    @property
    def u_absolute(self) -> float:
        return hypot(*(line.u_pct for line in self.lines))

    @property
    def U_relative(self) -> float:
        return COVERAGE_K * self.u_relative

    @property
    def U_absolute(self) -> float:
        return COVERAGE_K * self.u_absolute


def tds_budget(
    n_drops: int,
    drop_sd: float,
    resolution: float,
    temperature_u_K: float = TEMPERATURE_U_K,
    drift_u: float = DRIFT_U_PCT,
    accuracy_limit: float = ACCURACY_LIMIT_PCT,
) -> TdsBudget:
    """Budget of the mean of n drops, each with the `sd` of their `DropVerdict`.

    `accuracy_limit` is what the maker states, ±, taken as rectangular (JCGM 100:2008, 4.3.7). Rounding by
    the display is not divided by the drops: drops that agree are rounded alike.
    """
    if n_drops < 1:
        raise ValueError("A reading has at least one drop.")
    return TdsBudget(
        (
            TdsLine("drops", drop_sd / sqrt(n_drops)),
            TdsLine("resolution", resolution / sqrt(12)),
            TdsLine("sample temperature", temperature_u_K * TEMPERATURE_COEFFICIENT_PCT_K),
            TdsLine("drift since the last check", drift_u),
            TdsLine("instrument's accuracy", accuracy_limit / sqrt(3), absolute_only=True),
        )
    )


class Word(StrEnum):
    INSIDE = "inside"
    OUTSIDE = "outside"
    TOO_CLOSE = "too-close"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What can be said of a value against target ± tolerance.

    probability: that the true value lies within, 0 to 1; word: what is said; reason: why, in a sentence;
    side: which side of the target the value is on where it is not inside: "high", "low" or "".
    """

    probability: float
    word: Word
    reason: str
    side: Literal["high", "low", ""]


def conformity(value: float, u: float, target: float, tolerance: float) -> Verdict:
    """Verdict by conformance probability: JCGM 106:2012, 7.4, normal, flat prior; u standard uncertainty.

    A tolerance at or below U = 2u is never answered 'inside', since the measurement is not fine enough to
    tell; 'outside' then needs an 80 % chance of being past the nearer limit.
    """
    if not tolerance > 0:
        raise ValueError("A tolerance must be above 0.")
    if not u >= 0:
        raise ValueError("An uncertainty is 0 or more.")
    probability = conformance_probability(value, u, target - tolerance, target + tolerance)
    side: Literal["high", "low", ""] = "high" if value > target else "low" if value < target else ""
    chance = {"chance": _percent(probability)}
    told = _("The chance that it lies within the tolerance is %(chance)s.") % chance
    too_fine = u > 0 and round(tolerance, 9) <= round(COVERAGE_K * u, 9)
    past_limit = abs(value - target) - tolerance
    if probability <= OUTSIDE_UP_TO and (not too_fine or NormalDist().cdf(past_limit / u) >= INSIDE_FROM):
        return Verdict(probability, Word.OUTSIDE, told, side)
    if too_fine:
        reason = _(
            "A tolerance of ±%(tolerance)s is no wider than the uncertainty of the measurement, ±%(U)s, "
            "so inside cannot be told."
        ) % {"tolerance": trimmed(tolerance, 3), "U": trimmed(COVERAGE_K * u, 3)}
        return Verdict(probability, Word.TOO_CLOSE, reason, side)
    if probability >= INSIDE_FROM:
        return Verdict(probability, Word.INSIDE, told, "")
    reason = (
        _(
            "The chance that it lies within the tolerance is %(chance)s; "
            "inside needs 80 %% or more, outside 20 %% or less."
        )
        % chance
    )
    return Verdict(probability, Word.TOO_CLOSE, reason, side)


def conformance_probability(value: float, u: float, lower: float, upper: float) -> float:
    """Probability that the true value lies from lower to upper: JCGM 106:2012, 7.4. 0 or 1 if u is 0."""
    if u == 0:
        # typed decimals: 1.50 is at the edge of 1.40 ± 0.10, not a float's breadth outside it
        return float(round(lower, 9) <= round(value, 9) <= round(upper, 9))
    standard = NormalDist()
    return fsum((standard.cdf((upper - value) / u), -standard.cdf((lower - value) / u)))


def _percent(probability: float) -> str:
    if probability > 0.99:
        return _("over %(figure)s %%") % {"figure": "99"}
    if probability < 0.01:
        return _("under %(figure)s %%") % {"figure": "1"}
    # towards even odds, so that the figure never seems to reach a limit that it does not
    figure = floor(100 * probability) if probability > 0.5 else ceil(100 * probability)
    return _("about %(figure)s %%") % {"figure": figure}
