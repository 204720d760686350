"""Which brew of a barista's day this is: the first, a repeat that was drawn by lot, or a re-brew.

The first brew counts, whichever is entered first: one that is still under way was begun before.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from itertools import chain

from django.db.models.functions import Coalesce

from brewbar.crew.models import Cafe, User
from calibration import check_plans
from calibration.models import CheckRun, OnDuty, Reading

Attempt = Reading.Attempt


def of_brew(
    barista: User,
    cafe: Cafe,
    recipe_id: int,
    day: date,
    kind: str,
    began_at: datetime | None = None,
    instead_of: Reading | None = None,
) -> str:
    """began_at: when its run did, None for a brew that is entered without one, or that begins now.

    instead_of: the reading that it corrects, which does not stand beside it.
    """
    if kind != Reading.Kind.CHECK:
        return Attempt.FIRST
    readings = Reading.objects.standing().filter(
        kind=Reading.Kind.CHECK, barista=barista, version__recipe=recipe_id, business_day=day, cafe=cafe
    )
    if instead_of is not None:
        readings = readings.exclude(pk=instead_of.pk)
    runs = CheckRun.objects.filter(
        cafe=cafe, barista=barista, business_day=day, slot__card__recipe=recipe_id, kind=Reading.Kind.CHECK
    ).open()
    # A card that was opened and not brewed from is no brew.
    runs = runs.exclude(poured_at=None, brew_time_s=None)
    if began_at is not None:
        # One that was entered without a run was brewed when it says.
        readings = readings.annotate(began=Coalesce("run__poured_at", "run__opened_at", "brewed_at"))
        readings = readings.filter(began__lte=began_at)
        runs = runs.annotate(began=Coalesce("poured_at", "opened_at")).filter(began__lt=began_at)
    before = [*readings.values_list("attempt", flat=True), *runs.values_list("attempt", flat=True)]
    return after(before, bool(before) and _is_drawn(barista, cafe, recipe_id, day))


def after(before: Collection[str], is_drawn: bool) -> str:
    """What a check is that comes after those ``before`` it of the same person, recipe and day."""
    if not before:
        return Attempt.FIRST
    return Attempt.REPEAT if is_drawn and Attempt.REPEAT not in before else Attempt.REBREW


Key = tuple[int, int, date]
"""A barista, a recipe and a business day."""


@dataclass(frozen=True)
class Days:
    """What many checks of one café come after, read once: so each is what `of_brew` would say of it."""

    before: dict[Key, list[str]]
    drawn: frozenset[tuple[int, date]]
    check_recipe: int | None

    @classmethod
    def of(cls, cafe: Cafe, keys: Collection[Key]) -> Days:
        """Of those days whose ``keys`` are asked about."""
        days = [key[2] for key in keys]
        span = {"cafe": cafe, "business_day__range": (min(days), max(days))} if days else {"pk": None}
        kind = {"kind": Reading.Kind.CHECK}
        readings = Reading.objects.standing().filter(**span, **kind).order_by()
        runs = CheckRun.objects.filter(**span, **kind).open().exclude(poured_at=None, brew_time_s=None)
        rows = (
            readings.values_list("barista", "version__recipe", "business_day", "attempt"),
            runs.values_list("barista", "slot__card__recipe", "business_day", "attempt"),
        )
        before: dict[Key, list[str]] = {}
        for barista, recipe, day, attempt in chain.from_iterable(found.iterator() for found in rows):
            if (barista, recipe, day) in keys:
                before.setdefault((barista, recipe, day), []).append(attempt)
        drawn = OnDuty.objects.filter(**span, asked_twice=True).values_list("user", "business_day")
        return cls(before, frozenset(drawn), check_plans.of(cafe).recipe_id)

    def next(self, key: Key) -> str:
        """Of one more check; they are told in the order in which they were brewed."""
        barista, recipe, day = key
        before = self.before.setdefault(key, [])
        is_drawn = recipe == self.check_recipe and (barista, day) in self.drawn
        before.append(after(before, is_drawn))
        return before[-1]


def began(run: CheckRun) -> datetime:
    """First water, or where no timer ran the moment the card was opened."""
    at: datetime = run.poured_at or run.opened_at
    return at


def _is_drawn(barista: User, cafe: Cafe, recipe_id: int, day: date) -> bool:
    rows = OnDuty.objects.filter(cafe=cafe, business_day=day, user=barista, asked_twice=True)
    return rows.exists() and check_plans.is_check(check_plans.of(cafe), recipe_id)
