"""A signal's life, step by step; what the record keeps of it, and whom it does not name."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from brewbar.crew.models import Change, Role
from calibration import signal_life
from calibration.models import Signal, SignalNote
from calibration.signal_life import NotNow, take
from tests import factories as make


@pytest.fixture
def cafe(db):
    return make.cafe()


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe, name="Head Person")


@pytest.fixture
def barista(cafe):
    return make.person(cafe=cafe, name="Somebody Brewing")


@pytest.fixture
def signal(cafe, barista):
    return make.signal(cafe, barista)


def now():
    return timezone.now()


def steps(signal):
    return [note.what for note in signal.notes.all()]


def test_from_raised_to_closed_and_open_again(signal, head, barista):
    take(signal, "looked", head, now())
    take(signal, "replied", barista, now(), says="I changed nothing.")
    take(signal, "explained", head, now(), cause="pour", says="Too high", action="Watched the spout")
    take(signal, "closed", head, now())
    take(signal, "reopened", head, now(), says="It came back")
    signal.refresh_from_db()
    assert signal.state == Signal.State.OPEN
    assert steps(signal) == ["raised", "looked", "replied", "explained", "closed", "reopened"]
    explained = signal.notes.get(what="explained")
    assert (explained.cause, explained.action, explained.by) == ("pour", "Watched the spout", head)


@pytest.mark.parametrize("what", ["closed", "reopened"])
def test_steps_that_come_too_soon_are_refused(signal, head, what):
    with pytest.raises(NotNow):
        take(signal, what, head, now())
    assert steps(signal) == ["raised"]


def test_nothing_is_explained_without_a_cause(signal, head):
    with pytest.raises(NotNow, match="cause"):
        take(signal, "explained", head, now())


def test_whoever_is_second_is_told(signal, head):
    take(signal, "looked", head, now())
    with pytest.raises(NotNow, match="looked at"):
        take(signal, "looked", head, now())


def test_a_withdrawn_signal_takes_no_more_steps(signal, head, barista):
    with transaction.atomic():
        signal_life.stepped(signal, "withdrawn", None, now(), says="A reading was voided.")
    for what in SignalNote.What.values:
        if what not in {"raised", "withdrawn"}:
            with pytest.raises(NotNow):
                take(signal, what, head, now(), cause="pour")


def test_an_explanation_may_be_put_otherwise(signal, head):
    take(signal, "explained", head, now(), cause="pour")
    take(signal, "explained", head, now(), cause="kettle")
    assert [note.cause for note in signal.notes.filter(what="explained")] == ["pour", "kettle"]


def test_what_was_signalled_anew_is_not_opened_a_second_time(signal, head, cafe, barista):
    take(signal, "explained", head, now(), cause="pour")
    take(signal, "closed", head, now())
    make.signal(cafe, barista)
    with pytest.raises(NotNow, match="newer"):
        take(signal, "reopened", head, now())


def test_the_same_thing_lives_once(signal, cafe, barista):
    with pytest.raises(IntegrityError), transaction.atomic():
        make.signal(cafe, barista)


def test_a_barista_replies_and_no_more(signal, head, barista):
    assert signal_life.steps_for(make.member(barista), signal) == ["replied"]
    assert "explained" in signal_life.steps_for(make.member(head), signal)


def test_every_step_is_on_record_and_names_nobody_it_is_about(signal, head, barista):
    take(signal, "looked", head, now())
    take(signal, "replied", barista, now(), says="It was me, Somebody Brewing")
    take(signal, "explained", head, now(), cause="pour", says="Somebody Brewing pours high")
    changes = Change.objects.filter(row=f"calibration.signal {signal.pk}").order_by("pk")
    assert [change.what for change in changes] == [
        "signal: looked at",
        "signal: replied",
        "signal: explained",
    ]
    assert changes[2].after == {"state": "explained", "cause": "pour technique"}
    assert changes[0].by == head
    for change in changes:
        assert "Somebody" not in change.words + change.by_name + change.why
        assert change.by != barista


def test_what_raised_it_can_not_be_changed(signal):
    signal.evidence = {}
    with pytest.raises(IntegrityError), transaction.atomic():
        signal.save()
    with pytest.raises(IntegrityError), transaction.atomic():
        signal.notes.update(says="never")
