"""Whether the cup moved from day to day: what each day was, whoever was on.

m = day + person + error of each person's mean on a day, error with a known variance, persons normal with a known
spread, days unknown: generalised least squares, the persons eliminated. With two brewers a day, who was on is as large
as the day itself; what is left after this is the day.

Searle, Casella and McCulloch 1992, Variance components (Wiley), 7.1: mixed model equations. Draper and Smith 1998,
Applied regression analysis, 3rd edition, doi:10.1002/9781118625590, 9.2: weighted least squares.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.cells import counted
from calibration.statistics.rows import Codes, Floats, level
from calibration.statistics.sums import Noise, Sums, numbered

UNKNOWN = 30.0  # in standard deviations of a cell: a person of whom nothing is known beforehand
FEWEST_AGES = 5  # engineering estimate, no source: days that a slope of ageing is read from


@dataclass(frozen=True, slots=True)
class DayEffects:
    """What each day was, adjusted for who was on. day: ordinals, ascending; effect: above the mean of all days; se: its
    standard error; brews, people: how many; level: the mean of all days, all in the unit of the values. Arrays of shape
    (t,)."""

    day: Codes
    effect: Floats
    se: Floats
    brews: Floats
    people: Codes
    level: float

    def __len__(self) -> int:
        return len(self.day)

    @property
    def values(self) -> Floats:
        return self.level + self.effect

    def limits(self, df: float, coverage: float = 0.95) -> tuple[Floats, Floats]:
        """Of each day's value."""
        reach = float(special.stdtrit(df, (1 + level(coverage)) / 2)) * self.se
        return self.values - reach, self.values + reach


def day_effects(sums: Sums, noise: Noise, staff_sd: float | None) -> DayEffects:
    """``staff_sd``: spread of people, None where it is unknown, as with fewer than five: then only days that are linked
    by the same people are comparable, and the errors of others say so. One level of recipe: `sums.at_one_level`."""
    return occasion_effects(sums.by("who", "day"), sums.by("who", "day").day, noise, staff_sd)


def occasion_effects(cells: Sums, occasion: Codes, noise: Noise, staff_sd: float | None) -> DayEffects:
    """As `day_effects`, by any other label of the cells, in ``day``."""
    days, t = numbered(occasion)
    people, k = numbered(cells.who)
    T, K = len(days), len(people)
    v = noise.of_cells(cells.n)
    exact = not (v > 0).all()
    if exact:
        v = np.ones_like(v)
    w = 1 / v
    centre = float(cells.total.sum() / cells.n.sum())
    y = cells.means - centre
    place = t * K + k
    W = counted(place, w, T * K).reshape(T, K)
    by_day, by_person = counted(t, w * y, T), counted(k, w * y, K)
    A = np.diag(W.sum(1))
    b = by_day
    if K > 1:
        variance = staff_sd**2 if staff_sd is not None else UNKNOWN**2 * float(np.median(v))
        if variance > 0:
            shared = W / (W.sum(0) + 1 / variance)
            A = A - shared @ W.T
            b = by_day - shared @ by_person
    inverse = np.linalg.inv(A)
    found = inverse @ b
    across = inverse.mean(0)
    spread = inverse.diagonal() - 2 * across + across.mean()
    return DayEffects(
        days,
        found - found.mean(),
        np.zeros(T) if exact else np.sqrt(np.maximum(spread, 0.0)),
        counted(t, cells.n, T),
        np.bincount(np.unique(place) // K, minlength=T),
        centre + float(found.mean()),
    )


@dataclass(frozen=True, slots=True)
class Ageing:
    """What a coffee changes by for each day off roast, within lots. slope: in units of the values by day, with its se
    and limits; days, lots: what it was read from; youngest, oldest: in days; reason: why there is none, else ""."""

    slope: float | None
    se: float | None
    low: float | None
    high: float | None
    days: int
    lots: int
    youngest: int
    oldest: int
    reason: str = ""

    @property
    def is_seen(self) -> bool:
        return self.low is not None and self.high is not None and (self.low > 0 or self.high < 0)


def ageing(
    sums: Sums, roasted: dict[int, int], noise: Noise, staff_sd: float | None, coverage: float = 0.95
) -> Ageing:
    """From sums by person, day and lot; roasted: ordinal of the day on which each lot was. Every lot has a level of its
    own, so that a strong one that happened to be brewed late does not pass for ageing."""
    known = np.isin(sums.lot, list(roasted))
    cells = sums.only(known).by("who", "day", "lot")
    if not len(cells):
        return Ageing(
            None, None, None, None, 0, 0, 0, 0, _("Nothing is known of when the coffee was roasted.")
        )
    first = int(cells.day.min())
    span = int(cells.day.max()) - first + 1
    effects = occasion_effects(cells, cells.lot * span + cells.day - first, noise, staff_sd)
    lot, day = np.divmod(effects.day, span)
    age = day + first - np.array([roasted[one] for one in lot.tolist()])
    lots, code = np.unique(lot, return_inverse=True)
    size = np.bincount(code)
    said = (len(effects), len(lots), int(age.min()), int(age.max()))
    df = len(effects) - len(lots) - 1
    # equal weights: what days have in common is mostly theirs, not the number of their brews
    x = age - (np.bincount(code, age) / size)[code]
    y = effects.effect - (np.bincount(code, effects.effect) / size)[code]
    if df < FEWEST_AGES - 2 or not x.any():
        return Ageing(None, None, None, None, *said, _("Too few days of one lot to see it age."))
    slope = float(x @ y / (x @ x))
    left = y - slope * x
    s2 = float(left @ left) / df
    # neighbouring days resemble each other, which makes a slope less certain: Draper and Smith 1998, 7.2 (from memory)
    together = np.diff(code) == 0
    alike = float(left[1:][together] @ left[:-1][together]) / float(left @ left) if left.any() else 0.0
    alike = min(max(alike, 0.0), 0.9)
    se = sqrt(s2 / float(x @ x) * (1 + alike) / (1 - alike))
    reach = float(special.stdtrit(max(1.0, df * (1 - alike) / (1 + alike)), (1 + level(coverage)) / 2)) * se
    return Ageing(slope, se, slope - reach, slope + reach, *said)


def without_ageing(sums: Sums, roasted: dict[int, int], slope: float) -> Sums:
    """As if every brew had been of the mean age; what is not known stays as it is."""
    known = np.isin(sums.lot, list(roasted))
    age = sums.day - np.array([roasted.get(one, 0) for one in sums.lot.tolist()])
    if not known.any():
        return sums
    middle = float(np.average(age[known], weights=sums.n[known]))
    return sums.less(np.where(known, slope * (age - middle), 0.0))
