"""Refractometers: saved, retired, brought back, checked, and what each can tell apart.

Recipes may not look into this room, so every change here writes anew what the café's instruments can tell, as rows
that a recipe's targets are checked against.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from math import hypot

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe, User
from calibration import instrument_standing, signals
from calibration.models import InstrumentCheck, Refractometer
from calibration.statistics import known_strength
from calibration.statistics.known_strength import Factor, Finding
from calibration.statistics.uncertainty import TdsBudget, tds_budget
from recipes.brewing import refractometry
from recipes.catalogue import NameTaken, noted, noted_change, told
from recipes.models import InstrumentReach

USUAL_DROPS = 2
"""A reading is two drops, unless they disagree."""
TOLERANCE_STEP = Decimal("0.01")
"""A recipe's TDS tolerance is given in hundredths of a per cent."""
FINE_SCALE_G, COARSE_SCALE_G = Decimal("0.01"), Decimal("0.1")
SCALES_G = (COARSE_SCALE_G, FINE_SCALE_G)
MOST_BRIX = 12
"""Above it the index of sucrose is not known here, and a coffee instrument has long left its scale."""
STANDARD_TDS = 1.275
"""Of the standard that the page tells to mix: 1.5 °Bx where an instrument shows 0.85 % for each."""
FIRST_STANDARDS = 5
"""So many sucrose standards teach what an instrument shows of sugar; later ones are held against them."""
U_BOTTLE_TDS = 0.01  # engineering estimate, no source: what is printed on a bottle of known strength


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


@dataclass(frozen=True)
class Mixed:
    """What was weighed for a check standard: sucrose, and the whole with its water. scale_g: the scale's step."""

    sucrose_g: Decimal
    solution_g: Decimal
    scale_g: Decimal = COARSE_SCALE_G


def allowed_tds(instrument: Refractometer) -> Decimal:
    """How far a check may lie from what it should read and pass, in % TDS: the stated accuracy.

    Where that is less than the display can show, half of its step.
    """
    return max(instrument.accuracy_tds, instrument.resolution_tds / 2)


def finding(
    instrument: Refractometer, expected_tds: Decimal, read_tds: Decimal, u_expected: float = 0.0
) -> Finding:
    """What follows from one reading of a liquid that should read ``expected_tds``."""
    u_read = known_strength.u_of_reading(
        float(instrument.repeatability_tds), float(instrument.resolution_tds)
    )
    return known_strength.finding(
        float(read_tds), float(expected_tds), u_read, float(allowed_tds(instrument)), u_expected
    )


def judged(
    instrument: Refractometer,
    kind: str,
    expected_tds: Decimal | None,
    read_tds: Decimal,
    mixed: Mixed | None = None,
    starts_over: bool = False,
) -> tuple[Decimal, Finding]:
    """What it should have read, and what follows: water by nothing, a bottle by its label, sucrose by `own_factor`."""
    if mixed is not None:
        factor = _stated_factor() if starts_over else own_factor(instrument)
        reads = known_strength.sucrose_reads(
            float(mixed.sucrose_g), float(mixed.solution_g), float(mixed.scale_g), factor
        )
        expected = round(Decimal(repr(reads.tds)), 3)
        return expected, finding(instrument, expected, read_tds, reads.u)
    if kind == InstrumentCheck.Kind.ZERO:
        return Decimal(0), finding(instrument, Decimal(0), read_tds)
    assert expected_tds is not None, "a bottle says what it should read"
    return expected_tds, finding(instrument, expected_tds, read_tds, U_BOTTLE_TDS)


def wrong_with_standard(
    sucrose_g: Decimal | None, solution_g: Decimal | None, expected_tds: Decimal | None
) -> tuple[str, str] | None:
    """What cannot be said of a check standard, with the field it stands beside; None where all is well."""
    if expected_tds is not None and (sucrose_g or solution_g):
        return "expected_tds", _("Enter what was weighed, or what a bottle says, not both.")
    if expected_tds is not None:
        return None if expected_tds else ("expected_tds", _("Enter what the check standard should read."))
    if not sucrose_g:
        return "sucrose_g", _("Enter the sugar that was weighed, or what a bottle says.")
    if not solution_g:
        return "solution_g", _("Enter what sugar and water weigh together.")
    if sucrose_g >= solution_g:
        return "solution_g", _("Sugar and water together weigh more than the sugar alone.")
    if 100 * sucrose_g / solution_g > MOST_BRIX:
        said = _("That is far stronger than coffee: %(most)s g of sugar in 100 g at most.")
        return "sucrose_g", said % {"most": MOST_BRIX}
    return None


def own_factor(instrument: Refractometer) -> Factor:
    """What this instrument shows of sugar, by its first standards since it was new or came back from service.

    Those that failed teach nothing.
    """
    own: list[tuple[float, float]] = []
    for row in InstrumentCheck.objects.filter(
        refractometer=instrument, sucrose_g__isnull=False, solution_g__isnull=False
    ).order_by("checked_at", "pk"):
        own = [] if row.starts_over else own
        if (row.passed or row.unclear) and len(own) < FIRST_STANDARDS and row.sucrose_g and row.solution_g:
            own.append((float(row.read_tds), float(100 * row.sucrose_g / row.solution_g)))
    return _stated_factor(own, instrument)


def _stated_factor(
    own: Sequence[tuple[float, float]] = (), instrument: Refractometer | None = None
) -> Factor:
    u_each = refractometry.BRIX_FACTOR * refractometry.STANDARD_U_BRIX
    if instrument is not None:
        sd, step = float(instrument.repeatability_tds), float(instrument.resolution_tds)
        u_each = hypot(u_each, known_strength.u_of_reading(sd, step))
    return known_strength.own_factor(own, u_each, refractometry.BRIX_FACTOR, refractometry.U_BRIX_FACTOR)


def check(
    instrument: Refractometer,
    kind: str,
    expected_tds: Decimal | None,
    read_tds: Decimal,
    by: User,
    now: datetime,
    note: str = "",
    *,
    as_found: bool = True,
    mixed: Mixed | None = None,
    starts_over: bool = False,
) -> InstrumentCheck:
    """Save what an instrument read where it should have read ``expected_tds``, judged as it is described now.

    as_found: before it was set to zero; mixed: of a standard from sucrose, which says by itself what it should read;
    starts_over: it came back from service, so what it shows of sugar is learnt anew.
    """
    with transaction.atomic():
        expected, found = judged(instrument, kind, expected_tds, read_tds, mixed, starts_over)
        made = InstrumentCheck.objects.create(
            refractometer=instrument,
            kind=kind,
            expected_tds=expected,
            read_tds=read_tds,
            passed=found.word is known_strength.Word.PASSED,
            unclear=found.word is known_strength.Word.UNCLEAR,
            u_tds=found.u,
            as_found=as_found,
            sucrose_g=None if mixed is None else mixed.sucrose_g,
            solution_g=None if mixed is None else mixed.solution_g,
            starts_over=starts_over,
            checked_at=now,
            checked_by=by,
            note=note,
        )
        on_check_saved(made)
        return made


def on_check_saved(check: InstrumentCheck) -> None:
    """All that follows from a check, inside its transaction: whoever watches instruments is told here."""
    write_reach(check.refractometer.cafe)
    signals.instrument_checked(check)


@transaction.atomic
def write_reach(cafe: Cafe) -> None:
    """What the café's instruments in use can tell apart, in place of what was written before."""
    # Two people saving at once take turns, or both would add the same rows.
    Cafe.objects.select_for_update().get(pk=cafe.pk)
    InstrumentReach.objects.filter(cafe=cafe).delete()
    in_use = list(Refractometer.objects.filter(cafe=cafe).in_use())
    checks = instrument_standing.last_clear_checks(in_use)
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
