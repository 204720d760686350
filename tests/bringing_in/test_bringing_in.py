"""A spreadsheet brought in by the job: the same readings as by the form, all or none, and taken back whole."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from brewbar.crew.models import Change
from calibration import attempts, check_plans, recording
from calibration.bringing_in import noted, steps, undoing, uploads, verdict_file
from calibration.models import Drop, Import, OnDuty, Reading
from recipes import happenings
from recipes.models import BarEvent
from tests import factories as make
from tests.bringing_in.sheets import NOW

OWN = {"id", "uuid", "fingerprint", "source", "brought_in_id", "entered_at"}
"""Columns that say who sent it, and when."""


def bring(bar, upload, **said):
    return steps.bring_in(upload, bar.cafe, bar.head, NOW, **said)


def columns_of(reading):
    return {
        field.attname: getattr(reading, field.attname)
        for field in Reading._meta.concrete_fields
        if field.attname not in OWN
    }


def looked(bar, *rows, **given):
    upload = bar.sheet(*rows)
    upload.given |= given
    upload.save()
    return steps.look_at(upload, bar.cafe, NOW), list(verdict_file.lines(upload)), upload


@pytest.mark.parametrize("weighed", ["alone", "server", "estimated"])
def test_a_brew_is_the_same_by_form_and_by_import(bar, weighed):
    happenings.add(
        bar.cafe, BarEvent.Kind.WATER, NOW - timedelta(days=20), bar.head, NOW, make.water(bar.cafe)
    )
    server = make.server(bar.cafe)
    head = "Date;Time;Barista;Recipe;Dose;Water;Brew time;TDS 1;TDS 2;TDS 3;Sample temperature;Taste"
    row = f"2026-03-09;9:40;{bar.crew[0].name};{bar.slot.card.recipe.name};15,1;250;2:45;1,40;1,41;1,43;23,5;clear"
    if weighed != "estimated":
        head += ";Beverage" if weighed == "alone" else ";Server and coffee"
        row += ";219,6" if weighed == "alone" else ";463,1"
    upload = bar.sheet(row, head=head)
    upload.given["server"] = str(server.pk)
    made = bring(bar, upload, sure=True)
    brought = made.readings.get()
    entry = make.entry(
        bar.slot, bar.crew[0], ("1.40", "1.41", "1.43"), brewed_at=datetime(2026, 3, 9, 9, 40, tzinfo=UTC),
        dose_g=Decimal("15.1"), refractometer=bar.instrument, sample_temperature_C=Decimal("23.5"), taste="clear",
        beverage_source=weighed, no_more_drops=True,
        weight_g={"alone": Decimal("219.6"), "server": Decimal("463.1")}.get(weighed),
        server=server if weighed == "server" else None, tare_g=server.tare_g if weighed == "server" else None,
    )  # fmt: skip
    undoing.undo(made, bar.head, "to enter it by form", NOW)
    sure = frozenset(doubt.key for doubt in recording.ask(entry, NOW).doubts)
    by_form = recording.record(replace(entry, sure=sure), bar.head, NOW).reading
    by_form.refresh_from_db()
    assert brought.source == Reading.Source.IMPORT
    assert columns_of(brought) == columns_of(by_form)
    drops = [
        Drop.objects.filter(reading=one).values_list("order", "tds", "sample_temperature_C")
        for one in (brought, by_form)
    ]
    assert list(drops[0]) == list(drops[1])
    assert brought.brew_water is not None


def test_nothing_is_half_in(bar):
    rows = [bar.row(), bar.row(time="10:05", barista="Miro Demo"), bar.row(time="11:00")]
    upload = bar.sheet(*rows)
    with pytest.raises(
        noted.NotBroughtIn, match=r"Row 3 cannot be brought in: Miro Demo isn't known.*Mira Demo"
    ):
        bring(bar, upload)
    assert not Reading.objects.exists()
    assert not Import.objects.exists()
    assert not OnDuty.objects.exists()
    assert uploads.find(bar.cafe, upload.token) is not None


def test_good_rows_only_leave_a_file_of_the_rest(bar):
    upload = bar.sheet(
        bar.row(), bar.row(time="10:05", barista="Miro Demo", dose="=1+1"), bar.row(time="11:00")
    )
    made = bring(bar, upload, only_good=True)
    assert (made.rows, made.brought_in, made.left_out, made.readings.count()) == (3, 2, 1, 2)
    text = verdict_file.rest_of(made).read_text("utf-8-sig").splitlines()
    other = Import(pk=made.pk, sha256="0" * 64)
    assert not verdict_file.rest_of(other).exists(), "nobody else's, once a backup was put back"
    assert text[0].startswith("Date,Time,Barista")
    assert text[0].endswith("Why it was not brought in")
    assert len(text) == 2
    assert "Miro Demo" in text[1]
    assert "Is it Mira Demo or Ida Demo?" in text[1]
    assert "'=1+1" in text[1]
    assert uploads.find(bar.cafe, upload.token) is None
    assert {path.stat().st_mode & 0o777 for path in uploads.folder().iterdir()} == {0o600}


def test_a_doubtful_row_wants_a_yes(bar):
    upload = bar.sheet(bar.row(tds1="1.95", tds2="1.96"))
    summary = steps.look_at(upload, bar.cafe, NOW)
    assert summary.doubtful == 1
    with pytest.raises(noted.NotBroughtIn, match="Row 2 is doubtful: TDS of"):
        bring(bar, upload)
    assert bring(bar, upload, sure=True).brought_in == 1


def test_what_is_in_brewbar_already_is_told(bar):
    bring(bar, bar.sheet(bar.row(), bar.row(time="11:00")))
    again = bar.sheet(bar.row(), bar.row(time="11:00"))
    assert steps.same_before(again, bar.cafe) is not None
    summary, lines, _upload = looked(bar, bar.row(), bar.row(time="11:00", dose="15.2"))
    assert (summary.bad, summary.good) == (1, 1)
    assert (
        lines[0].problems[0].says == "This brew is in brewbar already: the same barista, moment and values."
    )


def test_what_was_corrected_or_voided_does_not_come_back_with_the_same_sheet(bar):
    rows = [bar.row(), bar.row(time="11:00"), bar.row(time="12:00")]
    made = bring(bar, bar.sheet(*rows))
    typo, spilt, _kept = made.readings.order_by("brewed_at")
    corrected = make.entry(bar.slot, bar.crew[0], ("1.42", "1.42"), brewed_at=typo.brewed_at, corrects=typo,
                           sure=frozenset({f"late:{typo.brewed_at.date()}"}))  # fmt: skip
    recording.record(corrected, bar.head, NOW)
    recording.void(spilt, bar.head, "spilt", NOW)
    summary, lines, _upload = looked(bar, *rows, bar.row(time="13:00"))
    assert (summary.bad, summary.good) == (3, 1)
    was = "This brew was in brewbar with these values, and was corrected or voided there."
    assert [line.problems[0].says for line in lines[:2]] == [was, was]
    assert lines[2].problems[0].says.startswith("This brew is in brewbar already")
    undoing.undo(made, bar.head, "the wrong sheet", NOW)
    assert looked(bar, *rows)[0].good == 3


def test_what_was_typed_and_voided_can_be_brought_in(bar):
    typed = make.reading(
        bar.slot, bar.crew[0], brewed_at=datetime(2026, 3, 9, 9, 40, tzinfo=UTC), brew_time_s=165,
        dose_g=Decimal(15), water_g=Decimal(250),
    )  # fmt: skip
    assert looked(bar, bar.row())[0].good == 0
    recording.void(typed, bar.head, "to take it from the sheet", NOW)
    assert looked(bar, bar.row())[0].good == 1


def test_attempts_follow_the_clock_and_not_the_sheet(bar):
    day = NOW.date() - timedelta(days=11)
    before = make.reading(bar.slot, bar.crew[1], brewed_at=datetime(2026, 3, 9, 8, 0, tzinfo=UTC))
    OnDuty.objects.create(
        cafe=bar.cafe, business_day=day, user=bar.crew[0], since=NOW, how="signed-in", asked_twice=True
    )
    plan = check_plans.of(bar.cafe)
    plan.recipe = bar.slot.card.recipe
    plan.save()
    rows = [
        bar.row(time="11:00"),
        bar.row(time="9:00"),
        bar.row(time="10:00"),
        bar.row(barista=bar.crew[1].name),
    ]
    made = bring(bar, bar.sheet(*rows), sure=True)
    first, repeat, rebrew = Reading.Attempt.values
    mine = made.readings.filter(barista=bar.crew[0]).order_by("brewed_at").values_list("attempt", flat=True)
    assert list(mine) == [first, repeat, rebrew]
    assert made.readings.get(barista=bar.crew[1]).attempt == rebrew
    assert before.attempt == first
    assert attempts.of_brew(bar.crew[0], bar.cafe, bar.slot.card.recipe_id, day, "check") == rebrew


def test_what_was_brewed_before_the_board_has_a_slot_of_its_own(bar):
    rows = [bar.row(day="2025-11-03"), bar.row(day="2025-11-01"), bar.row()]
    made = bring(bar, bar.sheet(*rows))
    old = made.readings.order_by("brewed_at").first().slot
    assert old != bar.slot
    assert (old.version, old.withdrawn_by, old.published_at.date().isoformat()) == (
        bar.slot.version, bar.head, "2025-11-01"
    )  # fmt: skip
    assert old.withdrawn_why == "Brought in from the spreadsheet brews.csv."
    assert made.readings.filter(slot=old).count() == 2
    assert made.readings.filter(slot=bar.slot).count() == 1
    again = bring(bar, bar.sheet(bar.row(day="2025-11-02")))
    assert again.readings.get().slot == old


def test_the_hours_of_a_clock_change_are_told(bar):
    # IANA time zone database, Europe/Lisbon: the clocks skip 01:00 to 02:00 on 30 March 2025, and 26 October 2025 has
    # 01:00 to 02:00 twice.
    usual = [bar.row(time=f"{hour}:40") for hour in (9, 10, 14)]
    _summary, lines, _upload = looked(
        bar, bar.row(day="2025-03-30", time="1:30"), bar.row(day="2025-10-26", time="1:30"), *usual
    )
    assert lines[0].problems[0].says.startswith("The clocks skip this time")
    assert lines[1].remarks[0].says.endswith("this hour came twice: the first is taken.")


def test_an_undone_import_counts_nowhere_and_is_undone_once(bar):
    made = bring(bar, bar.sheet(bar.row(), bar.row(time="11:00")))
    reading = made.readings.order_by("brewed_at").first()
    corrected = recording.record(
        make.entry(bar.slot, bar.crew[0], ("1.42", "1.42"), brewed_at=reading.brewed_at, corrects=reading,
                   sure=frozenset({f"late:{reading.brewed_at.date()}"})),
        bar.head, NOW,
    ).reading  # fmt: skip
    undone = undoing.undo(made, bar.head, "the wrong sheet", NOW)
    assert undone == undoing.Undone(voided=2, corrections=1)
    assert undone.says == "2 readings are voided. So is 1 correction of them."
    corrected.refresh_from_db()
    assert corrected.void_reason == "the wrong sheet"
    assert not Reading.objects.standing().exists()
    with pytest.raises(undoing.NotUndone, match="undone already, on 20 Mar 2026"):
        undoing.undo(made, bar.head, "once more", NOW)
    told = Change.objects.filter(about=Change.About.READING, subject__contains="brews.csv").order_by("pk")
    assert [one.what for one in told] == ["brought in", "undone"]


def test_a_sheet_of_another_café_is_not_found(bar):
    upload = bar.sheet(bar.row())
    assert uploads.find(make.cafe(bar.cafe.company), upload.token) is None
    assert uploads.find(bar.cafe, "../secret-key") is None
