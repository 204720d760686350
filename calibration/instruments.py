"""Refractometers: saved, retired, brought back, checked, and what each can tell apart.

Recipes may not look into this room, so every change here writes anew what the café's instruments can tell, as rows
that a recipe's targets are checked against.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe, User
from calibration.models import InstrumentCheck, Refractometer
from calibration.statistics.uncertainty import TdsBudget, tds_budget
from recipes.catalogue import NameTaken, noted, noted_change, told
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


def save(instrument: Refractometer, by: User) -> None:
    """Save an instrument, new or changed, and what its café can tell apart with it. Raises NameTaken."""
    try:
        with transaction.atomic():
            before = told(Refractometer.objects.get(pk=instrument.pk)) if instrument.pk else None
            instrument.save()
            noted_change(instrument, by, before)
            write_reach(instrument.cafe)
    except IntegrityError as error:
        raise NameTaken(_("%(name)s exists already.") % {"name": instrument}) from error


@transaction.atomic
def retire(instrument: Refractometer, by: User) -> None:
    """Take an instrument out of use; the readings made on it stay."""
    instrument.retire()
    noted(instrument, _("retired"), by)
    write_reach(instrument.cafe)


@transaction.atomic
def bring_back(instrument: Refractometer, by: User) -> None:
    instrument.bring_back()
    noted(instrument, _("brought back"), by)
    write_reach(instrument.cafe)


# --- does it read right?


def allowed_tds(instrument: Refractometer) -> Decimal:
    """How far a check may lie from what it should read, in % TDS: the stated accuracy, and half a display step.

    The display rounds what it measures, by up to half a step.
    """
    return instrument.accuracy_tds + instrument.resolution_tds / 2


def passes(instrument: Refractometer, expected_tds: Decimal, read_tds: Decimal) -> bool:
    return abs(read_tds - expected_tds) <= allowed_tds(instrument)


def check(
    instrument: Refractometer,
    kind: str,
    expected_tds: Decimal,
    read_tds: Decimal,
    by: User,
    now: datetime,
    note: str = "",
) -> InstrumentCheck:
    """Save what an instrument read where it should have read ``expected_tds``, judged as it is described now."""
    with transaction.atomic():
        made = InstrumentCheck.objects.create(
            refractometer=instrument,
            kind=kind,
            expected_tds=expected_tds,
            read_tds=read_tds,
            passed=passes(instrument, expected_tds, read_tds),
            checked_at=now,
            checked_by=by,
            note=note,
        )
        write_reach(instrument.cafe)
        return made


def last_checks(instruments: Iterable[Refractometer]) -> dict[int, InstrumentCheck]:
    """The newest check of each instrument that has one, by the instrument's key."""
    rows = InstrumentCheck.objects.filter(refractometer__in=[row.pk for row in instruments])
    oldest_first = rows.select_related("checked_by").order_by("checked_at", "pk")
    return {row.refractometer_id: row for row in oldest_first}


@transaction.atomic
def write_reach(cafe: Cafe) -> None:
    """What the café's instruments in use can tell apart, in place of what was written before."""
    # Two people saving at once take turns, or both would add the same rows.
    Cafe.objects.select_for_update().get(pk=cafe.pk)
    InstrumentReach.objects.filter(cafe=cafe).delete()
    in_use = list(Refractometer.objects.filter(cafe=cafe).in_use())
    checks = last_checks(in_use)
    InstrumentReach.objects.bulk_create(
        InstrumentReach(
            cafe=cafe,
            name=instrument.name,
            relative_U_tds=reach_of(instrument).U_relative,
            checked_at=last.checked_at if last else None,
            check_passed=last.passed if last else None,
        )
        for instrument in in_use
        for last in [checks.get(instrument.pk)]
    )
