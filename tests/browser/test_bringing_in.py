"""A head barista brings in a spreadsheet as somebody keeps it, with everything wrong in it that people do."""

from __future__ import annotations

import csv
import io
import re
from datetime import date, time
from pathlib import Path

import pytest
from django.urls import reverse
from openpyxl import Workbook
from playwright.sync_api import expect

from calibration.bringing_in import uploads
from calibration.models import Import, Reading
from recipes.models import Coffee, RoastBatch
from tests import factories as make
from tests.bringing_in import sheets

HEAD = ["Date", "Time", "Who", "Recipe", "Batch", "Grinder", "Setting", "Coffee in (g)", "Water", "In the cup",
        "Brew time", "TDS", "TDS 2"]  # fmt: skip


@pytest.fixture
def bar(live, transactional_db, tmp_path, settings):
    settings.DATA_DIR = tmp_path
    bar = sheets.bar()
    make.station(bar.cafe, name="Back bar")
    yield bar
    for token, *_rest in list(uploads.opened_now):
        uploads.close(token)


def brew(bar, day, at, who, dose="15", cup="220", brew_time="2:45", tds="1.40", tds_2="1.41"):
    setting = bar.slot.setting
    same = [bar.slot.card.recipe.name, bar.batch.label, setting.grinder.name, "24"]
    return [day, at, who, *same, dose, "250", cup, brew_time, tds, tds_2]


def dirty(bar, path, *, first="14/03/2026"):
    """Row numbers stand behind the rows; a blank line is row 8."""
    book = Workbook()
    sheet = book.active
    sheet.append(["Brews of the front bar"])
    sheet.merge_cells("A1:F1")
    sheet.append([])
    sheet.append(HEAD)
    for row in (
        brew(bar, first, "8:10", "Mira Demo", "15,0", tds="1,38", tds_2="1,40"),  # 4
        brew(bar, "15/03/2026", "8:42", "Mira", "15.1", cup="219.5", brew_time="165"),  # 5
        brew(bar, date(2026, 3, 16), time(9, 5), "Jonas Demo", 15.2, 221, "2:51", 1.37, 1.38),  # 6
        brew(bar, None, time(9, 40), "Jonas Demo", 15, 222, "2:39", 1.42, 1.41),  # 7, its day under A6
        [],
        brew(bar, "2026-03-16", "10:05", "Ina", "15,0", brew_time="3 min 02", tds="1,40", tds_2=None),  # 9
        brew(bar, "17/03/2026", "7:55", "Mira Demo"),  # 10
        brew(bar, "17/03/2026", "8:25", "Jonas Demo"),  # 11
        brew(bar, "17/03/2026", "7:55", "Mira Demo"),  # 12, pasted twice
        brew(bar, "17/03/2026", "8:25", "Jonas Demo"),  # 13, pasted twice
        brew(bar, "18/03/2026", "9:00", "Mira Demo", "=30/2"),  # 14, a formula never worked out
        brew(bar, "18/03/2026", "9:30", "Mira Demo", brew_time="1:99"),  # 15
    ):
        sheet.append(row)
    sheet.merge_cells("A6:A7")
    book.create_sheet("Coffee to order").append(["what"])
    book.save(path)
    return path


def upload(page, live, path, kind="Readings of brews"):
    page.goto(live + reverse("calibration:today"))
    page.get_by_role("link", name="Spreadsheets").click()
    page.get_by_role("link", name="Bring in a spreadsheet").click()
    page.get_by_label(kind).check()
    page.get_by_label("Spreadsheet").set_input_files(path)
    page.get_by_role("button", name="Upload").click()


def rows(page):
    """What is said of each row that is shown: {number: its words}."""
    texts = [" ".join(text.split()) for text in page.locator(".import-row").all_inner_texts()]
    return {int(re.match(r"Row (\d+)", text)[1]): text for text in texts}


def look(page):
    page.get_by_role("button", name="Look at all rows").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("What becomes of the rows")


def test_a_dirty_spreadsheet_is_told_row_by_row_answered_and_brought_in(
    bar, page, live, sign_in, axe, tmp_path
):
    sign_in(page, live, bar.head)
    upload(page, live, dirty(bar, tmp_path / "brews.xlsx"))
    expect(page.get_by_label("Sheet")).to_have_value("Sheet")
    expect(page.get_by_label("Row with the headings")).to_have_value("3")
    page.get_by_role("button", name="On to the columns").click()

    # What no column says is asked for, and nothing that was answered is lost.
    page.get_by_label("J: In the cup").select_option(label="beverage mass")
    page.get_by_role("button", name="Look at all rows").click()
    expect(page.get_by_role("alert")).to_contain_text("Station: No column says it")
    expect(page.get_by_label("J: In the cup")).to_have_value("beverage_g")
    axe(page)
    page.get_by_label("Station").select_option(label=bar.slot.station.name)
    look(page)
    axe(page)
    said = rows(page)
    assert list(said) == [5, 7, 9, 12, 13, 14, 15]
    for row, words in {
        5: "C5: Mira isn't known as a barista. Is it Mira Demo?",
        7: "A7: This cell lies under the merged cells A6:A7.",
        9: "C9: Ina isn't known as a barista.",
        12: "This row says the same as row 10. Was it pasted twice?",
        13: "This row says the same as row 11.",
        14: "H14: This is a formula whose result isn't in the file.",
        15: "K15:",
    }.items():
        assert words in said[row]
    page.get_by_role("link", name="Good (4)").click()
    assert "day of the brew 14 Mar 2026" in rows(page)[4]
    assert "dose 15.0 g" in rows(page)[4]
    assert "TDS 1.38 %, 1.40 %" in rows(page)[4]

    # All or nothing, unless it is said otherwise.
    page.get_by_role("button", name="Bring in 4 rows").click()
    expect(page.get_by_role("alert")).to_contain_text("Some rows cannot be brought in.")
    assert not Reading.objects.exists()
    assert not Import.objects.exists()
    assert not Coffee.objects.exclude(pk=bar.batch.coffee.pk).exists()
    page.get_by_role("link", name="Good (4)").click()
    expect(page).to_have_url(re.compile(r"/rows/\?rows=good$"))

    # Names are answered, the merged days count, and the rest comes back as a file.
    expect(page.get_by_label("Mira (barista)")).to_have_value(str(bar.crew[0].pk))
    page.get_by_label("Ina (barista)").select_option(label="Ida Demo")
    page.get_by_role("button", name="with these names").click()
    expect(page.get_by_role("link", name="Good (6)")).to_be_visible()
    page.get_by_role("link", name="2 Columns").click()
    page.get_by_label("The value of merged cells").check()
    look(page)
    page.get_by_label("Leave out the 4 rows").check()
    page.get_by_role("button", name="Bring in 7 rows").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("brews.xlsx")
    axe(page)
    made = Import.objects.get()
    assert (made.rows, made.brought_in, made.left_out) == (11, 7, 4)
    found = made.readings.order_by("brewed_at").values_list("business_day", "brew_time_s", "dose_g")
    assert [(f"{day:%d}", seconds, float(dose)) for day, seconds, dose in found] == [
        ("14", 165, 15.0), ("15", 165, 15.1), ("16", 171, 15.2), ("16", 159, 15.0), ("16", 182, 15.0),
        ("17", 165, 15.0), ("17", 165, 15.0),
    ]  # fmt: skip
    with page.expect_download() as download:
        page.get_by_role("link", name="The rows left out").click()
    rest = list(csv.reader(io.StringIO(Path(download.value.path()).read_text("utf-8-sig"))))
    assert [row[-1].split(":")[0] for row in rest[1:]] == ["12", "13", "H14", "K15"]

    # And taken back as a whole.
    page.get_by_role("link", name="Take all of it back").click()
    expect(page.get_by_text("7 readings are voided with your reason")).to_be_visible()
    page.get_by_label("Why it is taken back").fill("trying it out")
    page.get_by_role("button", name="Take it back").click()
    expect(page.get_by_text("The import is undone. 7 readings are voided.")).to_be_visible()
    assert not Reading.objects.standing().exists()


def test_a_phone_without_scripts_brings_in_all_rows_once_the_order_of_days_is_said(
    bar, open_page, live, sign_in, tmp_path
):
    """A CSV with semicolons, its dates in an order that nothing in it tells."""
    page = open_page(390, java_script_enabled=False)
    sign_in(page, live, bar.head)
    days = [f"{day:02d}.03.2026" for day in range(1, 11)]
    lines = [
        brew(bar, day, "9:10", "Mira Demo", "15,0", brew_time="165", tds="1,38", tds_2="1,40") for day in days
    ]
    path = tmp_path / "march.csv"
    path.write_text("\r\n".join(";".join(row) for row in (HEAD, *lines)), "cp1252")
    upload(page, live, path)
    expect(page.get_by_role("heading", level=1)).to_have_text("Which column is what")
    page.get_by_label("J: In the cup").select_option(label="beverage mass")
    page.get_by_label("Station").select_option(label=bar.slot.station.name)
    page.get_by_role("button", name="Look at all rows").click()
    order = page.get_by_label("Which comes first in A2 (01.03.2026)?")
    expect(page.get_by_role("alert")).to_contain_text("Choose one: the cells alone do not tell.")
    order.select_option(label="the day first: 1 March 2026")
    look(page)
    page.get_by_role("button", name="Bring in 10 rows").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("march.csv")
    assert Reading.objects.standing().count() == 10
    upload(page, live, path)
    expect(page.get_by_text("This very file was brought in before")).to_be_visible()


def test_coffees_and_batches_come_in_from_where_they_are_kept(bar, wide_page, live, sign_in, tmp_path):
    page = wide_page
    sign_in(page, live, bar.head)
    path = tmp_path / "lots.csv"
    path.write_text(
        "Coffee;Origin;Batch;Roasted on\nDemo Dawn;Demoland;A1;2026-03-01\nDemo Dawn;;A2;2026-03-05\n"
    )
    page.goto(live + reverse("recipes:coffees"))
    page.get_by_role("link", name="Bring in a spreadsheet").click()
    expect(page.get_by_label("Coffees and batches")).to_be_checked()
    page.get_by_label("Spreadsheet").set_input_files(path)
    page.get_by_role("button", name="Upload").click()
    look(page)
    assert "roasted on 1 Mar 2026" in rows(page)[2]
    page.get_by_role("button", name="Bring in 2 rows").click()
    page.get_by_role("link", name="Demo Dawn, A1").click()
    assert RoastBatch.objects.filter(coffee__name="Demo Dawn").count() == 2


def test_an_answer_of_another_window_is_not_brought_in_unseen(bar, wide_page, live, sign_in, tmp_path):
    page = wide_page
    sign_in(page, live, bar.head)
    path = tmp_path / "brews.csv"
    lines = [brew(bar, "2026-03-09", "9:10", name) for name in ("Mira Demo", "Jonas Demo")]
    path.write_text("\n".join(";".join(row) for row in (HEAD, *lines)))
    upload(page, live, path)
    page.get_by_label("J: In the cup").select_option(label="beverage mass")
    page.get_by_label("Station").select_option(label=bar.slot.station.name)
    look(page)
    other = page.context.new_page()
    other.goto(page.url)
    other.get_by_role("link", name="2 Columns").click()
    other.get_by_label("J: In the cup").select_option(label="left out")
    look(other)
    page.get_by_role("button", name="Bring in 2 rows").click()
    expect(page.get_by_role("alert")).to_contain_text("The answers were changed in another window.")
    assert not Reading.objects.exists()
    other.get_by_role("button", name="Delete the file").click()
    expect(other.get_by_text("The file is deleted.")).to_be_visible()
    page.reload()
    expect(page.get_by_text("This spreadsheet does not wait here any more")).to_be_visible()
    page.get_by_role("link", name="Go on").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Spreadsheets")
