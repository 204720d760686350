"""Refractometers: saved, retired, brought back, and what each can tell apart.

Recipes may not look into this room, so every change here writes anew what the café's instruments can tell, as rows
that a recipe's targets are checked against.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe
from calibration.models import Refractometer
from calibration.statistics.uncertainty import TdsBudget, tds_budget
from recipes.catalogue import NameTaken
from recipes.models import InstrumentReach

USUAL_DROPS = 2
"""A reading is two drops, unless they disagree."""
TOLERANCE_STEP = Decimal("0.01")
"""A recipe's TDS tolerance is given in hundredths of a per cent."""


@dataclass(frozen=True)
class Reach:
    """What a mean of two drops on an instrument can tell, in % TDS.

    U_relative: expanded uncertainty (k = 2) against readings of the same instrument; U_absolute: against anybody
    else's; finest_tolerance: the smallest that a recipe may ask for and still be judged.
    """

    U_relative: float
    U_absolute: float

    @property
    def finest_tolerance(self) -> Decimal:
        # A tolerance has to be wider than U, not as wide; nine decimals as in `uncertainty.conformity`.
        return (Decimal(str(round(self.U_relative, 9))) // TOLERANCE_STEP + 1) * TOLERANCE_STEP


def reach_of(instrument: Refractometer) -> Reach:
    budget = _budget(instrument)
    return Reach(budget.U_relative, budget.U_absolute)


def _budget(instrument: Refractometer) -> TdsBudget:
    return tds_budget(
        USUAL_DROPS,
        float(instrument.repeatability_tds),
        float(instrument.resolution_tds),
        accuracy_limit=float(instrument.accuracy_tds),
    )


def save(instrument: Refractometer) -> None:
    """Save an instrument, new or changed, and what its café can tell apart with it. Raises NameTaken."""
    try:
        with transaction.atomic():
            instrument.save()
            write_reach(instrument.cafe)
    except IntegrityError as error:
        raise NameTaken(_("%(name)s exists already.") % {"name": instrument}) from error


@transaction.atomic
def retire(instrument: Refractometer) -> None:
    """Take an instrument out of use; the readings made on it stay."""
    instrument.retire()
    write_reach(instrument.cafe)


@transaction.atomic
def bring_back(instrument: Refractometer) -> None:
    instrument.bring_back()
    write_reach(instrument.cafe)


@transaction.atomic
def write_reach(cafe: Cafe) -> None:
    """What the café's instruments in use can tell apart, in place of what was written before."""
    # Two people saving at once take turns, or both would add the same rows.
    Cafe.objects.select_for_update().get(pk=cafe.pk)
    InstrumentReach.objects.filter(cafe=cafe).delete()
    InstrumentReach.objects.bulk_create(
        InstrumentReach(cafe=cafe, name=instrument.name, relative_U_tds=reach_of(instrument).U_relative)
        for instrument in Refractometer.objects.filter(cafe=cafe).in_use()
    )
