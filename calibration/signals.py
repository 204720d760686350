"""Signals: raised when a reading is saved, corrected or voided, or an instrument checked; withdrawn when what raised
them no longer stands.

A reading is worth more than what is made of it: this is done after it is saved, and a fault here is logged and loses
nothing. `catch_up` makes what was missed, day by day; made twice, it makes nothing twice.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar import dates
from brewbar.crew.models import Cafe
from calibration.models import InstrumentCheck, Reading, Signal, SignalNote
from calibration.signal_charts import Charts, Finding
from calibration.signal_life import stepped
from calibration.signal_rows import MEASURES, History, Material, gather, monday, plan_for

State = Signal.State
UNANSWERED = (State.OPEN, State.LOOKED)
"""What was explained is somebody's word, and stays."""

logger = logging.getLogger(__name__)


# --- when something was saved


def reading_changed(*readings: Reading) -> None:
    """Each of ``readings`` has just been saved, corrected or voided: look again once that is safely kept."""
    counted = [reading for reading in readings if _may_count(reading)]
    if counted:
        first, why = _first_days(counted), _why(readings)
        transaction.on_commit(lambda: _look_again_safely(first, why), robust=True)


def _may_count(reading: Reading) -> bool:
    return reading.kind == Reading.Kind.CHECK and reading.attempt != Reading.Attempt.REBREW


def _why(readings: Sequence[Reading]) -> str:
    """What a signal that no longer stands is withdrawn for."""
    day = {"day": dates.day(min(reading.business_day for reading in readings))}
    if any(reading.is_voided for reading in readings):
        return _("A reading of %(day)s was voided.") % day
    if any(reading.corrects_id for reading in readings):
        return _("A reading of %(day)s was corrected.") % day
    return _("With further brews of %(day)s it no longer shows.") % day


def many_changed(cafe: Cafe, first_days: Mapping[int, date], why: str = "") -> None:
    """Counted readings of ``cafe`` have come or gone: {recipe: the first day of any}. As `reading_changed`."""
    days = {(cafe.pk, recipe): (cafe, day) for recipe, day in first_days.items()}
    if days:
        transaction.on_commit(lambda: _look_again_safely(days, why), robust=True)


def _first_days(readings: Sequence[Reading]) -> dict[tuple[int, int], tuple[Cafe, date]]:
    first: dict[tuple[int, int], tuple[Cafe, date]] = {}
    for reading in sorted(readings, key=lambda reading: reading.business_day):
        first.setdefault((reading.cafe_id, reading.version.recipe_id), (reading.cafe, reading.business_day))
    return first


def _look_again_safely(first: Mapping[tuple[int, int], tuple[Cafe, date]], why: str) -> None:
    for (_cafe, recipe), (cafe, day) in sorted(first.items()):
        try:
            look_again(cafe, recipe, day, timezone.now(), why)
        except Exception:
            said = "No signals of recipe %s on %s: what was read stands, and the next reading looks anew."
            logger.exception(said, recipe, day)


def look_again(cafe: Cafe, recipe: int, since: date, now: datetime, why: str = "") -> list[Signal]:
    """Raise what the newest day shows, and withdraw what a change on ``since`` has taken the ground from."""
    plan = plan_for(cafe, recipe)
    if plan is None:
        return []
    counted = Reading.objects.counted().filter(cafe=cafe, version__recipe=recipe)
    newest: date = max(counted.aggregate(newest=Max("business_day"))["newest"] or since, since)
    for day in _days_of_unanswered(cafe, recipe, since):
        if day < newest:
            _withdraw_fallen(gather(cafe, plan, recipe, day), day, now, why)
    material = gather(cafe, plan, recipe, newest)
    return _settle(material, _charts(material), newest, now, why)


def _days_of_unanswered(cafe: Cafe, recipe: int, since: date) -> list[date]:
    rows = Signal.objects.filter(
        cafe=cafe, recipe=recipe, measure__in=MEASURES, state__in=UNANSWERED, day__gte=since
    )
    return sorted(set(rows.values_list("day", flat=True)))


def _charts(material: Material) -> dict[str, Charts]:
    return {measure: Charts(material.of(measure)) for measure in MEASURES}


def _settle(
    material: Material, charts: dict[str, Charts], day: date, at: datetime, why: str = ""
) -> list[Signal]:
    """Have the signals of ``day`` be what its readings show: some withdrawn, others raised."""
    found: dict[str, list[Finding]] = {measure: charts[measure].findings(day) for measure in MEASURES}
    gone = _withdraw_missing(material, day, found, at, why)
    material = replace(material, before=tuple(one for one in material.before if one.pk not in gone))
    raised = []
    for measure in MEASURES:
        said = material.of(measure)
        taken: set[tuple[int | None, str]] = set()
        for finding in found[measure]:
            whom = (finding.person, finding.side)
            if whom not in taken and not said.is_said(*whom, day):
                taken.add(whom)
                if signal := _raise(material, measure, finding, day, at):
                    raised.append(signal)
    return raised


def _withdraw_fallen(material: Material, day: date, at: datetime, why: str) -> None:
    found = {measure: chart.findings(day) for measure, chart in _charts(material).items()}
    _withdraw_missing(material, day, found, at, why)


def _withdraw_missing(
    material: Material, day: date, found: dict[str, list[Finding]], at: datetime, why: str
) -> set[int]:
    """Withdraw unanswered signals of ``day`` that are not ``found``; tells their keys."""
    stand = {_key(material, measure, finding) for measure in MEASURES for finding in found[measure]}
    if not any(one.day == day for one in material.before):
        return set()
    gone = set()
    for signal in Signal.objects.filter(
        cafe=material.cafe, recipe=material.recipe, day=day, measure__in=MEASURES, state__in=UNANSWERED
    ).exclude(key__in=stand):
        gone.add(signal.pk)
        withdraw(signal, at, why or _("What was entered since no longer shows it."))
    return gone


def _key(material: Material, measure: str, finding: Finding) -> str:
    whom = f"recipe-{material.recipe}" if finding.person is None else f"person-{finding.person}"
    return f"{finding.question}:{measure}:{whom}:{finding.side}"


def _raise(material: Material, measure: str, finding: Finding, day: date, at: datetime) -> Signal | None:
    signal = Signal(
        cafe=material.cafe,
        question=finding.question,
        measure=measure,
        key=_key(material, measure, finding),
        recipe_id=material.recipe,
        person_id=finding.person,
        side=finding.side,
        raised_at=at,
        day=day,
        reading_id=finding.brews[-1].pk,
        since=finding.since,
        since_low=finding.since_low,
        since_high=finding.since_high,
        run_length=finding.run_length,
        evidence=finding.evidence | {"readings": [brew.pk for brew in finding.brews]},
        state_at=at,
    )
    return _kept(signal)


def _kept(signal: Signal) -> Signal | None:
    try:
        with transaction.atomic():
            signal.save(force_insert=True)
            stepped(signal, SignalNote.What.RAISED, None, signal.raised_at)
    except IntegrityError:
        # Two readings saved at the same moment show the same thing, and the other was first.
        if not Signal.objects.live().filter(cafe=signal.cafe, key=signal.key).exists():
            raise
        return None
    return signal


def withdraw(signal: Signal, at: datetime, why: str) -> None:
    with transaction.atomic():
        signal = Signal.objects.select_for_update(of=("self",)).get(pk=signal.pk)
        if signal.state in UNANSWERED:
            stepped(signal, SignalNote.What.WITHDRAWN, None, at, says=why)


# --- instruments


def instrument_checked(check: InstrumentCheck) -> None:
    """``check`` has just been saved: a failed one is a signal, and takes back what its instrument said of people."""
    transaction.on_commit(lambda: _take_in(check), robust=True)


def _take_in(check: InstrumentCheck) -> None:
    try:
        raise_instrument(check)
        if not check.passed:
            _look_again_without(check)
    except Exception:
        logger.exception("No signal of the check %s: it stands as it was entered.", check.pk)


def raise_instrument(check: InstrumentCheck) -> Signal | None:
    """The signal of a failed check, if there is none of this instrument yet."""
    instrument, cafe = check.refractometer, check.refractometer.cafe
    if check.passed or check.unclear:
        return None
    before = Signal.objects.filter(question=Signal.Question.INSTRUMENT, refractometer=instrument)
    if before.live().exists() or before.filter(raised_at__gte=check.checked_at).exists():
        return None
    last = (
        InstrumentCheck.objects.filter(refractometer=instrument, passed=True, checked_at__lt=check.checked_at)
        .filter(kind__in=_that_could_see(check))
        .order_by("checked_at", "pk")
        .last()
    )
    day = cafe.business_day(check.checked_at)
    error = float(check.read_tds - check.expected_tds)
    side = "high" if error > 0 else "low"
    signal = Signal(
        cafe=cafe,
        question=Signal.Question.INSTRUMENT,
        measure=Signal.Measure.STANDARD,
        key=f"instrument:standard:refractometer-{instrument.pk}:{side}",
        refractometer=instrument,
        side=side,
        raised_at=check.checked_at,
        day=day,
        since_low=cafe.business_day(last.checked_at) if last else None,
        since_high=day,
        evidence={
            "estimate": round(error, 4),
            "u": check.u_tds,
            "expected": float(check.expected_tds),
            "read": float(check.read_tds),
            "kind": check.kind,
            "check": check.pk,
        },
        state_at=check.checked_at,
    )
    return _kept(signal)


def _that_could_see(check: InstrumentCheck) -> tuple[str, ...]:
    """Water is content with any pass, a standard with a standard's alone."""
    kinds = InstrumentCheck.Kind
    return (kinds.STANDARD,) if check.kind == kinds.STANDARD else (kinds.ZERO, kinds.STANDARD)


def _look_again_without(check: InstrumentCheck) -> None:
    """What was raised while the instrument may have been wrong already, looked at without its readings."""
    cafe = check.refractometer.cafe
    rows = Signal.objects.filter(cafe=cafe, measure=Signal.Measure.TDS, state__in=UNANSWERED)
    why = _("%(name)s failed its check on %(day)s: what it read before counts no longer.") % {
        "name": check.refractometer,
        "day": dates.day(cafe.business_day(check.checked_at)),
    }
    for recipe, day in sorted(set(rows.values_list("recipe", "day")), key=lambda one: (one[1], one[0])):
        if plan := plan_for(cafe, recipe):
            _withdraw_fallen(gather(cafe, plan, recipe, day), day, timezone.now(), why)


# --- afterwards


def catch_up(cafe: Cafe, since: date | None = None, until: date | None = None) -> int:
    """Raise what the readings and checks of a café show since a day, as it would have come; tells how many.

    until: the last day that is looked at, where somebody answers before what comes after is shown.
    """
    first, last = since or date.min, until or date.max
    made = 0
    for check in _failed_checks(cafe, first, last):
        made += raise_instrument(check) is not None
    counted = Reading.objects.counted().filter(cafe=cafe, business_day__range=(first, last))
    for recipe in sorted(set(counted.values_list("version__recipe", flat=True))):
        rows = counted.filter(version__recipe=recipe).values("business_day")
        days = dict(rows.annotate(last=Max("entered_at")).values_list("business_day", "last"))
        made += _catch_up(cafe, recipe, sorted(days.items()))
    return made


def _failed_checks(cafe: Cafe, first: date, last: date) -> Iterable[InstrumentCheck]:
    rows = InstrumentCheck.objects.filter(refractometer__cafe=cafe, passed=False, unclear=False)
    rows = rows.select_related("refractometer__cafe").order_by("checked_at", "pk")
    return (check for check in rows if first <= cafe.business_day(check.checked_at) <= last)


def _catch_up(cafe: Cafe, recipe: int, days: Sequence[tuple[date, datetime]]) -> int:
    plan = plan_for(cafe, recipe)
    if plan is None:
        return 0
    made = 0
    history = History(cafe, plan, recipe, days[0][0], days[-1][0])
    material: Material | None = None
    for day, at in days:
        # One walk along the brews serves a whole week, unless something was said or answered in it.
        if material is None or material.upto < day:
            material = history.at(monday(day) + timedelta(days=6))
            if any(one.happened_since(monday(day)) for one in material.before):
                material = history.at(day)
            charts = _charts(material)
        if raised := _settle(material, charts, day, at):
            made += len(raised)
            material = None
    return made
