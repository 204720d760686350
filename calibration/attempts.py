"""Which brew of a barista's day this is: the first, a repeat that was drawn by lot, or a re-brew.

The first brew counts, whichever is entered first: one that is still under way was begun before.
"""

from __future__ import annotations

from datetime import date, datetime

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
    if not before:
        return Attempt.FIRST
    asked = _is_drawn(barista, cafe, recipe_id, day) and Attempt.REPEAT not in before
    return Attempt.REPEAT if asked else Attempt.REBREW


def began(run: CheckRun) -> datetime:
    """First water, or where no timer ran the moment the card was opened."""
    at: datetime = run.poured_at or run.opened_at
    return at


def _is_drawn(barista: User, cafe: Cafe, recipe_id: int, day: date) -> bool:
    rows = OnDuty.objects.filter(cafe=cafe, business_day=day, user=barista, asked_twice=True)
    return rows.exists() and check_plans.is_check(check_plans.of(cafe), recipe_id)
