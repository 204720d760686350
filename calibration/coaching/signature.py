"""What recent brews did against what they are compared with: what is up, down, steady, or cannot be told.

*Up* or *down*: Student's t test of no difference, two-sided, at the stated risk; with a spread that is known
beforehand (`df` infinite) the normal test. *Steady*: the interval of the difference of coverage 1 − 2·risk lies within
± the smallest difference that matters (two one-sided tests, Schuirmann 1987,
doi:10.1007/BF01068419). To find no difference is not to find steadiness, so all else is *unknown*. A difference that is
there for certain but within what matters is steady.

TDS, brew time, beverage mass and slurry temperature come from four instruments and are counted as independent signs.
Yield is reckoned from TDS and masses: it is shown, and never counted beside them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import inf, isfinite, sqrt
from statistics import fmean, stdev

from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.mean_squares import Interval

RISK = 0.05

# Below these a difference is nobody's concern, where a café has said nothing else: engineering estimates, no source
USUAL_SMALLEST_BEVERAGE_G = 5.0
USUAL_SMALLEST_SLURRY_K = 2.0


class Quantity(StrEnum):
    TDS = "tds"
    YIELD = "ey"
    BREW_TIME = "brew_time"
    BEVERAGE = "beverage"
    SLURRY = "slurry"


INDEPENDENT = (Quantity.TDS, Quantity.BREW_TIME, Quantity.BEVERAGE, Quantity.SLURRY)


class Move(StrEnum):
    UP = "up"
    DOWN = "down"
    STEADY = "steady"
    UNKNOWN = "unknown"

    @property
    def opposite(self) -> Move:
        return {Move.UP: Move.DOWN, Move.DOWN: Move.UP}.get(self, self)

    @property
    def moved(self) -> bool:
        return self in {Move.UP, Move.DOWN}


class Scope(StrEnum):
    """Whose brews."""

    PERSON = "person"
    DAY = "day"
    ALL = "all"


class Against(StrEnum):
    """What they are compared with."""

    OTHERS = "others"
    EARLIER = "earlier"
    PLAN = "plan"


@dataclass(frozen=True, slots=True)
class Compared:
    """difference: of the brews less what they are compared with; se: its standard error, None where the spread cannot
    be told; n: brews; df: degrees of freedom of se, infinite where the spread is known beforehand."""

    difference: float
    se: float | None
    n: int
    df: float = inf

    def __post_init__(self) -> None:
        if not isfinite(self.difference):
            raise ValueError(_("A difference must be a number."))
        if self.se is not None and not 0 < self.se < inf:
            raise ValueError(_("A standard error must be a number above 0, or unknown."))
        if self.n < 1 or not self.df > 0:
            raise ValueError(_("A comparison wants one brew or more, and degrees of freedom."))


def compared(differences: Sequence[float], crew_sd: float | None = None) -> Compared | None:
    """From single differences, one for each brew; crew_sd: of a single difference, where it is known beforehand.

    None without any. Brews that differ by the same to the last digit say nothing of their spread.
    """
    if not differences:
        return None
    n, mean = len(differences), fmean(differences)
    if crew_sd is not None:
        return Compared(mean, crew_sd / sqrt(n), n)
    sd = stdev(differences) if n > 1 else 0.0
    return Compared(mean, sd / sqrt(n), n, n - 1.0) if sd > 0 else Compared(mean, None, n)


@dataclass(frozen=True, slots=True)
class Sign:
    """One quantity. difference, se, n: as compared, None where it was not measured; p: of no difference; interval: of
    coverage 1 − risk; smallest: the smallest difference that matters, None where nobody said."""

    quantity: Quantity
    move: Move
    difference: float | None = None
    se: float | None = None
    n: int = 0
    p: float | None = None
    interval: Interval | None = None
    smallest: float | None = None


def sign(quantity: Quantity, of: Compared | None, smallest: float | None = None, risk: float = RISK) -> Sign:
    if smallest is not None and not 0 < smallest < inf:
        raise ValueError(_("The smallest difference that matters must be above 0."))
    if not 0 < risk < 0.5:
        raise ValueError(_("The chance of a false alarm lies between 0 and 0.5, such as 0.05."))
    if of is None:
        return Sign(quantity, Move.UNKNOWN, smallest=smallest)
    if of.se is None:
        return Sign(quantity, Move.UNKNOWN, of.difference, None, of.n, smallest=smallest)
    p = 2 * _below(-abs(of.difference) / of.se, of.df)
    reach, inner = (_quantile(1 - share, of.df) * of.se for share in (risk / 2, risk))
    if smallest is not None and round(abs(of.difference) + inner, 9) <= round(smallest, 9):
        move = Move.STEADY
    elif p <= risk:
        move = Move.UP if of.difference > 0 else Move.DOWN
    else:
        move = Move.UNKNOWN
    around = Interval(of.difference - reach, of.difference + reach)
    return Sign(quantity, move, of.difference, of.se, of.n, p, around, smallest)


@dataclass(frozen=True, slots=True)
class Signature:
    """scope, against: whose brews, and beside what; signs: one for each quantity; risk: of each up or down."""

    scope: Scope
    against: Against
    signs: Mapping[Quantity, Sign]
    risk: float = RISK

    @property
    def independent(self) -> tuple[Sign, ...]:
        return tuple(self.signs[quantity] for quantity in INDEPENDENT)

    @property
    def moved(self) -> tuple[Sign, ...]:
        return tuple(one for one in self.independent if one.move.moved)

    @property
    def chance(self) -> float | None:
        """At most this often the most striking sign is as far away with nothing behind it: Bonferroni over those
        measured, whatever they share. None where none was."""
        chances = [one.p for one in self.independent if one.p is not None]
        return min(1.0, len(chances) * min(chances)) if chances else None

    def without_strength(self) -> Signature:
        """As if no refractometer had been read."""
        blind = {quantity: Sign(quantity, Move.UNKNOWN) for quantity in (Quantity.TDS, Quantity.YIELD)}
        return replace(self, signs={**self.signs, **blind})


def signature_of(
    scope: Scope,
    against: Against,
    differences: Mapping[Quantity, Compared | None],
    smallest: Mapping[Quantity, float],
    risk: float = RISK,
) -> Signature:
    """What is not among ``differences`` was not measured; without a smallest difference nothing is called steady."""
    signs = {
        quantity: sign(quantity, differences.get(quantity), smallest.get(quantity), risk)
        for quantity in Quantity
    }
    return Signature(scope, against, signs, risk)


def _below(t: float, df: float) -> float:
    return float(special.stdtr(df, t) if df < inf else special.ndtr(t))


def _quantile(share: float, df: float) -> float:
    return float(special.stdtrit(df, share) if df < inf else special.ndtri(share))
