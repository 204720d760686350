"""Many hands at one grinder: on a file of SQLite and on PostgreSQL alike, the fit knows every brew."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection
from django.utils import timezone

from brewbar.crew.models import Role
from calibration import recording
from recipes.models import BedFit, Slot
from tests import factories as make

HANDS = 4
NOW = timezone.now()


@pytest.fixture
def slot(transactional_db) -> Slot:
    return make.live_slot(make.cafe())


def together(jobs):
    """Run every job in a thread and a connection of its own, all from the same moment on."""
    gate = Barrier(len(jobs))

    def run(job):
        try:
            gate.wait(timeout=30)
            return job()
        finally:
            connection.close()

    with ThreadPoolExecutor(len(jobs)) as hands:
        return list(hands.map(run, jobs))


def saving(slot, barista, **fields):
    entry = make.entry(slot, barista, **fields)
    return lambda: recording.record(entry, barista, NOW).reading


def crew_of(slot):
    return [make.person(cafe=slot.board.cafe) for _hand in range(HANDS)]


def test_brews_saved_at_once_are_all_in_the_fit(slot):
    together([saving(slot, barista) for barista in crew_of(slot)])
    assert BedFit.objects.get().brews == HANDS


def test_voided_at_once_they_are_all_out_of_it(slot):
    crew, head = crew_of(slot), make.person(Role.HEAD, slot.board.cafe)
    readings = [saving(slot, barista)() for barista in crew]
    saving(slot, crew[0])()
    together([lambda r=r: recording.void(r, head, "spilt", NOW) for r in readings])
    assert BedFit.objects.get().brews == 1


def test_corrections_that_cross_between_two_grinders_wait_for_each_other_in_one_order(slot):
    crew, other = crew_of(slot), make.grinder(slot.board.cafe)
    here = [saving(slot, barista)() for barista in crew[:2]]
    there = [saving(slot, barista, grinder=other)() for barista in crew[2:]]
    crossing = [(reading, other) for reading in here] + [(reading, slot.setting.grinder) for reading in there]
    together([saving(slot, r.barista, grinder=grinder, corrects=r) for r, grinder in crossing])
    assert list(BedFit.objects.values_list("brews", flat=True)) == [2, 2]
