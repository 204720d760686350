"""Whether the drops of one sample agree, and whether another is wanted.

A drop is one refractometer reading of one sample; drops repeat the instrument, not the brew. TDS is in %.

ISO 5725-6:1994, Accuracy (trueness and precision) of measurement methods and results, part 6, 5.2:
critical ranges, and the final result where tests are expensive.
JCGM 100:2008 (GUM), F.2.2.1: what a display's rounding adds.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, isfinite, sqrt
from statistics import mean, median, stdev
from typing import Literal

from brewbar.units import trimmed
from brewbar.words import gettext as _

# ISO 5725-6:1994, table 1 (values from memory): 95 % of the ranges of n normal results stay below f(n) sigma
CRITICAL_RANGE_FACTORS = {2: 2.8, 3: 3.3, 4: 3.6, 5: 3.9, 6: 4.0, 7: 4.2, 8: 4.3, 9: 4.4, 10: 4.5}
DROPS_BEFORE_MEDIAN = 4  # ISO 5725-6, 5.2: two, then a third, then a fourth result, then no more is asked for


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
    for number, drop in enumerate(drops, 1):
        if not isfinite(drop):
            raise ValueError(_("Every drop must be a number: drop %(number)d is not.") % {"number": number})
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
