"""Who brews off: each person's brews less those of the others who brewed the same recipe that day.

D = m - Σ wⱼmⱼ / Σ wⱼ over the others j of that day and recipe, w = 1/v, v the variance of a person's mean on a day.
What the day, the coffee and the instrument did to everybody falls out. A day on which nobody else brewed says nothing.

Of one person all days together, by least squares: D̄ = Σ D/var D / Σ 1/var D, var D = v + 1/Σ wⱼ. That is how far this
person was from these others. How far from the whole crew, shrunk by how much people differ at all, is the prediction of
a mixed model: `variance`.

Henderson 1975, Best linear unbiased estimation and prediction under a selection model, Biometrics 31:423,
doi:10.2307/2529430. Roberts 1959, Control chart tests based on geometric moving averages, Technometrics 1:239,
doi:10.1080/00401706.1959.10489860.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.cells import counted
from calibration.statistics.rows import Codes, Floats, level
from calibration.statistics.sums import FEWEST_STAFF, Noise, Sums, noise_of, numbered, parted
from calibration.statistics.variance import VarianceFit

FEWEST_BREWS = 5  # engineering estimate, no source: of fewer, chance says most
FEWEST_FOR_OWN_SD = 50  # of fewer, a person's own spread is a guess, and flags two thirds of ordinary people
LAMBDA = 0.1


@dataclass(frozen=True, slots=True)
class Deviations:
    """Of each person, day and recipe that somebody else brewed as well; arrays of shape (c,), in the order of persons,
    then of days. who, day, recipe: labels; deviation: D; variance: of D; others: how many people; n: own brews."""

    who: Codes
    day: Codes
    recipe: Codes
    deviation: Floats
    variance: Floats
    others: Codes
    n: Floats

    def of(self, person: int) -> Deviations:
        return self.only(self.who == person)

    def only(self, chosen: NDArray[np.bool_]) -> Deviations:
        return Deviations(
            self.who[chosen],
            self.day[chosen],
            self.recipe[chosen],
            self.deviation[chosen],
            self.variance[chosen],
            self.others[chosen],
            self.n[chosen],
        )


def from_others(sums: Sums, noise: Noise) -> Deviations:
    """What each person's brews of a day lie above those of the others."""
    cells = sums.by("who", "day", "recipe")
    v = _positive(noise.of_cells(cells.n))
    w = 1 / v
    _days, day = numbered(cells.day)
    recipes, recipe = numbered(cells.recipe)
    _used, occasion = numbered(day * len(recipes) + recipe)
    size = int(occasion.max(initial=-1)) + 1
    crowd = np.bincount(occasion, minlength=size)[occasion]
    kept = crowd > 1
    centre = float(cells.means.mean()) if len(cells) else 0.0
    m = cells.means - centre
    weight = counted(occasion, w, size)[occasion][kept] - w[kept]
    pull = counted(occasion, w * m, size)[occasion][kept] - (w * m)[kept]
    left = cells.only(kept)
    deviation = m[kept] - pull / weight
    scale = 1.0 if noise.brew > 0 else 0.0
    return Deviations(
        left.who, left.day, left.recipe, deviation, scale * (v[kept] + 1 / weight), crowd[kept] - 1, left.n
    )


def _positive(v: Floats) -> Floats:
    """Weights want a variance; where brews never differ, every cell weighs the same."""
    return v if (v > 0).all() else np.ones_like(v)


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one person stands, in the unit of the values.

    who: label; brews, days: that were compared with others; alone: brews that nobody else's could be compared with;
    raw: D̄ with its se and limits; estimate: shrunk, with limits that know how uncertain the spread of people is, None
    with fewer than five people; too_few: whether that is too little to say anything.
    """

    who: int
    brews: int
    days: int
    alone: int
    raw: float | None
    raw_se: float | None
    raw_low: float | None
    raw_high: float | None
    estimate: float | None = None
    low: float | None = None
    high: float | None = None
    too_few: bool = False

    @property
    def best(self) -> float | None:
        return self.raw if self.estimate is None else self.estimate

    @property
    def limits(self) -> tuple[float | None, float | None]:
        return (self.raw_low, self.raw_high) if self.estimate is None else (self.low, self.high)

    def side(self, smallest: float | None) -> str:
        """ "high" or "low" where the whole interval lies beyond ± ``smallest``, "inside" where it lies within, "close"
        where it does neither, "few" and "none" where there is too little to say, or nothing to hold it against."""
        low, high = self.limits
        if self.too_few or low is None or high is None:
            return "few"
        if smallest is None:
            return "none"
        if low > smallest:
            return "high"
        if high < -smallest:
            return "low"
        return "inside" if -smallest <= low and high <= smallest else "close"


@dataclass(frozen=True, slots=True)
class Crew:
    """standings: by estimate, the highest first, those of whom too little is known last; deviations: of each day;
    noise: how brews scatter, None where that is unknown; staff_sd: spread of people; fit: of the days on which people
    could be compared; shrunk: whether there were people enough for that; notes: what to know."""

    standings: tuple[Standing, ...]
    deviations: Deviations | None
    noise: Noise | None
    staff_sd: float | None
    fit: VarianceFit | None
    shrunk: bool
    notes: tuple[str, ...]


def between_staff(sums: Sums, coverage: float = 0.95) -> Crew:
    """Everybody's standing, from the days on which more than one person brewed the same recipe."""
    level(coverage)
    met = compared(sums)
    if not len(met):
        alone = _brews_by_person(sums)
        standings = tuple(
            Standing(who, 0, 0, n, None, None, None, None, too_few=True) for who, n in alone.items()
        )
        reason = _("No two people brewed the same recipe on the same day, so nobody can be compared.")
        return Crew(standings, None, None, None, None, False, (reason,))
    fit = parted(met, predictions=True)
    noise = noise_of(fit, met)
    if noise is None:
        return Crew((), None, None, None, fit, False, fit.notes)
    found = from_others(met, noise)
    standings = _standings(sums, found, noise, fit, coverage)
    staff = fit.components.get("staff")
    shrunk = "staff" in fit.predictions
    notes = list(fit.notes)
    if not shrunk:
        notes.insert(
            0,
            _(
                "With fewer than %(least)d people, how much people differ can't be told: each line is the plain "
                "difference from the others, with its own interval."
            )
            % {"least": FEWEST_STAFF},
        )
    return Crew(standings, found, noise, staff.sd if staff else None, fit, shrunk, tuple(notes))


def compared(sums: Sums) -> Sums:
    """Without what somebody brewed alone."""
    if not len(sums):
        return sums
    cells = sums.by("who", "day", "recipe")
    recipes = sums.recipes
    first = int(sums.day.min())

    def occasions(of: Sums) -> Codes:
        return (of.day - first) * len(recipes) + np.searchsorted(recipes, of.recipe)

    people = np.bincount(occasions(cells))
    return sums.only(people[occasions(sums)] > 1)


def _brews_by_person(sums: Sums) -> dict[int, int]:
    people, at = numbered(sums.who)
    return {int(who): round(float(n)) for who, n in zip(people, np.bincount(at, sums.n), strict=True)}


def _standings(
    sums: Sums, found: Deviations, noise: Noise, fit: VarianceFit, coverage: float
) -> tuple[Standing, ...]:
    everybody = _brews_by_person(sums)
    people, at = numbered(found.who)
    w = 1 / _positive(found.variance)
    weight = counted(at, w, len(people))
    raw = counted(at, w * found.deviation, len(people)) / weight
    se = np.sqrt(1 / weight) if noise.brew > 0 else np.zeros(len(people))
    reach = float(special.stdtrit(noise.df, (1 + coverage) / 2))
    days, brews = np.bincount(at, minlength=len(people)), counted(at, found.n, len(people))
    shrunk = fit.predictions.get("staff")
    place = {} if shrunk is None else {who: i for i, who in enumerate(shrunk.levels)}
    standings = []
    seen = dict(zip(people.tolist(), range(len(people)), strict=True))
    for who, of_all in everybody.items():
        i = seen.get(who)
        if i is None:
            standings.append(Standing(who, 0, 0, of_all, None, None, None, None, too_few=True))
            continue
        own = round(float(brews[i]))
        j = place.get(who)
        middle, away = float(raw[i]), reach * float(se[i])
        standings.append(
            Standing(
                who, own, int(days[i]), of_all - own, middle, float(se[i]), middle - away, middle + away,
                estimate=None if shrunk is None or j is None else float(shrunk.estimate[j]),
                low=None if shrunk is None or j is None else float(shrunk.low[j]),
                high=None if shrunk is None or j is None else float(shrunk.high[j]),
                too_few=own < FEWEST_BREWS,
            )
        )  # fmt: skip
    return tuple(sorted(standings, key=lambda one: (one.too_few, -(one.best or 0.0), one.who)))


@dataclass(frozen=True, slots=True)
class Followed:
    """A person's deviations over time, their moving average z = λD + (1 - λ)z and where it is expected.

    day: ordinals; deviation, z: in the unit of the values; low, high: limits of z about the person's own baseline,
    three standard errors of z and of the baseline; baseline: D̄; own_sd: whether the person's own spread was used, as
    it is from `FEWEST_FOR_OWN_SD` brews on, and the crew's pooled one else. Arrays of shape (d,).
    """

    day: Codes
    deviation: Floats
    z: Floats
    low: Floats
    high: Floats
    baseline: float
    own_sd: bool


def over_time(own: Deviations, lambda_: float = LAMBDA, width: float = 3.0) -> Followed | None:
    """Deviations of one person, of which those of one day are made one. None where there are none."""
    if not len(own.day):
        return None
    days, at = np.unique(own.day, return_inverse=True)
    w = 1 / _positive(own.variance)
    weight = counted(at, w, len(days))
    d = counted(at, w * own.deviation, len(days)) / weight
    variance = (1 / weight) if (own.variance > 0).all() else np.zeros(len(days))
    baseline = float((weight * d).sum() / weight.sum())
    own_sd = float(own.n.sum()) >= FEWEST_FOR_OWN_SD and len(days) > 2 and bool((variance > 0).all())
    if own_sd:
        # how far this person's days scatter beyond or short of what the crew's brews say
        variance = variance * float((weight * (d - baseline) ** 2).sum()) / (len(days) - 1)
    z = np.empty(len(days))
    v = np.empty(len(days))
    before, spread = baseline, 0.0
    for t in range(len(days)):
        before = lambda_ * d[t] + (1 - lambda_) * before
        spread = lambda_**2 * variance[t] + (1 - lambda_) ** 2 * spread
        z[t], v[t] = before, spread
    of_baseline = 0.0 if not (variance > 0).all() else 1 / float((1 / variance).sum())
    reach = width * np.sqrt(v + of_baseline)
    return Followed(days, d, z, baseline - reach, baseline + reach, baseline, own_sd)


def box_of(n: int, total: float, squares: float, share: float = 0.8) -> tuple[float, float] | None:
    """Between which values about that share of n values lies, from their sums alone: mean ± z·s. None under two."""
    if n < 2:
        return None
    mean = total / n
    sd = sqrt(max(squares - total * mean, 0.0) / (n - 1))
    z = float(special.ndtri((1 + share) / 2))
    return mean - z * sd, mean + z * sd
