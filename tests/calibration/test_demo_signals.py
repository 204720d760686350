"""What was signalled of the invented ten weeks, and what was made of it, fits what is true of them."""

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from django.db import transaction

from brewbar.crew.models import Change, User
from calibration import demo_data
from calibration.models import FollowUp, Reading, Signal, SignalNote
from calibration.scenario import Scenario, build

TODAY = date(2026, 6, 17)
Cause, Question, State = SignalNote.Cause, Signal.Question, Signal.State

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return build(TODAY, np.random.default_rng(demo_data.SEED))


@pytest.fixture(scope="module", autouse=True)
def demo(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    with django_db_blocker.unblock(), transaction.atomic():
        demo_data.rebuild(TODAY)
        yield
        transaction.set_rollback(True)


def causes(signal: Signal) -> list[str]:
    return [note.cause for note in signal.notes.filter(what=SignalNote.What.EXPLAINED)]


def test_the_wrong_week_is_the_instrument_s_and_nobody_else_s(scenario: Scenario) -> None:
    wrong = scenario.truth.gain_error
    (signal,) = Signal.objects.filter(question=Question.INSTRUMENT)
    assert (signal.refractometer.name, signal.side) == ("Station refractometer", "high")
    assert signal.since_low == wrong.first_day - timedelta(days=1), (
        "the day of the last standard that was right"
    )
    assert signal.day == signal.since_high == wrong.last_day
    assert (signal.state, causes(signal)) == (State.CLOSED, [Cause.INSTRUMENT])
    misread = set(
        Reading.objects.filter(
            cafe=signal.cafe, business_day__range=(wrong.first_day, wrong.last_day)
        ).values_list("pk", flat=True)
    )
    of_strength = Signal.objects.filter(cafe=signal.cafe, measure=Signal.Measure.TDS)
    assert misread
    assert not any(misread & set(one.evidence["readings"]) for one in of_strength)


def test_the_new_crop_is_seen_as_days_and_explained_by_its_lot(scenario: Scenario) -> None:
    batch = next(row for row in scenario.batches if row.key == scenario.truth.batch_step.batches[0])
    assert batch.opened_on is not None
    signal = Signal.objects.get(
        question=Question.MOVED, cafe__name="Candle Yard", measure=Signal.Measure.TDS, side="high"
    )
    assert batch.opened_on <= signal.day <= batch.opened_on + timedelta(days=14)
    assert signal.since_low <= batch.opened_on <= signal.since_high
    assert (signal.state, causes(signal)) == (State.CLOSED, [Cause.LOT])


def test_whoever_drifts_is_signalled_after_it_began(scenario: Scenario) -> None:
    drift = scenario.truth.drift
    signal = Signal.objects.get(person__username=drift.person, measure=Signal.Measure.TDS)
    assert (signal.question, signal.side) == (Question.DRIFTING, "high")
    assert drift.after < signal.day
    assert signal.since_low <= drift.after + timedelta(days=1) <= signal.since_high
    assert (signal.state, causes(signal)) == (State.EXPLAINED, [Cause.POUR])
    assert signal.notes.filter(what=SignalNote.What.REPLIED, by__username=drift.person).exists()


def test_people_are_told_a_cause_only_where_the_truth_has_one(scenario: Scenario) -> None:
    truth = scenario.truth
    mishaps = {row.reading: row.story for row in truth.mishaps}
    uuids = {row.uuid: mishaps[row.key] for row in scenario.readings if row.key in mishaps}
    for signal in Signal.objects.exclude(person=None).prefetch_related("notes"):
        found = [note for note in signal.notes.all() if note.cause]
        went_wrong = set(
            Reading.objects.filter(pk__in=signal.evidence["readings"]).values_list("uuid", flat=True)
        )
        stories = {uuids[uuid] for uuid in went_wrong & uuids.keys()}
        key = User.objects.get(pk=signal.person_id).username
        really = key == truth.drift.person or abs(truth.effects.staff[key]) > 0.03
        for note in found:
            assert note.cause == Cause.CHANCE or note.says in stories or really


def test_the_last_week_waits_for_whoever_looks_around() -> None:
    states = set(Signal.objects.values_list("state", flat=True))
    assert states >= {State.OPEN, State.LOOKED, State.EXPLAINED, State.CLOSED}
    newest = Signal.objects.filter(state__in=(State.OPEN, State.LOOKED)).order_by("day").first()
    assert newest is not None
    assert newest.day >= TODAY - timedelta(days=14)


def test_the_record_says_when_each_step_was_taken() -> None:
    steps = Change.objects.filter(what__startswith="signal").values_list("at", flat=True)
    notes = SignalNote.objects.values_list("at", flat=True)
    trials = FollowUp.objects.values_list("started_at", flat=True)
    assert sorted(steps) == sorted([*notes, *trials])


def test_where_the_cause_is_a_way_to_pour_what_is_advised_is_tried() -> None:
    for trial in FollowUp.objects.select_related("signal"):
        assert (trial.cause, trial.ended_at) == (Cause.POUR, None)
        assert trial.signal.state == State.EXPLAINED
    assert FollowUp.objects.exists()
