"""Readings become fits of beds, which recipes reads: how one coffee drains at one grind, by the newest brews.

Every standing reading counts, re-brews and served cups too: why a cup was brewed is nothing to its bed. A brew whose
dose or water was not the plan's, and one ground before the burrs were last touched, says nothing of this bed.

A fit is told anew from readings alone, so that it may fail, be wiped, or be made again at any time.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any

from django.db import transaction

from calibration.models import Reading
from calibration.models.readings import ReadingRows
from recipes.beds import burrs_touched_since, whole_grams
from recipes.brewing import drawdown
from recipes.brewing.drawdown import Inflow, ObservedBrew, fit_conductance
from recipes.brewing.foresight import inflows_of
from recipes.brewing.plan import PourPlan
from recipes.brewing.water import boiling_point_C
from recipes.models import BedFit, Brewer, Grinder

NEWEST = 30
"""Brews that a fit goes by. More would narrow what the next one may do by less than a hundredth, and be of beans
that are long gone: the house's choice."""
DOSE_OFF_G = 0.5
WATER_OFF = 0.02
"""Off the plan by less, a brew counts as poured like it: 2 % of the water drain in about 3 s, and nobody sees sooner
when a bed shows. The house's choice."""

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Bed:
    """What all brews of one fit have in common: keys of rows, a setting, and the plan's dose in whole grams."""

    cafe_id: int
    coffee_id: int
    grinder_id: int
    grind_setting: str
    paper_id: int | None
    brewer_id: int
    dose_g: int


def refit(*readings: Reading) -> None:
    """Fit the beds of ``readings`` anew, each of which has just been saved, corrected or voided.

    Nothing is raised: a reading is worth more than what is reckoned from it.
    """
    try:
        with transaction.atomic():
            refit_beds({bed for bed in map(_bed_of, readings) if bed})
    except Exception:
        logger.exception("No fit of the bed: the readings stand, and their next one fits it anew.")


def refit_beds(beds: Iterable[Bed]) -> None:
    # In one order, and each after a lock: whoever brews at the same grinder fits after us, with our reading
    for bed in sorted(beds, key=lambda bed: (bed.grinder_id, repr(bed))):
        with transaction.atomic(savepoint=False):
            Grinder.objects.select_for_update(no_key=True).get(pk=bed.grinder_id)
            _write(bed)


def refit_all(rows: ReadingRows | None = None) -> int:
    """Fit every bed of ``rows``, by default of all readings there are; tells how many beds."""
    readings = (Reading.objects.all() if rows is None else rows).select_related("version", "roast_batch")
    beds = {bed for bed in map(_bed_of, readings.order_by().iterator()) if bed}
    refit_beds(beds)
    return len(beds)


def refit_brewer(brewer: Brewer) -> None:
    """Its shape or size was put right: what was fitted with the old one is of no bed."""
    refit_beds(Bed(**kept) for kept in BedFit.objects.filter(brewer=brewer).values(*Bed.__dataclass_fields__))


def _bed_of(reading: Reading) -> Bed | None:
    version = reading.version
    if version.brewer_id is None or version.dose_g is None:
        return None
    return Bed(
        reading.cafe_id,
        reading.roast_batch.coffee_id,
        reading.grinder_id,
        reading.grind_setting,
        version.paper_id,
        version.brewer_id,
        whole_grams(version.dose_g),
    )


def _write(bed: Bed) -> None:
    same, brews = BedFit.objects.filter(**asdict(bed)), _brews(bed)
    if not brews:
        same.delete()
        return
    fit = _fit(brews)
    figures: dict[str, Any] = {name: getattr(fit, name) for name in BedFit.FIGURES}
    figures["newest_brew_at"] = brews[0].brewed_at
    if not same.update(**figures):
        BedFit.objects.create(**asdict(bed), **figures)


def _brews(bed: Bed) -> list[Reading]:
    """The newest first."""
    half = Decimal("0.5")
    rows = Reading.objects.standing().filter(
        cafe=bed.cafe_id,
        roast_batch__coffee=bed.coffee_id,
        grinder=bed.grinder_id,
        grind_setting=bed.grind_setting,
        version__paper=bed.paper_id,
        version__brewer=bed.brewer_id,
        version__dose_g__gte=bed.dose_g - half,
        version__dose_g__lt=bed.dose_g + half,
    )
    rows = rows.exclude(burrs_touched_since("brewed_at")).order_by("-brewed_at", "-pk")
    return list(rows.select_related("cafe", "version__brewer").prefetch_related("version__pours")[:NEWEST])


def _fit(brews: list[Reading]) -> drawdown.BedFit:
    newest = brews[0]
    boiling_C = boiling_point_C(newest.cafe.altitude_m)
    plans = {reading.version_id: reading.version.plan() for reading in brews}
    inflows = {key: inflows_of(plan, boiling_C) for key, plan in plans.items()}
    observed = [_observed(brew, plans[brew.version_id], inflows[brew.version_id]) for brew in brews]
    brewer = newest.version.brewer
    assert brewer is not None, "a bed lies in a brewer"
    # Whether the brewer is warm moves a fit by less than brews differ, so the newest plan speaks for all
    return fit_conductance(observed, brewer.limits(preheated=newest.version.rinse_paper))


def _observed(reading: Reading, plan: PourPlan, inflows: tuple[Inflow, ...]) -> ObservedBrew:
    dose_g, water_g = plan.dose_g or 0.0, plan.water_g or 0.0
    as_planned = (
        abs(float(reading.dose_g) - dose_g) <= DOSE_OFF_G
        and abs(float(reading.water_g) - water_g) <= WATER_OFF * water_g
        and len(inflows) == len(plan.pours)
    )
    return ObservedBrew(inflows if as_planned else (), dose_g, float(reading.brew_time_s))
