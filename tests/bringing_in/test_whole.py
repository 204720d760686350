"""What is easily lost between the file and the database: single drops, the rest of a sheet, queries by the row."""

from __future__ import annotations

import errno

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calibration import recording
from calibration.bringing_in import noted, steps, uploads, verdict_file
from calibration.models import Import, Reading
from calibration.statistics.uncertainty import tds_budget
from recipes.models import Slot
from tests import factories as make
from tests.bringing_in.sheets import NOW

ONE_DROP = "Date;Time;Barista;Recipe;Dose;Water;Beverage;Brew time;TDS"


def one_drop(bar):
    row = f"2026-03-09;9:40;{bar.crew[0].name};{bar.slot.card.recipe.name};15;250;220;2:45;1.40"
    return bar.sheet(row, head=ONE_DROP)


def test_one_drop_is_taken_where_no_more_was_written_down(bar):
    upload = one_drop(bar)
    summary = steps.look_at(upload, bar.cafe, NOW)
    assert (summary.good, summary.doubtful, summary.remarked) == (1, 0, 1)
    (line,) = verdict_file.lines(upload)
    assert line.remarks[0].says.startswith("One drop: how far drops of this cup would lie apart is not known")
    made = steps.bring_in(upload, bar.cafe, bar.head, NOW)
    reading, instrument = made.readings.get(), bar.instrument
    assert [drop.order for drop in reading.drops.all()] == [1]
    assert (reading.tds, reading.drops_range_tds, reading.drops_allowed_tds) == (
        reading.drops.get().tds,
        0,
        0,
    )
    usual, resolution = float(instrument.repeatability_tds), float(instrument.resolution_tds)
    budgets = [
        tds_budget(n, usual, resolution, accuracy_limit=float(instrument.accuracy_tds)) for n in (1, 2)
    ]
    assert reading.u_tds_relative == pytest.approx(budgets[0].u_relative)
    assert reading.u_tds_relative > budgets[1].u_relative


def test_somebody_who_stands_at_the_bar_reads_two_drops(bar):
    entry = make.entry(bar.slot, bar.crew[0], ("1.40",), no_more_drops=True)
    with pytest.raises(recording.Impossible, match="a reading takes two or more"):
        recording.record(entry, bar.crew[0], NOW)


def test_a_full_disk_is_told_before_anything_is_saved(bar, monkeypatch):
    upload = bar.sheet(bar.row(), bar.row(time="10:05", barista="Miro Demo"))

    def full(*args):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(verdict_file, "_texts", full)
    with pytest.raises(OSError, match="No space left"):
        steps.bring_in(upload, bar.cafe, bar.head, NOW, only_good=True)
    assert not Reading.objects.exists()
    assert not Import.objects.exists()
    monkeypatch.undo()
    assert uploads.find(bar.cafe, upload.token) is not None


def test_files_that_cannot_be_put_away_undo_nothing(bar, monkeypatch, caplog):
    upload = bar.sheet(bar.row(), bar.row(time="10:05", barista="Miro Demo"))

    def gone(*args):
        raise FileNotFoundError("the folder")

    monkeypatch.setattr(verdict_file, "keep_rest", gone)
    made = steps.bring_in(upload, bar.cafe, bar.head, NOW, only_good=True)
    assert made.readings.count() == 1
    assert "was brought in, but its files could not be put away" in caplog.text


def test_the_slot_of_old_brews_holds_what_they_were_brewed_with(bar):
    made = steps.bring_in(bar.sheet(bar.row(day="2025-11-03", setting="21")), bar.cafe, bar.head, NOW)
    slot = Slot.objects.get(pk=made.readings.get().slot_id)
    assert slot.setting is not None
    assert (slot.setting.slot, slot.setting.grind_setting, slot.setting.roast_batch) == (
        slot,
        "21",
        bar.batch,
    )
    assert bar.cafe.board.slots.live().get() == bar.slot
    connection.check_constraints()


def test_it_costs_as_many_queries_however_many_rows(bar):
    def queries(day, rows):
        sheet = bar.sheet(*(bar.row(day=day, time=f"{8 + n // 60}:{n % 60:02d}") for n in range(rows)))
        with CaptureQueriesContext(connection) as found:
            steps.look_at(sheet, bar.cafe, NOW)
            steps.bring_in(sheet, bar.cafe, bar.head, NOW)
        return [query["sql"][:60] for query in found]

    few, many = queries("2026-03-09", 2), queries("2026-03-10", 100)
    assert len(few) == len(many), set(many) - set(few)


def test_a_doubtful_pair_of_drops_is_a_doubt(bar):
    upload = bar.sheet(bar.row(tds1="1.30", tds2="1.50"))
    with pytest.raises(noted.NotBroughtIn, match="Row 2 is doubtful: The 2 drops differ"):
        steps.bring_in(upload, bar.cafe, bar.head, NOW)
