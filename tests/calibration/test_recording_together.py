"""Two hands at once: on a file of SQLite and on PostgreSQL alike, one reading comes of one brew."""

from __future__ import annotations

import dataclasses
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection
from django.utils import timezone

from brewbar.crew.models import Role
from calibration import recording
from calibration.models import Drop, Reading
from recipes.models import Slot
from tests import factories as make

HANDS = 4


@pytest.fixture
def slot(transactional_db) -> Slot:
    return make.live_slot(make.cafe())


def together(*jobs):
    """Run every job in a thread and a connection of its own, all from the same moment on."""
    gate = Barrier(len(jobs))

    def run(job):
        try:
            gate.wait(timeout=30)
            return job()
        except Exception as error:
            return error
        finally:
            connection.close()

    with ThreadPoolExecutor(len(jobs)) as hands:
        return list(hands.map(run, jobs))


def test_one_form_sent_several_times_at_once_is_one_reading(slot):
    barista = make.person(cafe=slot.board.cafe)
    entry = make.entry(slot, barista)
    now = timezone.now()
    answers = together(*[lambda: recording.record(entry, barista, now)] * HANDS)
    assert {answer.reading.pk for answer in answers} == {Reading.objects.get().pk}
    assert [answer.is_new for answer in answers].count(True) == 1
    assert Drop.objects.count() == 2


def test_one_uuid_with_two_bodies_at_once_saves_one_and_refuses_the_other(slot):
    barista = make.person(cafe=slot.board.cafe)
    entry = make.entry(slot, barista)
    other = dataclasses.replace(entry, taste="flat")
    now = timezone.now()
    answers = together(*(lambda e=e: recording.record(e, barista, now) for e in (entry, other)))
    assert sorted(type(answer).__name__ for answer in answers) == ["Recorded", "Taken"]
    assert Reading.objects.count() == 1


def test_of_several_brews_at_once_one_is_the_first(slot):
    barista = make.person(cafe=slot.board.cafe)
    now = timezone.now()
    entries = [make.entry(slot, barista) for _ in range(HANDS)]
    together(*(lambda e=e: recording.record(e, barista, now) for e in entries))
    attempts = list(Reading.objects.values_list("attempt", flat=True))
    assert len(attempts) == HANDS
    assert attempts.count(Reading.Attempt.FIRST) == 1


def test_a_reading_is_either_corrected_or_voided(slot):
    barista, head = make.person(cafe=slot.board.cafe), make.person(Role.HEAD, slot.board.cafe)
    now = timezone.now()
    first = recording.record(make.entry(slot, barista), barista, now).reading
    correction = make.entry(slot, barista, corrects=first)
    answers = together(
        lambda: recording.record(correction, barista, now),
        lambda: recording.void(Reading.objects.get(pk=first.pk), head, "spilt", now),
    )
    refused = [answer for answer in answers if isinstance(answer, recording.NotStanding)]
    assert len(refused) == 1
    assert Reading.objects.filter(corrects=first).exists() != Reading.objects.get(pk=first.pk).is_voided
