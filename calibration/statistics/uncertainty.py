"""How well a value is known, and what that says of a target. TDS is in %.

JCGM 100:2008 (GUM), equation 10: combined standard uncertainty.
JCGM 106:2012, Evaluation of measurement data: the role of measurement uncertainty in conformity assessment,
doi:10.59161/JCGM106-2012: 7.4 (conformance probability, two-sided tolerance, normal, flat prior), 8.3 (guard bands).
A formula's uncertainty is propagated in `propagation`; its public names are said here too.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import ceil, floor, fsum, hypot, inf, isnan, sqrt
from statistics import NormalDist
from typing import Literal

from brewbar.units import trimmed
from brewbar.words import gettext as _
from calibration.statistics.propagation import (
    Expanded,
    Input,
    Propagated,
    Share,
    effective_df,
    expanded_uncertainty,
    propagate,
)

__all__ = [
    "Expanded",
    "Input",
    "Propagated",
    "Share",
    "TdsBudget",
    "TdsLine",
    "Verdict",
    "Word",
    "conformance_probability",
    "conformity",
    "effective_df",
    "expanded_uncertainty",
    "guarded",
    "propagate",
    "tds_budget",
]

COVERAGE_K = 2.0

TEMPERATURE_COEFFICIENT_PCT_K = 0.057  # 22.5 °C: ICUMSA sucrose table, IAPWS R9-97, 0.85 % TDS per °Bx
TEMPERATURE_U_K = 0.3  # engineering estimate, no source: sample against prism after half a minute
DRIFT_U_PCT = 0.005  # engineering estimate, no source: since the last check
ACCURACY_LIMIT_PCT = 0.03  # usual statement for coffee-range instruments, as a limit

INSIDE_FROM, OUTSIDE_UP_TO = 0.80, 0.20  # the house's rule
BREW_TIME_U_S = 3.0  # engineering estimate, no source: when a bed is seen to show, and a thumb on a clock


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


def guarded(
    value: float,
    u: float,
    lower: float | None = None,
    upper: float | None = None,
    guard: float = COVERAGE_K,
) -> Verdict:
    """Verdict by guard bands against one limit or two: JCGM 106:2012, 8.3.2 and 8.3.3.

    Inside: within the limits by ``guard`` times u or more. Outside: beyond one of them by as much. Too close to call
    between. With guard 2, a value that is called inside lies beyond any one limit with 2.3 % at most.
    """
    low, high = -inf if lower is None else lower, inf if upper is None else upper
    if isnan(value) or isnan(low) or isnan(high):
        raise ValueError(_("A value and its limits must be numbers."))
    if not low < high or (low, high) == (-inf, inf):
        raise ValueError(_("Give a lower limit, an upper limit above it, or both."))
    if not (u >= 0 and guard >= 0):
        raise ValueError(_("An uncertainty is 0 or more."))
    probability = conformance_probability(value, u, low, high)
    band = guard * u
    chance = {"chance": _percent(probability)}
    told = _("The chance that it lies within the limits is %(chance)s.") % chance
    # typed decimals, as in `conformance_probability`
    over, under = round(value - high, 9), round(low - value, 9)
    side: Literal["high", "low"] = "high" if over > under else "low"
    if max(over, under) <= round(-band, 9):
        return Verdict(probability, Word.INSIDE, told, "")
    if max(over, under) > 0 and max(over, under) >= round(band, 9):
        return Verdict(probability, Word.OUTSIDE, told, side)
    if round(high - low, 9) < round(2 * band, 9):
        told = (
            _(
                "The limits lie closer than the measurement can tell; the chance that it lies within is %(chance)s."
            )
            % chance
        )
    return Verdict(probability, Word.TOO_CLOSE, told, side)


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
