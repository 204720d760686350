"""What was done: checks against the café's own tally, signals by their notes, instruments by their checks."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from calibration import duty
from calibration.models import CheckPlan, InstrumentCheck, OnDuty, Signal, SignalNote
from calibration.reporting import checks_done, instruments_health, signals_done
from calibration.reporting.checks_done import Checks
from calibration.reporting.ground import gather
from calibration.reporting.instruments_health import Instruments
from calibration.reporting.signals_done import Signals
from tests import factories as make
from tests.reporting import bar


@pytest.fixture
def slot(db):
    return bar.slot()


@pytest.fixture
def cafe(slot):
    return slot.board.cafe


def ground_of(cafe):
    return gather(bar.asked(cafe), bar.NOW)


def at(day: int, hour: int = 9, month: int = 9) -> datetime:
    return datetime(2026, month, day, hour, tzinfo=UTC)


# --- checks due and brewed


def test_checks_are_those_of_the_cafes_own_tally(slot, cafe):
    CheckPlan.objects.create(cafe=cafe, recipe=slot.version.recipe, every_days=2)
    people = bar.crew(slot, 3)
    for n in range(12):
        day = bar.FIRST + timedelta(days=n)
        for place, who in enumerate(people):
            busy = at(n + 1) if (n + place) % 7 == 3 else None
            OnDuty.objects.create(
                cafe=cafe, business_day=day, user=who, since=at(n + 1), how="signed-in", too_busy_at=busy
            )
            if (n + place) % 4 == 0:
                bar.brew(slot, who, day)
    checks = Checks(ground_of(cafe))
    tally = duty.tally(cafe, bar.FIRST, bar.LAST, bar.NOW)
    found = checks.of_cafe(cafe)
    assert (found.due, found.done, found.busy, found.missed) == (
        tally.due,
        tally.done,
        tally.too_busy,
        tally.missed,
    )
    assert tally.done
    assert tally.missed
    assert tally.too_busy
    by_day = [checks.of_weekday(day) for day in range(7)]
    assert sum(one.due for one in by_day if one) == tally.due
    assert len(checks_done.section(checks).figure.bars) == sum(one is not None for one in by_day)


def test_a_cafe_without_a_plan_owes_nothing(slot, cafe):
    OnDuty.objects.create(
        cafe=cafe, business_day=bar.FIRST, user=make.person(cafe=cafe), since=at(1), how="signed-in"
    )
    checks = Checks(ground_of(cafe))
    assert checks.together is None
    assert "No check recipe is set" in " ".join(checks_done.section(checks).notes)


# --- signals


def signal(cafe, day: int, *steps, month: int = 9, **fields):
    """Raised on that day, then (what, day, cause) each."""
    raised = at(day, month=month)
    made = Signal.objects.create(
        cafe=cafe, question="off" if "person" in fields else "moved", measure="tds", side="high", raised_at=raised,
        day=raised.date(), state_at=raised, key=f"k{Signal.objects.count()}", **fields,
    )  # fmt: skip
    SignalNote.objects.create(signal=made, what="raised", at=raised)
    for what, on, cause in steps:
        SignalNote.objects.create(signal=made, what=what, at=on, cause=cause)
    if steps:
        Signal.objects.filter(pk=made.pk).update(state=steps[-1][0], state_at=steps[-1][1])
    return made


def test_signals_stand_as_they_did_when_the_span_ended(slot, cafe):
    recipe = slot.version.recipe
    signal(cafe, 3, ("explained", at(4), "grind"), ("closed", at(7), ""), recipe=recipe)
    signal(cafe, 10, ("explained", at(12), "grind"), ("closed", at(14), ""), recipe=recipe)
    signal(cafe, 20, ("explained", at(21), "pour"), ("closed", at(3, month=10), ""), recipe=recipe)
    signal(cafe, 25, recipe=recipe)
    signal(cafe, 20, month=8, recipe=recipe)
    signal(cafe, 2, month=10, recipe=recipe)
    signals = Signals(ground_of(cafe))
    assert len(signals.raised) == 4
    assert signals_done.causes_of(signals.raised) == [("grind", 2), ("pour", 1)]
    # what was closed in October was open on the last of September
    assert [life.age for life in signals.open] == [41, 10, 5]
    assert signals_done.usual_days(signals.raised) == 4.0
    said = " ".join(signals_done.says(signals))
    assert "4 signals were raised. 3 were explained: grind (2), pour technique (1)." in said
    assert "3 are still open, the oldest for 41 days." in said


def test_a_signal_that_was_withdrawn_is_open_no_more(slot, cafe):
    signal(cafe, 3, ("withdrawn", at(5), ""), recipe=slot.version.recipe)
    signals = Signals(ground_of(cafe))
    assert signals.open == []
    assert "1 was withdrawn" in " ".join(signals_done.says(signals))


def test_who_a_signal_is_about_is_nowhere(slot, cafe):
    who = make.person(cafe=cafe, name="Quillon Zebedee")
    signal(cafe, 3, person=who)
    found = signals_done.section(Signals(ground_of(cafe)))
    assert "Quillon" not in repr((found.says, found.table, found.figure, found.notes))


# --- instruments


def test_instruments_by_their_checks(slot, cafe):
    who = make.person(cafe=cafe)
    instrument = make.refractometer(cafe)
    for n in range(6):
        bar.brew(slot, who, bar.FIRST + timedelta(days=n), refractometer=instrument)
    for day, kind, passed, unclear in (
        (1, "zero", True, False),
        (2, "standard", True, False),
        (4, "standard", False, False),
        (5, "standard", False, True),
    ):  # fmt: skip
        InstrumentCheck.objects.create(
            refractometer=instrument, kind=kind, read_tds="1.28", passed=passed, unclear=unclear, checked_at=at(day, 7),
            checked_by=who,
        )  # fmt: skip
    instruments = Instruments(ground_of(cafe))
    (one,) = instruments.of_cafe(cafe.pk)
    assert (one.passed, one.failed, one.unclear, one.standards) == (2, 1, 1, 1)
    assert (one.last_zero, one.last_standard) == (date(2026, 9, 1), date(2026, 9, 2))
    assert one.last_failed
    assert not one.is_trusted
    # the third and the sixth day had no check
    assert (one.used, one.unchecked) == (6, 2)
    # failing from the last pass on, the second day in the morning
    assert one.left_out == 5
    found = instruments_health.section(instruments)
    assert "did not pass its last check" in found.says[0]
    InstrumentCheck.objects.create(
        refractometer=instrument,
        kind="standard",
        read_tds="1.28",
        passed=True,
        checked_at=at(6, 7),
        checked_by=who,
    )
    mended = instruments_health.section(Instruments(ground_of(cafe))).says[-1]
    assert "failed 1 check and has passed since" in mended
    assert found.notes[0].startswith("5 check brews")


def test_a_check_of_the_next_month_is_not_of_this_one(slot, cafe):
    who = make.person(cafe=cafe)
    bar.brew(slot, who, bar.FIRST)
    InstrumentCheck.objects.create(
        refractometer=cafe.refractometers.get(), kind="standard", read_tds="1.28", passed=True,
        checked_at=at(2, month=10), checked_by=who,
    )  # fmt: skip
    (one,) = Instruments(ground_of(cafe)).of_cafe(cafe.pk)
    assert one.last_standard is None
    assert one.wants_standard
