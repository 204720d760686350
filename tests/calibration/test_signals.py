"""What readings make a signal of, what they do not, and what is taken back.

How often charts signal falsely, and how soon truly, is held against run lengths in tests/statistics.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from calibration import recording, signal_life, signals
from calibration.models import InstrumentCheck, Reading, Signal, SignalNote
from calibration.signal_rows import gather
from tests import factories as make
from tests.calibration.signal_crews import crew

pytestmark = pytest.mark.django_db

BEGAN = 28  # the day, from 0, on which what is planted begins
A = 0


def of(person, day):
    """A lasting shift of 0.12 % of the first person."""
    return 0.12 if person == A and day >= BEGAN else 0.0


def of_all(_person, day):
    return 0.12 if day >= BEGAN else 0.0


def test_a_person_who_shifts_is_signalled_and_nobody_else():
    made = crew(shift=of)
    made.catch_up()
    assert {signal.person for signal in made.signals()} == {made.people[A]}
    signal = made.signals()[0]
    assert (signal.question, signal.measure, signal.side) == ("drifting", "tds", "high")
    assert made.days[BEGAN] <= signal.day <= made.days[BEGAN + 8]
    assert signal.since_low <= made.days[BEGAN] <= signal.since_high
    assert signal.evidence["low"] < 0.12 < signal.evidence["high"]
    assert signal.run_length >= 20
    assert {reading.barista for reading in Reading.objects.filter(pk__in=signal.evidence["readings"])} == {
        made.people[A]
    }


def test_a_day_that_moved_is_the_day_and_nobody():
    made = crew(shift=of_all)
    made.catch_up()
    assert [(signal.question, signal.measure, signal.side) for signal in made.signals()] == [
        ("moved", "tds", "high")
    ]
    assert made.signals()[0].since_low <= made.days[BEGAN] <= made.signals()[0].since_high


def test_a_crew_as_it_always_was_is_left_in_peace():
    made = crew(seed=5)
    assert made.catch_up() == 0


def test_somebody_far_from_the_others_all_along_is_off():
    made = crew(shift=lambda person, _day: -0.11 if person == A else 0.0, seed=5)
    made.catch_up()
    assert {(signal.question, signal.person, signal.side) for signal in made.signals()} == {
        ("off", made.people[A], "low")
    }
    assert made.signals()[0].evidence["high"] < -0.05


def test_nobody_is_flagged_for_less_than_matters():
    made = crew(shift=of, smallest="0.50")
    assert made.catch_up() == 0


def test_fewer_than_fifty_brews_say_nothing():
    made = crew(people=3, days=16, shift=lambda person, day: 0.4 if person == A and day > 10 else 0.0)
    assert made.catch_up() == 0


def test_of_a_cafe_with_a_check_recipe_no_other_recipe_counts():
    made = crew(shift=of)
    made.cafe.check_plan.recipe = make.recipe(made.cafe.company)
    made.cafe.check_plan.save()
    assert made.catch_up() == 0
    made.cafe.check_plan.recipe = None
    made.cafe.check_plan.save()
    assert made.catch_up() > 0


def test_a_brew_that_went_wrong_pulls_nobody_along():
    made = crew(people=3, shift=lambda person, day: 0.35 if (person, day) == (A, 39) else 0.0)
    made.catch_up()
    (signal,) = made.signals(day=made.days[39], measure="tds")
    assert signal.person == made.people[A]


def test_a_back_fill_is_what_the_saves_would_have_raised_and_nothing_twice():
    made = crew(shift=of)
    made.catch_up()
    raised = [(signal.key, signal.day) for signal in made.signals()]
    assert made.catch_up() == 0
    later = {day: [one for one in made.readings if one.business_day == day] for day in made.days}
    for rows in (SignalNote, Signal, Reading):
        rows.objects.all()._raw_delete("default")
    for day in made.days:
        Reading.objects.bulk_create(later[day])
        made.look(day)
    assert [(signal.key, signal.day) for signal in made.signals()] == raised


# --- saved, voided, corrected


@pytest.fixture
def shifted(django_capture_on_commit_callbacks):
    """A crew, and somebody's brew today that went wrong, saved as the page saves it."""
    made = crew()
    entry = make.entry(made.slot, made.people[A], ("1.75", "1.75"), **ONE)
    other = make.entry(made.slot, made.people[1], ("1.40", "1.40"), **ONE)
    third = make.entry(made.slot, made.people[2], ("1.40", "1.40"), **ONE)
    with django_capture_on_commit_callbacks(execute=True):
        for one in (other, third, entry):
            made.readings.append(save(one))
    return made


ONE = {"no_more_drops": True}


def save(entry):
    now = timezone.now()
    sure = frozenset(recording.ask(entry, now).keys.split())
    return recording.record(replace(entry, sure=sure), entry.barista, now).reading


def test_a_save_raises_at_once(shifted):
    (signal,) = shifted.signals()
    assert signal.person == shifted.people[A]
    assert signal.reading == shifted.readings[-1]
    assert [note.what for note in signal.notes.all()] == ["raised"]


def test_voiding_the_reading_withdraws_what_it_raised_and_says_why(
    shifted, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        recording.void(shifted.readings[-1], shifted.head, "scale was off", timezone.now())
    (signal,) = shifted.signals()
    assert signal.state == Signal.State.WITHDRAWN
    assert [note.what for note in signal.notes.all()] == ["raised", "withdrawn"]
    assert "voided" in signal.notes.last().says
    assert signal.evidence["n"] == 1, "what was seen stays to be seen"


def test_a_correction_of_the_typo_withdraws_it_too(shifted, django_capture_on_commit_callbacks):
    typo = shifted.readings[-1]
    with django_capture_on_commit_callbacks(execute=True):
        save(
            make.entry(
                shifted.slot, shifted.people[A], ("1.40", "1.40"), corrects=typo, brewed_at=typo.brewed_at
            )
        )
    assert [signal.state for signal in shifted.signals()] == ["withdrawn"]


def test_what_was_explained_is_not_taken_back(shifted, django_capture_on_commit_callbacks):
    (signal,) = shifted.signals()
    signal_life.take(signal, "explained", shifted.head, timezone.now(), cause="kettle")
    with django_capture_on_commit_callbacks(execute=True):
        recording.void(shifted.readings[-1], shifted.head, "scale was off", timezone.now())
    assert [signal.state for signal in shifted.signals()] == ["explained"]


def test_voiding_what_came_before_leaves_a_signal_that_still_stands():
    made = crew(shift=of)
    made.catch_up()
    signal = made.signals()[0]
    first = made.of(made.people[1], made.days[3])
    recording.void(first, made.head, "spilt", timezone.now())
    signals.look_again(made.cafe, signal.recipe_id, first.business_day, timezone.now(), "voided")
    signal.refresh_from_db()
    assert signal.state == Signal.State.OPEN


def test_a_fault_in_signals_loses_no_reading(monkeypatch, caplog, django_capture_on_commit_callbacks):
    made = crew(days=2)

    def breaks(*_args, **_kwargs):
        raise ZeroDivisionError

    monkeypatch.setattr(signals, "look_again", breaks)
    with django_capture_on_commit_callbacks(execute=True):
        reading = save(make.entry(made.slot, made.people[A], ("1.40", "1.40"), **ONE))
    assert Reading.objects.filter(pk=reading.pk).exists()
    assert "No signals of" in caplog.text


@pytest.mark.parametrize("kind", [Reading.Kind.PRACTICE, Reading.Kind.SERVED])
def test_practice_and_cups_that_were_sold_are_not_looked_at(
    kind, monkeypatch, django_capture_on_commit_callbacks
):
    made = crew(days=1)
    monkeypatch.setattr(signals, "look_again", lambda *args: pytest.fail("looked"))
    with django_capture_on_commit_callbacks(execute=True):
        save(make.entry(made.slot, made.people[A], ("1.40", "1.40"), kind=kind, **ONE))


# --- not twice


def close(signal, head, at, **said):
    signal_life.take(signal, "explained", head, at, cause="pour", **said)
    signal_life.take(signal, "closed", head, at)


def test_the_same_thing_is_said_once_while_it_lives():
    made = crew(shift=of)
    made.catch_up()
    keys = [signal.key for signal in made.signals()]
    assert len(keys) == len(set(keys)) == 1


def test_after_the_close_only_what_is_brewed_since_counts():
    made = crew(shift=of, days=60)
    made.catch_up()
    (signal,) = made.signals()
    closed_on = made.days[45]
    close(signal, made.head, made.at(closed_on))
    made.catch_up()
    again = [one for one in made.signals() if one != signal]
    assert again, "it went on, so it is said again"
    assert all(one.day > closed_on for one in again)
    first = Reading.objects.filter(pk__in=again[0].evidence["readings"]).order_by("business_day").first()
    assert first.business_day > closed_on


def test_a_baseline_that_starts_anew_is_the_new_usual():
    made = crew(shift=of, days=60)
    made.catch_up()
    (signal,) = made.signals()
    close(signal, made.head, made.at(made.days[45]), restarts_baseline=True)
    made.catch_up()
    assert [one for one in made.signals(question="drifting") if one != signal] == []


# --- instruments


def check(made, day, read, expected="3.00"):
    kind = InstrumentCheck.Kind.STANDARD
    return InstrumentCheck.objects.create(
        refractometer=made.instrument,
        kind=kind,
        expected_tds=Decimal(expected),
        read_tds=Decimal(read),
        passed=abs(Decimal(read) - Decimal(expected)) < Decimal("0.05"),
        checked_at=made.at(day, 20),
        checked_by=made.head,
    )


def test_an_instrument_that_failed_is_said_and_takes_back_what_it_said_of_the_bar(
    django_capture_on_commit_callbacks,
):
    made = crew(shift=of_all)
    check(made, made.days[BEGAN - 1], "3.01")
    made.catch_up()
    assert [signal.question for signal in made.signals()] == ["moved"]
    failed = check(made, made.days[-1], "3.26")
    with django_capture_on_commit_callbacks(execute=True):
        signals.instrument_checked(failed)
    moved, instrument = made.signals()
    assert (moved.state, instrument.question) == ("withdrawn", "instrument")
    assert str(made.instrument) in moved.notes.last().says
    assert (instrument.since_low, instrument.since_high) == (made.days[BEGAN - 1], made.days[-1])
    assert instrument.side == "high"
    assert signals.raise_instrument(check(made, made.days[-1], "3.30")) is None, "once while it lives"


def test_an_instrument_week_is_nobodys_in_a_back_fill():
    made = crew(shift=lambda _person, day: 0.12 if 24 <= day < 31 else 0.0)
    check(made, made.days[23], "3.00")
    check(made, made.days[30], "3.26")
    check(made, made.days[30] + timedelta(days=1), "3.00")
    made.catch_up()
    assert [signal.question for signal in made.signals()] == ["instrument"]


def test_a_check_that_passed_or_is_unclear_raises_nothing():
    made = crew(days=1)
    assert signals.raise_instrument(check(made, made.days[0], "3.00")) is None
    unclear = check(made, made.days[0], "3.30")
    unclear.unclear = True
    assert signals.raise_instrument(unclear) is None


def test_the_brew_time_of_a_failing_instruments_readings_counts():
    made = crew(days=2)
    check(made, made.days[1], "3.50")
    material = gather(made.cafe, made.cafe.check_plan, made.slot.version.recipe_id, made.days[1])
    assert len(material.of("time").brews) == len(made.readings)
    assert len(material.of("tds").brews) == 0
