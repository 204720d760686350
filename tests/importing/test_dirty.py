"""A sheet as a café keeps one, with everything wrong in it that people do: told in words by row. Invented."""

import io
from datetime import date, time
from decimal import Decimal

import pytest

from calibration.importing.mapping import Chosen
from tests.importing.sheets import SHEET, answering, at, book_file, judged, patched, remarked, says

KNOWN = {"barista": ["Mira Demo", "Jonas Demo"], "recipe": ["House filter"]}
HEAD = ["Datum", "Wer", "Rezept", "Dosis g", "Wasser", "Brühzeit", "TDS 1", "TDS 2", "Ausbeute %", "Notizen"]
# Row 1 a title, row 2 blank, row 3 the headings
ROWS = {
    4: ["09/03/2026", "Mira Demo", "House filter", "15,0", 250, "2:45", "1,38", "1,40", None, "clear"],
    5: ["13/03/2026", "Jonas Demo", "House filter", "15.1", 250, 171, 1.41, "1,4", None, None],
    6: ["03/14/2026", "Mira Demo", "House filter", 15, "250 g", "2 min 50", 1.37, 1.38, None, None],
    7: ["15/03/2026", "Miro Demo", "House filter", 15, 250, time(2, 45), 1.37, 1.38, None, None],
    # row 8 is blank
    9: [
        at(2026, 3, 16),
        "Mira Demo",
        "House filter",
        15,
        250,
        "2:45",
        1.36,
        1.37,
        None,
        "merged over two days",
    ],
    10: [None, "Jonas Demo", "House filter", 15, 250, "2:50", 1.39, 1.4, None, None],
    11: [at(2026, 3, 18), "Mira Demo", "House filter", 15, "=16*D11", "2:45", 1.36, 1.38, None, None],
    12: [at(2026, 3, 19), "Mira Demo", "House filter", 15, "=16*D12", "2:45", 1.36, 1.39, None, None],
    13: ["13/03/2026", "Jonas Demo", "House filter", "15.1", 250, "2:51", 1.41, "1,40", None, None],
    14: [at(2026, 3, 20), "Mira Demo", "House filter", "1,500", 250, "2.45", 1.4, None, None, None],
    15: ["Durchschnitt", None, None, 15, 250, "2:47", 1.38, 1.39, None, None],
}


def dirty() -> io.BytesIO:
    rows = [["Brew log, March"], [], HEAD, *(ROWS.get(number, []) for number in range(4, 16))]

    def edit(sheet):
        sheet.merge_cells("A9:A10")

    return patched(book_file(rows, edit), SHEET, r"(<f>16\*D11</f>)<v ?/>", r"\1<v>240</v>")


@pytest.fixture(scope="module")
def found():
    rows, verdicts = judged(dirty(), known=KNOWN)
    return {row.number: row for row in rows}, verdicts


def test_the_headings_are_found_below_the_title(found):
    _rows, verdicts = found
    assert verdicts.mapping.head_row == 3
    assert verdicts.mapping.faults() == []


def test_every_row_has_its_verdict(found):
    rows, _verdicts = found
    assert {number: says(row) for number, row in rows.items() if row.problems} == {
        4: {"A4": "This can be 2026-03-09 or 2026-09-03. Write the one that is meant."},
        7: {"B7": "Miro Demo isn't known as a barista. Is it Mira Demo?"},
        10: {"A10": "This cell lies under the merged cells A9:A10. Unmerge them, and write the value here."},
        12: {"E12": "This is a formula whose result isn't in the file. Open the file in the spreadsheet and save it, "
             "or write the value."},
        13: {"13": "This row says the same as row 5. Was it pasted twice?"},
        14: {"F14": "2.45 can be minutes or seconds. Write 2:45 for 2 minutes and 45 seconds, or 165, or write min "
             "or s into the heading."},
    }  # fmt: skip
    assert remarked(rows[14])["D14"] == "This is read as 1.500, since 1500 is not possible."
    assert rows[15].left_out == "This row adds up those above it."
    assert sorted(rows) == [4, 5, 6, 7, *range(9, 16)], "there is a blank line"
    assert [number for number, row in rows.items() if row.is_good] == [5, 6, 9, 11]


def test_good_rows_are_the_same_however_they_were_written(found):
    rows, _verdicts = found
    assert rows[5].values == {
        "day": date(2026, 3, 13),
        "barista": "Jonas Demo",
        "recipe": "House filter",
        "dose_g": Decimal("15.1"),
        "water_g": Decimal(250),
        "brew_time_s": 171,
        "tds": (Decimal("1.41"), Decimal("1.40")),
    }
    assert rows[6].values["day"] == date(2026, 3, 14)
    assert rows[6].values["brew_time_s"] == 170
    assert rows[11].values["water_g"] == 240
    assert "took 2:45 for hours and minutes" in remarked(rows[7])["F7"]


def test_what_concerns_whole_columns_is_told_once(found):
    _rows, verdicts = found
    said = " ".join(one.says for one in verdicts.settled.decisions)
    assert (
        "Two orders of dates are mixed (A5 (13/03/2026): the day first, A6 (03/14/2026): the month first)"
        in said
    )
    assert "Decimal points and commas are mixed: D5 (15.1) and D4 (15,0)." in said


def test_a_person_can_answer_what_was_open(found):
    answered = answering(Chosen(0, "day", date_order="dmy"), Chosen(3, "dose_g", decimal_mark=","))
    rows, _verdicts = judged(dirty(), known=KNOWN, edit=answered)
    by_number = {row.number: row for row in rows}
    assert by_number[4].values["day"] == date(2026, 3, 9)
    assert "D14" not in remarked(by_number[14])
    assert "no such day with the day first" in says(by_number[6])["A6"]
