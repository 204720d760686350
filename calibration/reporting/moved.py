"""Whether the cup changed: this span against the one before, and whether it moved within it, and when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cached_property
from math import log

import numpy as np

from brewbar.crew.models import Cafe
from calibration import days, spread
from calibration.days import NEAR_DAYS, Reckoned
from calibration.drift import MEASURES, Measure
from calibration.reporting.cells import AIMS, Cells, paired, parted
from calibration.reporting.changes import Changed, changes_of
from calibration.reporting.ground import Ground
from calibration.statistics.differences import (
    MeanDifference,
    ShareDifference,
    mean_difference,
    share_difference,
)
from calibration.statistics.shares import Inside
from calibration.statistics.sums import Sums
from calibration.statistics.usual_days import SURE, Step
from recipes.aims import Aims
from recipes.models import Recipe, RecipeVersion

TDS = MEASURES["tds"]


@dataclass(frozen=True)
class Against:
    """One measure of one café, or of all (cafe ""), against the span before. smallest: the smallest difference that
    matters, of several cafés the smallest of theirs; is_surely_seen: whether it changed, the more surely the more cafés
    are looked at."""

    cafe: str
    measure: Measure
    share: ShareDifference | None
    mean: MeanDifference | None
    smallest: float | None
    is_surely_seen: bool


@dataclass(frozen=True)
class Bar:
    """One café's main recipe, day by day. own: cells of the span; days: its days; reckoned: from the span before as
    well, so that what is usual is known and a change between the two has a date; changed: what was, in both."""

    cafe: Cafe
    recipe: Recipe
    own: Cells
    reckoned: Reckoned
    smallest: float | None
    needed: float
    since: int
    changed: tuple[Changed, ...]

    @property
    def days(self) -> list[int]:
        first = int(self.own.day.min())
        return [day for day in self.reckoned.effects.day.tolist() if day >= first]

    @property
    def step(self) -> Step | None:
        """Only where it is sure, and not so early in the span before that it is no news."""
        step = self.reckoned.usual.step
        return step if step is not None and step.gain >= self.needed and step.day >= self.since else None

    @property
    def perhaps(self) -> Step | None:
        """Where it is worth a word and not sure."""
        step = self.reckoned.usual.step
        if (
            step is None
            or step.gain >= self.needed
            or step.day < self.since
            or not step.may_be(self.smallest or 0.0)
        ):
            return None
        return step

    def near(self, step: Step) -> list[str]:
        """What was changed about then, oldest first."""
        said = [
            one.says for one in self.changed if step.first - NEAR_DAYS <= one.day.toordinal() <= step.last
        ]
        return list(dict.fromkeys(said))

    @property
    def outside(self) -> list[date]:
        """Days beyond what days here usually do."""
        usual, effects = self.reckoned.usual, self.reckoned.effects
        found = effects.day[usual.outside].tolist()
        return [date.fromordinal(day) for day in found if day in self.days]


@dataclass(frozen=True)
class Moved:
    ground: Ground

    @cached_property
    def together(self) -> tuple[Against, ...]:
        """By measure, all cafés in one."""
        return tuple(self._against("", measure, None) for measure in MEASURES.values())

    @cached_property
    def apart(self) -> tuple[Against, ...]:
        """TDS by café, where there are several."""
        cafes = self.ground.asked.cafes
        return tuple(self._against(cafe.name, TDS, cafe) for cafe in cafes) if len(cafes) > 1 else ()

    @cached_property
    def bars(self) -> tuple[Bar, ...]:
        """Of each café that brewed."""
        ground = self.ground
        recipes = {version.recipe_id: version.recipe for version in ground.versions.values()}
        found = []
        before = ground.asked.before
        since = (before[0].toordinal() + before[1].toordinal()) // 2
        for cafe in ground.asked.cafes:
            main = ground.main_recipe.get(cafe.pk)
            if main is None:
                continue
            chosen = (ground.crew.cafe == cafe.pk) & (ground.recipe_of(ground.crew) == main)
            both = ground.crew.only(chosen)
            own = both.between(ground.asked.first, ground.asked.last)
            if not own.of["tds"].n.any():
                continue
            reckoned, matters = _reckoned(both, ground.roasted), self.smallest(cafe, own)
            changed = tuple(one for one in self.changes.get(cafe.pk, ()) if one.recipe in (None, main))
            found.append(Bar(cafe, recipes[main], own, reckoned, matters, self._needed, since, changed))
        return tuple(found)

    @cached_property
    def changes(self) -> dict[int, list[Changed]]:
        return changes_of(self.ground.asked)

    @property
    def _needed(self) -> float:
        """Of several cafés one is more often told to have moved by chance, so each has to be surer."""
        return SURE + 2 * log(max(1, len(self.ground.asked.cafes)))

    def smallest(self, cafe: Cafe, own: Cells, measure: Measure = TDS) -> float | None:
        """As the café says, else half the tolerance of the newest version that was brewed."""
        plan = self.ground.plan_of(cafe.pk)
        said = {"tds": plan.smallest_tds, "time": plan.smallest_time_s}.get(measure.key)
        if said is not None:
            return float(said)
        newest = newest_of(self.ground, own)
        if newest is None:
            return None
        aims = self.ground.own.at(cafe.pk, newest, end_of(cafe, self.ground.asked.last))
        return float(getattr(aims, AIMS[measure.key][1])) / 2

    def _against(self, name: str, measure: Measure, cafe: Cafe | None) -> Against:
        this, before = self.ground.this, self.ground.before
        if cafe is not None:
            this, before = this.only(this.cafe == cafe.pk), before.only(before.cafe == cafe.pk)
        shares = [inside(each, measure) for each in (this, before)]
        told = [bool(each.of[measure.key].n.any()) for each in (this, before)]
        # A new version of a recipe is a change like any other, so a recipe is one level, whatever its version.
        sums = [
            each.sums(measure, paired(each.cafe, self.ground.recipe_of(each))) if ok else None
            for each, ok in zip((this, before), told, strict=True)
        ]
        cafes = [cafe] if cafe is not None else list(self.ground.asked.cafes)
        matters = [self.smallest(one, this.only(this.cafe == one.pk), measure) for one in cafes]
        return Against(
            name,
            measure,
            share_difference(shares[0], shares[1]) if shares[0] and shares[1] else None,
            mean_difference(sums[0], sums[1]) if sums[0] is not None and sums[1] is not None else None,
            min((one for one in matters if one is not None), default=None),
            cafe is not None and self._is_surely_seen(sums[0], sums[1]),
        )

    def _is_surely_seen(self, now: Sums | None, before: Sums | None) -> bool:
        if now is None or before is None:
            return False
        # Bonferroni: one of many cafés is soon told to differ by chance.
        found = mean_difference(now, before, coverage=1 - 0.05 / len(self.ground.asked.cafes))
        return found.is_seen if found.alike is None else found.alike.is_seen


def _reckoned(found: Cells, roasted: Mapping[int, int]) -> Reckoned:
    sums = found.sums(TDS, np.zeros_like(found.n))
    of = {pk: roasted[pk] for pk in np.unique(found.batch).tolist()}
    return spread.remembered("days", sums, lambda: days.reckon(sums, of, False), False, of)


def inside(found: Cells, measure: Measure) -> Inside | None:
    hits = found.of[measure.key]
    told = hits.judged > 0
    if not told.any():
        return None
    own, of = found.only(told), hits.only(told)
    return Inside.of(own.who, own.cafe_day, of.inside, of.judged)


def newest_of(ground: Ground, own: Cells) -> RecipeVersion | None:
    versions = [ground.versions[pk] for pk in np.unique(own.version).tolist()]
    return max(versions, key=lambda one: (one.number, one.pk), default=None)


def end_of(cafe: Cafe, day: date) -> datetime:
    return datetime.combine(day, time.max, cafe.zone)


def aims_by_day(ground: Ground, bar: Bar) -> list[tuple[date, Aims]]:
    """What the version that was brewed most on each day was held to at noon."""
    brewed, at = np.unique(paired(bar.own.day, bar.own.version), return_inverse=True)
    most: dict[int, tuple[float, int]] = {}
    for key, n in zip(brewed.tolist(), np.bincount(np.ravel(at), bar.own.n).tolist(), strict=True):
        ordinal, version = parted(key)
        most[ordinal] = max(most.get(ordinal, (0.0, 0)), (n, version))
    found = []
    for ordinal, (_n, version) in most.items():
        day = date.fromordinal(ordinal)
        noon = datetime.combine(day, time(12), bar.cafe.zone)
        found.append((day, ground.own.at(bar.cafe.pk, ground.versions[version], noon)))
    return found
