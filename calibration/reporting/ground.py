"""What every part of a report stands on, fetched once: the brews added up, what they were made with, and by whom."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cached_property
from typing import Any

import numpy as np
from django.db.models import QuerySet

from brewbar.crew.models import Cafe
from calibration.instrument_spans import Span
from calibration.models import CheckPlan, Refractometer
from calibration.reporting import cells, training
from calibration.reporting.cells import Cells
from calibration.reporting.result import Asked
from recipes.aims import OwnAims
from recipes.models import RecipeVersion, RoastBatch


@dataclass(frozen=True)
class Ground:
    """everybody: cells of this span and the one before; crew: without people in training; learning: theirs;
    aside: the crew's brews of the span that were voided or brewed again; roasted: by batch, the ordinal of its day.
    """

    asked: Asked
    now: datetime
    everybody: Cells
    crew: Cells
    learning: Cells
    aside: Cells
    spans: tuple[Span, ...]
    own: OwnAims
    plans: Mapping[int, CheckPlan]
    instruments: tuple[Refractometer, ...]
    versions: Mapping[int, RecipeVersion]
    roasted: Mapping[int, int]

    @cached_property
    def this(self) -> Cells:
        """The crew's brews of the span."""
        return self.crew.between(self.asked.first, self.asked.last)

    @cached_property
    def before(self) -> Cells:
        return self.crew.between(*self.asked.before)

    @property
    def counted(self) -> QuerySet[Any]:
        """The readings behind the cells of both spans."""
        return cells.counted(self.asked, self.spans)

    @cached_property
    def main_recipe(self) -> dict[int, int]:
        """By café the recipe that tells most of it: the one its crew checks with, else the one brewed most."""
        recipes = self.recipe_of(self.this)
        found = {}
        for cafe in self.asked.cafes:
            here = self.this.cafe == cafe.pk
            brewed, at = np.unique(recipes[here], return_inverse=True)
            if not len(brewed):
                continue
            asked_for = self.plan_of(cafe.pk).recipe_id
            most = int(brewed[np.bincount(np.ravel(at), self.this.n[here]).argmax()])
            found[cafe.pk] = asked_for if asked_for is not None and asked_for in brewed else most
        return found

    def end_of(self, cafe: Cafe) -> datetime:
        """When the span ends there, or now where it has not."""
        after = self.asked.last + timedelta(days=1)
        return min(self.now, datetime.combine(after, time(cafe.day_turns_at), cafe.zone))

    def last_day(self, cafe: Cafe) -> date:
        """Of the span, or today where it has not come that far."""
        return min(self.asked.last, cafe.business_day(self.now))

    @property
    def is_running(self) -> bool:
        """Whether the span is not over yet, in some café at least."""
        return any(cafe.business_day(self.now) <= self.asked.last for cafe in self.asked.cafes)

    @property
    def cafes(self) -> dict[int, Cafe]:
        return {cafe.pk: cafe for cafe in self.asked.cafes}

    def plan_of(self, cafe: int) -> CheckPlan:
        return self.plans.get(cafe) or CheckPlan(cafe=self.cafes[cafe])

    def recipe_of(self, found: Cells) -> Any:
        """The recipe of each cell."""
        recipes = {pk: version.recipe_id for pk, version in self.versions.items()}
        return np.array([recipes[pk] for pk in found.version.tolist()], dtype=np.int64)


def gather(asked: Asked, now: datetime) -> Ground:
    """Eleven queries, however much there is."""
    spans = tuple(cells.spans_of(asked, now))
    own = OwnAims.of(asked.cafes)
    everybody = cells.fetch(cells.counted(asked, spans), own)
    aside = cells.fetch(cells.put_aside(asked, spans), own)
    times = training.times_of(asked)
    learns = training.which(everybody, times)
    places = [cafe.pk for cafe in asked.cafes]
    versions = RecipeVersion.objects.filter(pk__in=np.unique(everybody.version).tolist())
    batches = RoastBatch.objects.filter(pk__in=np.unique(everybody.batch).tolist())
    return Ground(
        asked,
        now,
        everybody,
        everybody.only(~learns),
        everybody.only(learns),
        aside.only(~training.which(aside, times)),
        spans,
        own,
        {plan.cafe_id: plan for plan in CheckPlan.objects.filter(cafe__in=places).select_related("recipe")},
        tuple(Refractometer.objects.filter(cafe__in=places).order_by("cafe__name", "name", "pk")),
        {version.pk: version for version in versions.select_related("recipe__coffee")},
        {pk: day.toordinal() for pk, day in batches.values_list("pk", "roasted_on")},
    )
