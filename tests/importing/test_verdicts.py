"""Every row with its verdict: what is wrong, where, and how to mend it."""

from dataclasses import replace
from datetime import date, datetime, time
from decimal import Decimal

import pytest

from calibration.importing.fields import Kind
from calibration.importing.mapping import Chosen
from tests.importing.sheets import (
    HEAD,
    SHEET,
    answering,
    at,
    book_file,
    brew,
    judged,
    lines,
    patched,
    remarked,
    says,
    sheet_of,
)

KNOWN = {"barista": ["Mira Demo", "Jürgen Demo", "Anna Lind", "Anna Berg"]}


def test_a_good_row_is_typed():
    (row,), _verdicts = judged(sheet_of(brew()), known=KNOWN)
    assert row.values == {
        "day": date(2026, 3, 9),
        "barista": "Mira Demo",
        "recipe": "House filter",
        "dose_g": Decimal("15.0"),
        "water_g": Decimal("250.0"),
        "brew_time_s": 165,
        "tds": (Decimal("1.38"), Decimal("1.40")),
    }
    assert row.is_good
    assert (row.number, row.problems, row.remarks) == (2, (), ())


WRONG = {
    "day": ("soon", "A2", "This isn't a day. Write it as year-month-day, such as 2026-03-09."),
    "barista": ("", "B2", "The barista is missing."),
    "recipe": ("☕☕", "C2", "cannot be printed: ☕"),
    "dose": ("a spoon", "D2", "This isn't a number. Write it as 1.40 or 1,40."),
    "water": ("9999", "E2", "9999 is not possible for the brew water: it lies between 10 and 4000."),
    "time": ("2:75", "F2", "75 seconds is more than a minute. Write the seconds from 00 to 59."),
    "tds1": ("138", "G2", "138 is not possible for the TDS: it lies between 0 and 30."),
    "tds2": ("1.40 g", "H2", "The unit g doesn't belong here. Write the number alone, or with one of %."),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_is_wrong_is_said_with_its_cell(name):
    typed, cell, expected = WRONG[name]
    (row, good), _verdicts = judged(sheet_of(brew(**{name: typed}), brew(day="2026-03-10")))
    assert list(says(row)) == [cell]
    assert expected in says(row)[cell]
    assert good.is_good


def test_everything_wrong_in_a_row_is_said_at_once():
    (row,), _verdicts = judged(
        sheet_of(brew(day="31/02/2026", dose="", time="fast", tds1="x"), delimiter="\t")
    )
    assert list(says(row)) == ["A2", "F2", "G2", "D2"]


NAMES = {
    "mira demo": ("Mira Demo", ()),
    "MIRA  DEMO": ("Mira Demo", ()),
    "Jurgen Demo": ("Jürgen Demo", ()),
    "Mira": (None, ("Mira Demo",)),
    "Mirra Demo": (None, ("Mira Demo",)),
    "Anna": (None, ("Anna Lind", "Anna Berg")),
    "Somebody Else": (None, ()),
}


@pytest.mark.parametrize("typed", NAMES)
def test_people_are_found_however_they_are_written_and_others_offered(typed):
    (row,), _verdicts = judged(sheet_of(brew(barista=typed)), known=KNOWN)
    name, offers = NAMES[typed]
    assert row.values.get("barista") == name
    if name is None:
        (problem,) = row.problems
        assert (problem.cell, problem.field, problem.offers) == ("B2", "barista", offers)
        assert problem.says.startswith(f"{typed} isn't known as a barista.")


def test_a_moment_falls_into_its_day_and_its_time():
    head = ("When", *HEAD[1:])
    (row, aware), _verdicts = judged(
        lines(head, brew(day="2026-03-09 14:05"), brew(day="2026-03-09T14:05+01:00"))
    )
    assert (row.values["day"], row.values["time"]) == (date(2026, 3, 9), time(14, 5))
    assert aware.values["moment"] == datetime.fromisoformat("2026-03-09T14:05+01:00")


def test_dates_with_two_readings_wait_for_an_answer():
    file = sheet_of(brew(day="03/04/2026"), brew(day="05/06/2026"))
    rows, verdicts = judged(file)
    assert [one.about for one in verdicts.settled.questions] == ["date_order"]
    assert [says(row) for row in rows] == [
        {"A2": "This can be 2026-03-04 or 2026-04-03. Write the one that is meant."},
        {"A3": "This can be 2026-05-06 or 2026-06-05. Write the one that is meant."},
    ]
    rows, _verdicts = judged(file, edit=answering(Chosen(0, "day", date_order="dmy")))
    assert [row.values["day"] for row in rows] == [date(2026, 4, 3), date(2026, 6, 5)]


def test_a_day_against_the_order_of_its_column():
    edit = answering(Chosen(0, "day", date_order="dmy"))
    (row,), _verdicts = judged(sheet_of(brew(day="04/13/2026")), edit=edit)
    assert says(row) == {
        "A2": "There is no such day with the day first, as elsewhere in this column. Write it as 2026-04-13."
    }


@pytest.mark.parametrize("year", ["0001", "0206", "1926", "9999"])
def test_a_slip_of_the_year_is_told(year):
    file = (
        book_file([HEAD, brew(day=f"{year}-12-31")])
        if year < "1900"
        else book_file([HEAD, brew(day=at(int(year), 12, 31))])
    )
    for made in (file, sheet_of(brew(day=f"{year}-01-01T00:00:00+05:00"))):
        (row,), _verdicts = judged(made)
        assert "cannot be meant: look at its year." in says(row)["A2"]


def test_dates_that_were_turned():
    day = at(2026, 4, 3)
    file = book_file([HEAD, brew(day=day), brew(day="13/04/2026")])
    (row, other), _verdicts = judged(file)
    assert "This can be 2026-04-03 or 2026-03-04" in says(row)["A2"]
    assert other.is_good
    (row, _other), _verdicts = judged(file, edit=answering(Chosen(0, "day", turned="yes")))
    assert row.values["day"] == date(2026, 3, 4)


def test_several_drops_in_one_cell():
    for typed in ("1,38 / 1,40", "1,38; 1,40", "1.38 | 1.40", "1,38 % und 1,40 %", "1.38, 1.40", "1.38 1.40"):
        (row,), _verdicts = judged(lines((*HEAD[:6], "TDS"), brew(tds1=typed)[:7], delimiter="\t"))
        assert row.values["tds"] == (Decimal("1.38"), Decimal("1.40")), typed


def test_what_is_kept_otherwise_than_written_is_remarked():
    (row,), _verdicts = judged(sheet_of(brew(dose="15.04", water="250 ml", tds1="1.384")))
    assert row.is_good
    assert remarked(row) == {
        "D2": "15.04 is kept as 15.",
        "E2": "Millilitres are read as grams.",
        "G2": "1.384 is kept as 1.38.",
    }


def test_units_of_cell_and_heading():
    head = (
        "Date",
        "Barista",
        "Recipe",
        "Dose (oz)",
        "Water (kg)",
        "Time (min)",
        "TDS 1",
        "TDS 2",
        "Slurry °F",
    )
    (row,), _verdicts = judged(
        lines(head, [*brew(dose="0.53", water="0.25", time="2.75", tds1="1.38%"), "199.4"])
    )
    assert row.values["dose_g"] == Decimal("15.0")
    assert row.values["water_g"] == 250
    assert row.values["brew_time_s"] == 165
    assert row.values["slurry_temperature_C"] == Decimal("93.0")


def test_an_ounce_of_water_could_be_a_volume():
    (row,), _verdicts = judged(sheet_of(brew(water="9 oz")))
    assert "An oz can be a weight or a volume" in says(row)["E2"]


def test_rows_that_were_pasted_twice():
    block = [brew(day=f"2026-03-{day:02d}", tds1=f"1.{30 + day}") for day in range(1, 6)]
    again = [*block[:2], brew(day="2026-03-03", tds1="1,33", time="165"), *block[3:]]
    rows, _verdicts = judged(sheet_of(*block, *again, delimiter="\t"))
    assert all(row.is_good for row in rows[:5])
    assert [says(row) for row in rows[5:]] == [
        {f"{first + 5}": f"This row says the same as row {first}. Was it pasted twice?"}
        for first in range(2, 7)
    ]
    rows, _verdicts = judged(
        sheet_of(*block, *again), edit=lambda mapping: replace(mapping, keep_repeats=True)
    )
    assert all(row.is_good for row in rows)


def test_blank_lines_are_passed_over_and_rows_that_add_up_are_left_out():
    rows, _verdicts = judged(
        sheet_of(brew(), [], ["", ""], brew(day="2026-03-10"), HEAD,
                 ["Average", "", "", "15", "250", "165", "1.38", "1.4"], ["", "", "Summe", "30"], ["We brew", "", ""])
    )  # fmt: skip
    assert [row.number for row in rows if row.is_good] == [2, 5]
    assert [row.left_out for row in rows[2:5]] == [
        "This row has the headings once more.",
        "This row adds up those above it.",
        "This row adds up those above it.",
    ]
    assert "This isn't a day" in says(rows[5])["A9"]
    assert [row.number for row in rows] == [2, 5, 6, 7, 8, 9]


def test_sums_without_a_word_are_known_by_their_formulas():
    file = book_file([HEAD, brew(dose=15), [None, None, None, "=AVERAGE(D2:D2)"]])
    rows, _verdicts = judged(patched(file, SHEET, r"(<f>AVERAGE[^<]*</f>)<v ?/>", r"\1<v>15</v>"))
    assert [row.left_out for row in rows] == ["", "This row adds up those above it."]


def test_a_barista_called_max_is_no_maximum():
    (row,), _verdicts = judged(lines(("Barista", "Date", *HEAD[2:]), ("Max", "2026-03-09", *brew()[2:])))
    assert row.is_good


def test_hidden_rows_are_marked():
    file = book_file(
        [HEAD, brew(water="=D2*16")], lambda sheet: setattr(sheet.row_dimensions[2], "hidden", True)
    )
    file = patched(file, SHEET, r"(<f>D2\*16</f>)<v ?/>", r"\1<v>250</v>")
    (row,), _verdicts = judged(file)
    assert remarked(row) == {"2": "This row is hidden in the spreadsheet."}
    (row,), _verdicts = judged(file, edit=lambda mapping: replace(mapping, leave_out_hidden=True))
    assert row.left_out == "This row is hidden in the spreadsheet."


def test_a_yield_is_compared_with_our_own():
    """E = T·B/D: 1.39 % of 217.4 g over 15 g of coffee are 20.15 %, by hand."""
    head = (*HEAD, "Beverage", "Yield %")
    close, far = judged(lines(head, [*brew(), "217.4", "20.1"], [*brew(day="2026-03-10"), "217.4", "21.5"]))[
        0
    ]
    assert remarked(close) == {}
    assert remarked(far) == {
        "J3": "The sheet says 21.5 %; strength, beverage and dose of this row give 20.1 %."
    }


def test_lots():
    head = ("Coffee", "Batch", "Roasted", "Roast level", "Frozen", "Thawed", "Density (g/l)")
    rows, _verdicts = judged(
        lines(
            head,
            ("Guji", "B1", "2026-03-01", "mittelhell", "2026-03-03", "2026-03-09", "350"),
            ("Guji", "B2", "2026-03-01", "very", "2026-03-09", "2026-03-03", "3"),
            ("Guji", "B3", "2026-03-05", "", "2026-03-01", "", ""),
            ("Guji", "B4", "2026-03-05", "dark", "", "2026-03-07", "-"),
        ),
        Kind.LOTS,
    )
    assert rows[0].values == {
        "coffee": "Guji", "batch": "B1", "roasted_on": date(2026, 3, 1), "roast_level": "medium-light",
        "frozen_on": date(2026, 3, 3), "thawed_on": date(2026, 3, 9), "density_g_l": Decimal(350),
    }  # fmt: skip
    assert list(says(rows[1])) == ["D3", "G3", "F3"]
    assert says(rows[2]) == {"E4": "The day 'frozen on' lies before the roast."}
    assert says(rows[3]) == {"F5": "A batch that was thawed was frozen first: write when."}


def test_days_of_a_batch_with_their_hour_and_zone_are_days():
    (row,), _verdicts = judged(
        lines(
            ("Coffee", "Batch", "Roasted", "Opened"),
            ("Guji", "B1", "2026-03-01T08:00:00Z", "2026-03-09 09:00"),
        ),
        Kind.LOTS,
    )
    assert (row.values["roasted_on"], row.values["opened_on"]) == (date(2026, 3, 1), date(2026, 3, 9))
    assert row.is_good


def test_a_batch_that_a_spreadsheet_made_a_date_of():
    (row,), _verdicts = judged(
        book_file([("Coffee", "Batch", "Roasted"), ("Guji", at(2026, 5, 3), at(2026, 3, 1))]),
        Kind.LOTS,
    )
    assert "made a date or a time of the roast batch" in says(row)["B2"]
