"""Brews added up: of each person, day, recipe and lot how many, their sum and their sum of squares.

A mean and a spread need no more than that, so a million brews never have to leave the database. What is taken off every
brew of a group (what a recipe is stronger by, what a coffee lost by ageing) can be taken off its sums.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewbar.words import gettext as _
from calibration.statistics import variance
from calibration.statistics.cells import counted
from calibration.statistics.rows import Codes, Floats

FEWEST_STAFF = 5  # with fewer levels a spread of people is a guess: SEEN_IN_SIMULATION of `variance`
MANY_GROUPS = 20_000  # from here a profile of the likelihood takes minutes and says what its curvature says
MANY_PEOPLE = 30


def numbered(labels: Codes) -> tuple[Codes, Codes]:
    """The labels that occur, ascending, and which of them each is: by a table, where they lie close together."""
    low, high = int(labels.min(initial=0)), int(labels.max(initial=0))
    if high - low > 4 * len(labels) + 1024:
        found, at = np.unique(labels, return_inverse=True)
        return found, at
    used = np.flatnonzero(np.bincount(labels - low, minlength=high - low + 1))
    place = np.empty(high - low + 1, dtype=np.intp)
    place[used] = np.arange(len(used))
    return used + low, place[labels - low]


@dataclass(frozen=True, slots=True)
class Sums:
    """who, day, recipe, lot: whole numbers, of each group its labels, days as ordinals; n: brews; total, squares: sums
    of the values and of their squares. All of shape (c,)."""

    who: Codes
    day: Codes
    recipe: Codes
    lot: Codes
    n: Floats
    total: Floats
    squares: Floats

    @classmethod
    def of(
        cls, who: ArrayLike, day: ArrayLike, n: ArrayLike, total: ArrayLike, squares: ArrayLike,
        recipe: ArrayLike | None = None, lot: ArrayLike | None = None,
    ) -> Sums:  # fmt: skip
        """ValueError for columns of several lengths and for a group without a brew."""
        counts = np.asarray(n, dtype=np.float64)
        none = np.zeros(len(counts), dtype=np.intp)
        made = cls(
            np.asarray(who, dtype=np.intp),
            np.asarray(day, dtype=np.intp),
            none if recipe is None else np.asarray(recipe, dtype=np.intp),
            none if lot is None else np.asarray(lot, dtype=np.intp),
            counts,
            np.asarray(total, dtype=np.float64),
            np.asarray(squares, dtype=np.float64),
        )
        if len({len(getattr(made, field.name)) for field in fields(cls)}) > 1:
            raise ValueError(_("Every group needs its number, its sum and its sum of squares."))
        if (counts <= 0).any():
            raise ValueError(_("Group %(row)d has no values.") % {"row": int((counts <= 0).argmax()) + 1})
        return made

    def __len__(self) -> int:
        return len(self.n)

    @property
    def brews(self) -> int:
        return round(float(self.n.sum()))

    @property
    def means(self) -> Floats:
        return self.total / self.n

    @property
    def people(self) -> Codes:
        return numbered(self.who)[0]

    @property
    def days(self) -> Codes:
        return numbered(self.day)[0]

    @property
    def recipes(self) -> Codes:
        return numbered(self.recipe)[0]

    def only(self, chosen: NDArray[np.bool_]) -> Sums:
        return Sums(*(getattr(self, field.name)[chosen] for field in fields(self)))

    def less(self, offset: Floats) -> Sums:
        """Every value less what its group's ``offset`` says."""
        squares = self.squares - 2 * offset * self.total + self.n * offset**2
        return replace(self, total=self.total - self.n * offset, squares=squares)

    def by(self, *keys: str) -> Sums:
        """Groups that agree in ``keys`` added up, in their order; the other labels become 0."""
        if not len(self):
            return self
        columns = [numbered(getattr(self, key)) for key in keys]
        place = np.zeros(len(self), dtype=np.intp)
        for labels, codes in columns:
            place = place * len(labels) + codes
        used, at = numbered(place)
        kept = {}
        left = used
        for key, (labels, _codes) in reversed(list(zip(keys, columns, strict=True))):
            left, codes = np.divmod(left, len(labels))
            kept[key] = labels[codes]
        none = np.zeros(len(used), dtype=np.intp)
        who, day, recipe, lot = (kept.get(key, none) for key in ("who", "day", "recipe", "lot"))
        n, total, squares = (counted(at, each, len(used)) for each in (self.n, self.total, self.squares))
        return Sums(who, day, recipe, lot, n, total, squares)


@dataclass(frozen=True, slots=True)
class Noise:
    """Variances of what neither person nor day tells, and the degrees of freedom they were measured with.

    staff_day: of a person on a day; brew: of one brew; joined: whether the two could not be told apart, so that a
    second brew of a day is not counted as news.
    """

    staff_day: float
    brew: float
    joined: bool
    df: float

    def of_cells(self, n: Floats) -> Floats:
        """Of the mean of n brews of one person on one day."""
        if self.joined:
            return np.full(len(n), self.brew)
        return self.staff_day + self.brew / n


def parted(sums: Sums, *, intervals: bool = False, predictions: bool = False) -> variance.VarianceFit:
    """The spread by staff, day, both together and brew, each recipe at a level of its own.

    Fewer than `FEWEST_STAFF` people have levels of their own too, and no spread. predictions: of staff.
    """
    few = len(sums.people) < FEWEST_STAFF
    fixed: dict[str, list[str]] = {}
    if len(sums.recipes) > 1:
        fixed["recipe"] = [f"recipe {one}" for one in sums.recipe.tolist()]
    if few and len(sums.people) > 1:
        fixed["staff"] = [f"person {one}" for one in sums.who.tolist()]
    terms = ("day", "staff:day") if few else ("staff", "day", "staff:day")
    quick = len(sums) >= MANY_GROUPS and len(sums.people) >= MANY_PEOPLE
    return variance.fit_sums(
        sums.n, sums.total, sums.squares, {"staff": sums.who, "day": sums.day}, terms, fixed,
        intervals=intervals, predictions=("staff",) if predictions and not few else False,
        residual="brew", quick=quick,
    )  # fmt: skip


def noise_of(fit: variance.VarianceFit, sums: Sums) -> Noise | None:
    """What a fit by `parted` left to people on days and to brews; None where nothing could be measured."""
    last = list(fit.components.values())[-1]
    if last.variance is None:
        return None
    together = fit.components.get("staff:day")
    joined = "staff:day" in last.name
    cells = len(sums.by("who", "day"))
    of_levels = len(sums.people) + len(sums.days) - 1
    df = (cells if joined else sums.brews) - of_levels
    if not joined and together is not None and together.variance:
        df = sums.brews - cells
    staff_day = together.variance if together is not None and together.variance else 0.0
    return Noise(staff_day, last.variance, joined, max(1.0, float(df)))


def at_one_level(sums: Sums, fit: variance.VarianceFit) -> Sums:
    """As if every recipe were as strong as their mean, person and day added up."""
    if len(sums.recipes) > 1:
        apart = {f"recipe {sums.recipes[0]}": 0.0} | {
            effect.level: effect.estimate or 0.0
            for effect in fit.fixed
            if effect.column == "recipe" and effect.level
        }
        offset = np.array([apart.get(f"recipe {one}", 0.0) for one in sums.recipe.tolist()])
        sums = sums.less(offset - float(np.average(offset, weights=sums.n)))
    return sums.by("who", "day")
