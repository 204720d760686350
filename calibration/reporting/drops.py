"""How the drops of one brew scatter: added up by the database about the mean that was saved with the brew."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from django.db.models import BigIntegerField, Count, F, FloatField, Sum
from django.db.models.functions import Cast

from calibration import spread
from calibration.models import Drop, Reading
from calibration.reporting.cells import InSteps
from calibration.reporting.ground import Ground
from calibration.statistics.intermediate import pooled_drops
from calibration.statistics.variance import WithinBrews

STEPS = 10_000
"""The saved mean has four decimals: of three drops it is a rounding that no sum of squares notices."""


def of_cafes(ground: Ground) -> dict[int, WithinBrews]:
    """Drops of all standing check brews of the span, by café; those of every café together under 0. Two queries.

    Of instruments that were failing too: what reads wrong may well repeat.
    """
    asked = ground.asked
    drops = (
        Drop.objects.filter(
            reading__cafe__in=[cafe.pk for cafe in asked.cafes],
            reading__business_day__range=(asked.first, asked.last),
            reading__kind=Reading.Kind.CHECK,
            reading__voided_at=None,
        )
        .exclude(reading__attempt=Reading.Attempt.REBREW)
        .exclude(reading__in=spread.corrected())
    )
    df: dict[int, int] = defaultdict(int)
    squares: dict[int, float] = defaultdict(float)
    n: dict[int, int] = defaultdict(int)

    def add(cafe: int, drops: int, brews: int, about: float) -> None:
        for key in (cafe, 0):
            df[key] += drops - brews
            n[key] += brews
            squares[key] += about

    away = Cast(_steps("tds") - _steps("reading__tds"), BigIntegerField())
    for cafe, of_drops, of_brews, about in (
        drops.filter(reading__tds_rule="mean")
        .order_by("reading__cafe")
        .values_list("reading__cafe")
        .annotate(drops=Count("pk"), brews=Count("reading", distinct=True), about=Sum(away * away))
    ):
        add(cafe, of_drops, of_brews, int(about) / STEPS**2)
    # A median is not what its drops scatter about, and is rare.
    for cafe, tds in _of_medians(drops):
        mean = sum(tds) / len(tds)
        add(cafe, len(tds), 1, sum((each - mean) ** 2 for each in tds))
    return {cafe: pooled_drops(df[cafe], squares[cafe], n[cafe]) for cafe in sorted(n)}


def _steps(field: str) -> InSteps:
    return InSteps(Cast(F(field), FloatField()) * float(STEPS))


def _of_medians(drops: Any) -> list[tuple[int, list[float]]]:
    by_brew: dict[tuple[int, int], list[float]] = defaultdict(list)
    rows = drops.exclude(reading__tds_rule="mean").order_by("reading__cafe", "reading", "order")
    for cafe, reading, tds in rows.values_list("reading__cafe", "reading", "tds"):
        by_brew[cafe, reading].append(float(tds))
    return [(cafe, tds) for (cafe, _reading), tds in by_brew.items()]
