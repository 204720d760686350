"""A whole import taken back: what it brought counts nowhere, whatever became of some of its rows since."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.files.base import ContentFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calibration import beds, recording, signals
from calibration.bringing_in import steps, undoing
from calibration.importing.fields import Kind
from calibration.models import OnDuty, Reading
from recipes.models import BedFit, Coffee, RoastBatch
from tests import factories as make
from tests.bringing_in.sheets import NOW

WHY = "the wrong sheet"


def bring(bar, upload):
    return steps.bring_in(upload, bar.cafe, bar.head, NOW)


def lots(bar, *rows):
    text = "\n".join(("Coffee;Batch;Roasted on", *rows))
    return bring(bar, bar.upload(ContentFile(text.encode(), name="lots.csv"), Kind.LOTS))


def test_rows_that_were_corrected_or_voided_since_are_told_apart(bar):
    made = bring(bar, bar.sheet(*(bar.row(time=f"{hour}:00") for hour in range(8, 13))))
    readings = list(made.readings.order_by("brewed_at"))
    recording.void(readings[0], bar.head, "spilt", NOW)
    later = NOW + timedelta(minutes=1)
    for tds in ("1.42", "1.43"):
        old = Reading.objects.filter(correction=None).exclude(corrects=None).first() or readings[1]
        entry = make.entry(bar.slot, bar.crew[0], (tds, tds), brewed_at=old.brewed_at, corrects=old,
                           sure=frozenset({f"late:{old.brewed_at.date()}"}))  # fmt: skip
        recording.record(entry, bar.head, later)
    undone = undoing.undo(made, bar.head, WHY, later)
    assert undone == undoing.Undone(voided=4, corrections=2, before=1)
    assert not Reading.objects.filter(voided_at=None).exists()
    readings[0].refresh_from_db()
    assert readings[0].void_reason == "spilt"


def test_beds_and_signals_follow(bar, monkeypatch, django_capture_on_commit_callbacks):
    told = []
    monkeypatch.setattr(
        signals, "look_again", lambda cafe, recipe, since, now, why="": told.append((recipe, since, why))
    )
    with django_capture_on_commit_callbacks(execute=True):
        made = bring(bar, bar.sheet(*(bar.row(time=f"{hour}:00") for hour in range(8, 13))))
    assert BedFit.objects.get().newest_brew_at == made.readings.first().brewed_at
    with django_capture_on_commit_callbacks(execute=True):
        undoing.undo(made, bar.head, WHY, NOW)
    assert not BedFit.objects.exists()
    recipe, day = bar.slot.card.recipe_id, made.readings.first().business_day
    assert told == [
        (recipe, day, ""),
        (recipe, day, "The spreadsheet brews.csv was taken back."),
    ]


def test_a_fit_that_fails_loses_no_reading(bar, monkeypatch, django_capture_on_commit_callbacks):
    def fails(bed):
        raise RuntimeError("no fit")

    monkeypatch.setattr(beds, "_write", fails)
    with django_capture_on_commit_callbacks(execute=True):
        assert bring(bar, bar.sheet(bar.row())).readings.count() == 1


def test_nobody_stays_on_duty_for_what_was_taken_back(bar):
    day = NOW.date() - timedelta(days=11)
    then = NOW - timedelta(days=11)
    make.reading(bar.slot, bar.crew[1], brewed_at=then)
    OnDuty.objects.create(cafe=bar.cafe, business_day=day, user=bar.crew[1], since=then, how="signed-in")
    made = bring(
        bar, bar.sheet(bar.row(), bar.row(time="10:00", barista=bar.crew[1].name), bar.row(day="2026-03-11"))
    )
    assert OnDuty.objects.count() == 3
    undoing.undo(made, bar.head, WHY, NOW)
    assert [(row.user, row.business_day) for row in OnDuty.objects.all()] == [(bar.crew[1], day)]


def test_batches_are_deleted_unless_something_names_them(bar):
    coffee = bar.slot.card.recipe.coffee
    made = lots(
        bar, f"{coffee.name};N1;2026-02-20", f"{coffee.name};N2;2026-02-27", "New coffee;N1;2026-02-20"
    )
    assert (made.brought_in, Coffee.objects.count(), RoastBatch.objects.count()) == (3, 2, 4)
    make.reading(bar.slot, bar.crew[0], roast_batch=RoastBatch.objects.get(label="N2"))
    undone = undoing.undo(made, bar.head, WHY, NOW)
    assert undone == undoing.Undone(deleted=3, retired=1)
    assert list(Coffee.objects.all()) == [coffee]
    assert RoastBatch.objects.get(label="N2").retired_at is not None
    assert not RoastBatch.objects.filter(label="N1").exists()


@pytest.mark.parametrize("kind", ["readings", "lots"])
def test_it_costs_as_many_queries_however_many_there_are(bar, kind):
    def queries(first, rows):
        if kind == "lots":
            made = lots(bar, *(f"Coffee of {first};{first + n};2026-02-20" for n in range(rows)))
        else:
            days = (str((NOW - timedelta(days=first + n)).date()) for n in range(rows))
            made = bring(bar, bar.sheet(*(bar.row(day=day) for day in days)))
        with CaptureQueriesContext(
            connection,
        ) as found:
            assert undoing.undo(made, bar.head, WHY, NOW)
        return len(found)

    assert queries(2, 3) == queries(10, 15)
