"""Several at once, each with a connection of its own: nothing comes in twice, nothing is lost, nothing is half in."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from threading import Event

import pytest
from django.conf import settings as kept_settings
from django.db import connection

from calibration import recording
from calibration.bringing_in import noted, saving, steps, undoing, writing
from calibration.models import Drop, Import, OnDuty, Reading
from tests import factories as make
from tests.bringing_in import sheets
from tests.bringing_in.sheets import NOW

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bar(transactional_db):
    return sheets.bar()


def own(call):
    """In a thread: its connection is closed with it."""

    def run(*args, **said):
        try:
            return call(*args, **said)
        finally:
            connection.close()

    return run


def test_the_same_file_brought_in_twice_at_once_comes_in_once(bar, monkeypatch):
    rows = [bar.row(time=f"9:{minute}") for minute in range(10, 40)]
    uploads, written, looked = [bar.sheet(*rows), bar.sheet(*rows)], writing.write, [Event(), Event()]

    def both_have_looked(upload, *args):
        mine = uploads.index(upload)
        looked[mine].set()
        assert looked[1 - mine].wait(60)
        return written(upload, *args)

    monkeypatch.setattr(writing, "write", both_have_looked)

    def bring(upload):
        try:
            return saving.bring_in(upload, bar.cafe, bar.head, NOW)
        except noted.NotBroughtIn as refused:
            return str(refused)

    with ThreadPoolExecutor(2) as threads:
        found = list(threads.map(own(bring), uploads))
    (refused,) = [one for one in found if isinstance(one, str)]
    assert refused.startswith("Another spreadsheet was brought in meanwhile.")
    assert Import.objects.count() == 1
    assert Reading.objects.count() == 30
    summary = steps.look_at(uploads[0], bar.cafe, NOW)
    assert (summary.good, summary.bad) == (0, 30)


def test_a_brew_that_is_entered_meanwhile_is_not_brought_in_too(bar, monkeypatch):
    upload, written = bar.sheet(bar.row(), bar.row(time="11:00")), writing.write

    def entered_first(*args):
        same = make.entry(bar.slot, bar.crew[0], ("1.40", "1.41"), brewed_at=datetime(2026, 3, 9, 9, 40, tzinfo=UTC),
                          refractometer=bar.instrument, sure=frozenset({"late:2026-03-09"}))  # fmt: skip
        recording.record(same, bar.head, NOW)
        return written(*args)

    monkeypatch.setattr(writing, "write", entered_first)
    with pytest.raises(noted.NotBroughtIn, match="One of these brews was entered meanwhile"):
        saving.bring_in(upload, bar.cafe, bar.head, NOW)
    assert Reading.objects.get().source == Reading.Source.FORM
    assert not Import.objects.exists()


def test_a_brew_entered_during_an_import_is_not_lost(bar, monkeypatch):
    upload, begun = bar.sheet(*(bar.row(time=f"9:{minute}") for minute in range(10, 40))), Event()
    entering, refused = [], writing._refuse_doubles

    def while_it_writes(*args):
        begun.set()
        time.sleep(1)
        assert not entering[0].done(), "it waits for its barista's turn"
        return refused(*args)

    monkeypatch.setattr(writing, "_refuse_doubles", while_it_writes)

    def enter():
        assert begun.wait(60)
        entry = make.entry(bar.slot, bar.crew[0], ("1.40", "1.41"), refractometer=bar.instrument)
        return recording.record(entry, bar.crew[0], NOW).reading

    with ThreadPoolExecutor(1) as threads:
        entering.append(threads.submit(own(enter)))
        made = saving.bring_in(upload, bar.cafe, bar.head, NOW)
        reading = entering[0].result(60)
    assert made.readings.count() == 30
    assert Reading.objects.filter(pk=reading.pk, source=Reading.Source.FORM).exists()


def test_a_correction_while_all_is_taken_back_does_not_stand(bar, monkeypatch):
    made = saving.bring_in(bar.sheet(bar.row()), bar.cafe, bar.head, NOW)
    old, beds_of = made.readings.get(), undoing._beds_of
    correcting = []

    def correct():
        entry = make.entry(bar.slot, bar.crew[0], ("1.42", "1.42"), brewed_at=old.brewed_at, corrects=old,
                           sure=frozenset({f"late:{old.brewed_at.date()}"}))  # fmt: skip
        return recording.record(entry, bar.head, NOW)

    def begun(rows):
        correcting.append(threads.submit(own(correct)))
        time.sleep(1)
        return beds_of(rows)

    monkeypatch.setattr(undoing, "_beds_of", begun)
    with ThreadPoolExecutor(1) as threads:
        undoing.undo(made, bar.head, "the wrong sheet", NOW)
        with pytest.raises(recording.NotStanding):
            correcting[0].result(60)
    assert not Reading.objects.standing().exists()


KILLED = """
import django, os, signal, sys
django.setup()
from django.conf import settings
from django.db import connection
settings.DATABASES["default"]["NAME"] = connection.settings_dict["NAME"] = {database!r}
settings.DATA_DIR = {folder!r}
from brewbar.crew.models import Cafe, User
from calibration.bringing_in import saving, uploads, writing
from datetime import datetime
written = writing._Writer.write
def once(self, batch, said):
    written(self, batch, said)
    print("half in", flush=True)
    signal.pause()
writing._Writer.write = once
cafe = Cafe.objects.get(pk={cafe})
upload = uploads.find(cafe, {token!r})
saving.bring_in(upload, cafe, User.objects.get(pk={head}), datetime.fromisoformat({now!r}))
"""


def test_a_server_that_dies_in_the_middle_leaves_nothing(bar):
    upload = bar.sheet(*(bar.row(time=f"9:{minute}") for minute in range(10, 40)))
    told = KILLED.format(
        database=str(connection.settings_dict["NAME"]), folder=kept_settings.DATA_DIR, cafe=bar.cafe.pk,
        token=upload.token, head=bar.head.pk, now=NOW.isoformat(),
    )  # fmt: skip
    told = told.replace("PosixPath(", "__import__('pathlib').Path(")
    with subprocess.Popen([sys.executable, "-c", told], stdout=subprocess.PIPE, env=os.environ) as server:
        assert server.stdout is not None
        assert server.stdout.readline() == b"half in\n"
        server.send_signal(signal.SIGKILL)
    for model in (Reading, Drop, Import, OnDuty):
        assert not model.objects.exists()
    assert steps.bring_in(upload, bar.cafe, bar.head, NOW).brought_in == 30
