"""Readings become fits of beds, which recipes reads: how one coffee drains at one grind, by the newest brews.

Every standing reading counts, re-brews and served cups too: why a cup was brewed is nothing to its bed. A brew whose
dose or water was not the plan's, and one ground before the burrs were last touched, says nothing of this bed.

A fit is told anew from readings alone, so that it may fail, be wiped, or be made again at any time.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, NamedTuple

from django.db import transaction

from brewbar.crew.models import Cafe
from calibration.models import Reading
from calibration.models.readings import ReadingRows
from recipes.beds import burrs_touched_since, whole_grams
from recipes.brewing import drawdown
from recipes.brewing.drawdown import Inflow, ObservedBrew, fit_conductance
from recipes.brewing.foresight import inflows_of
from recipes.brewing.plan import PourPlan
from recipes.brewing.water import boiling_point_C
from recipes.models import BedFit, Brewer, Grinder, RecipeVersion

NEWEST = 30
"""Brews that a fit goes by. Ten more would narrow what the next may do by a hundredth, and be of beans
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
    """Fit the beds of ``readings`` anew, each of which has just been saved, corrected or voided."""
    refit_beds({bed for bed in map(bed_of, readings) if bed})


def refit_beds(beds: Iterable[Bed]) -> None:
    """Nothing is raised: a reading is worth more than what is reckoned from it."""
    # In one order, and each after a lock: whoever brews at the same grinder fits after us, with our reading
    for bed in sorted(beds, key=lambda bed: (bed.grinder_id, repr(bed))):
        try:
            with transaction.atomic():
                Grinder.objects.select_for_update(no_key=True).get(pk=bed.grinder_id)
                _write(bed)
        except Exception:
            logger.exception("No fit of %s: its readings stand, and the next one fits it anew.", bed)


def refit_all(rows: ReadingRows | None = None) -> int:
    """Fit every bed of ``rows``, by default of all readings there are; tells how many beds."""
    readings = (Reading.objects.all() if rows is None else rows).select_related("version", "roast_batch")
    beds = {bed for bed in map(bed_of, readings.order_by().iterator()) if bed}
    refit_beds(beds)
    return len(beds)


def refit_if_never() -> None:
    """Fit what was read before there were fits."""
    if not BedFit.objects.exists():
        refit_all()


def refit_brewer(brewer: Brewer) -> None:
    """Fit again what was fitted while its shape was told otherwise."""
    refit_beds(Bed(**kept) for kept in BedFit.objects.filter(brewer=brewer).values(*Bed.__dataclass_fields__))


def bed_of(reading: Reading) -> Bed | None:
    """Where ``reading`` counts; None where its version says too little."""
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
    same, brews = BedFit.objects.filter(**asdict(bed)), _newest_brews(bed)
    if not brews:
        same.delete()
        return
    fit = _fit(bed, brews)
    figures: dict[str, Any] = {name: getattr(fit, name) for name in BedFit.FIGURES}
    figures["newest_brew_at"] = brews[0].brewed_at
    if not same.update(**figures):
        BedFit.objects.create(**asdict(bed), **figures)


class _Brew(NamedTuple):
    version_id: int
    dose_g: Decimal
    water_g: Decimal
    brew_time_s: int
    brewed_at: datetime


def _newest_brews(bed: Bed) -> list[_Brew]:
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
    return list(map(_Brew._make, rows.values_list(*_Brew._fields)[:NEWEST]))


def _fit(bed: Bed, brews: Sequence[_Brew]) -> drawdown.BedFit:
    versions = RecipeVersion.objects.prefetch_related("pours").in_bulk({brew.version_id for brew in brews})
    plans = {key: version.plan() for key, version in versions.items()}
    boiling_C = boiling_point_C(Cafe.objects.get(pk=bed.cafe_id).altitude_m)
    inflows = {key: inflows_of(plan, boiling_C) for key, plan in plans.items()}
    observed = [_observed(brew, plans[brew.version_id], inflows[brew.version_id]) for brew in brews]
    # A cold brewer moves a fit by 1 %, where brews differ by 15 %: the newest plan speaks for all
    preheated = versions[brews[0].version_id].rinse_paper
    return fit_conductance(observed, Brewer.objects.get(pk=bed.brewer_id).limits(preheated=preheated))


def _observed(brew: _Brew, plan: PourPlan, inflows: tuple[Inflow, ...]) -> ObservedBrew:
    """Without pours, and so left out, unless it was poured as planned."""
    dose_g, water_g = plan.dose_g or 0.0, plan.water_g or 0.0
    as_planned = (
        abs(float(brew.dose_g) - dose_g) <= DOSE_OFF_G
        and abs(float(brew.water_g) - water_g) <= WATER_OFF * water_g
        and len(inflows) == len(plan.pours)
    )
    return ObservedBrew(inflows if as_planned else (), dose_g, float(brew.brew_time_s))
