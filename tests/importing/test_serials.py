"""Numbers as formats show them: days against the standard and against a calendar that counts them one by one."""

from datetime import date, time, timedelta

import pytest

from calibration.importing.raw import Percent, Trouble, address, letters
from calibration.importing.serials import as_shown, moment
from tests.importing.sheets import at, book_file, cells_of, patched

# ECMA-376 part 1, 18.17.4.1: the ends of the two date systems. 39448 is the example of Microsoft's reference of the
# function DATE. 59 and 61 stand on both sides of the 29 February 1900 that never was.
PUBLISHED_1900 = {
    1: date(1900, 1, 1),
    59: date(1900, 2, 28),
    61: date(1900, 3, 1),
    39448: date(2008, 1, 1),
    2_958_465: date(9999, 12, 31),
}
LAST_1904 = (2_957_003, date(9999, 12, 31))


def cells_shown(shown_by, *values):
    def show(sheet):
        for cell in sheet[1]:
            cell.number_format = shown_by

    return book_file([values], show)


def test_the_1900_date_system():
    assert cells_of(cells_shown("yyyy-mm-dd", *PUBLISHED_1900)) == [tuple(PUBLISHED_1900.values())]


def test_the_1904_date_system():
    serial, day = LAST_1904
    file = patched(cells_shown("yyyy-mm-dd", 60, serial), "xl/workbook.xml", r"<workbookPr ?/>",
                   '<workbookPr date1904="1"/>')  # fmt: skip
    assert cells_of(file) == [(date(1904, 3, 1), day)]


def test_beside_a_calendar_that_counts():
    """Days from 1 January 1900 one by one, but for the false leap day."""
    day, serial = date(1900, 1, 1), 1
    while serial < 50_000:
        if serial == 60:
            serial += 1
        assert moment(serial) == day
        day, serial = day + timedelta(days=1), serial + 1


def test_a_part_of_a_day_is_its_time_to_the_second():
    assert moment(45_000.25) == at(2023, 3, 15, 6)
    assert moment(45_000 + 86_399.9 / 86_400) == date(2023, 3, 16)
    assert cells_of(cells_shown("h:mm", 0.5, 165 / 86_400, 86_399.9 / 86_400)) == [
        (time(12), time(0, 2, 45), time(23, 59, 59))
    ]


def test_no_such_day():
    troubles = cells_of(cells_shown("yyyy-mm-dd", -1, 0, 2_958_467, 1e9))[0]
    assert len(troubles) == 4
    assert all(isinstance(one, Trouble) for one in troubles)
    assert isinstance(cells_of(cells_shown("[h]:mm", -0.5))[0][0], Trouble)


# ECMA-376 part 1, 18.8.30 has the formats that are known by their number; openpyxl writes these as such
NUMBERS = ["General", "0", "0.00", "#,##0.00;[Red]-#,##0.00", '0.0 "days"', '0.0\\ "g"', "0.0\\%", "@"]
PERCENT = ["0%", "0.00%"]
DAYS = ["mm-dd-yy", "m/d/yy h:mm", "yyyy-mm-dd", "[$-409]d-mmm-yy;@", "mmm yy", "dd/mm/yyyy hh:mm"]
HOURS = ["h:mm", "hh:mm", "h:mm AM/PM", "h:mm:ss"]
ELAPSED = ["mm:ss", "mm:ss.0"]
RUNNING_ON = ["[h]:mm:ss", "[mm]:ss"]
VALUES = (0.25, 45_000.25, 0)
MOMENT = at(2023, 3, 15, 6)


@pytest.mark.parametrize(
    ("codes", "expected"),
    [
        (NUMBERS, VALUES),
        (PERCENT, (Percent(25), Percent(4_500_025), Percent(0))),
        (DAYS, (time(6), MOMENT, as_shown(time(), "d"))),
        (HOURS, (time(6), MOMENT, time())),
        (ELAPSED, (timedelta(hours=6), MOMENT, timedelta())),
        (RUNNING_ON, (timedelta(hours=6), timedelta(days=45_000, hours=6), timedelta())),
    ],
)
def test_what_formats_make_of_a_number(codes, expected):
    for code in codes:
        assert (code, cells_of(cells_shown(code, *VALUES))) == (code, [expected])


def test_per_cent_is_the_figure_that_is_shown():
    assert as_shown(0.0138, "0.00%") == Percent(1.38)


def test_columns_by_their_letters():
    """Beside a list of all that have up to three letters, written down in the order of a spreadsheet."""
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    naive = [*alphabet, *(a + b for a in alphabet for b in alphabet)]
    naive += [a + b for a in naive[26:] for b in alphabet]
    assert [letters(place) for place in range(len(naive))] == naive
    assert address(7, 27) == "AB7"
