"""Days as numbers, against the standard and against a calendar that counts them one by one."""

from datetime import date, time, timedelta

import pytest

from calibration.importing.raw import Percent, Trouble, address, letters, place_of
from calibration.importing.serials import Shown, built_in, in_words_of, moment, shown_by
from tests.importing.sheets import at

# ECMA-376 part 1, 18.17.4.1: the ends of the two date systems. 39448 is the example of Microsoft's reference of the
# function DATE. 59 and 61 stand on both sides of the 29 February 1900 that never was.
PUBLISHED_1900 = {
    1: date(1900, 1, 1),
    59: date(1900, 2, 28),
    61: date(1900, 3, 1),
    39448: date(2008, 1, 1),
    2_958_465: date(9999, 12, 31),
}
PUBLISHED_1904 = {0: date(1904, 1, 1), 2_957_003: date(9999, 12, 31)}


@pytest.mark.parametrize("serial", PUBLISHED_1900)
def test_the_1900_date_system(serial):
    assert moment(serial) == PUBLISHED_1900[serial]


@pytest.mark.parametrize("serial", PUBLISHED_1904)
def test_the_1904_date_system(serial):
    assert moment(serial, from_1904=True) == PUBLISHED_1904[serial]


def test_the_leap_day_of_1900_never_was():
    assert "made up" in moment(60).says
    assert moment(60, from_1904=True) == date(1904, 3, 1)


def test_beside_a_calendar_that_counts():
    """Days from 1 January 1900 one by one, with the false one put in by hand."""
    day, serial = date(1900, 1, 1), 1
    while serial < 50_000:
        if serial == 60:
            serial += 1
        assert moment(serial) == day
        day, serial = day + timedelta(days=1), serial + 1


def test_a_part_of_a_day_is_its_time():
    assert moment(45_000.25) == at(2023, 3, 15, 6)
    assert in_words_of(Shown.TIME, 0.5, False) == time(12)
    assert in_words_of(Shown.TIME, 0.0, False) == time(0)
    assert in_words_of(Shown.TIME, 165 / 86_400, False) == time(0, 2, 45)
    assert in_words_of(Shown.ELAPSED, 1.5, False) == timedelta(hours=36)
    assert moment(45_000 + 86_399.9 / 86_400) == date(2023, 3, 16)


@pytest.mark.parametrize("serial", [-1, 0.0, 2_958_467, 1e9])
def test_no_such_day(serial):
    assert isinstance(in_words_of(Shown.DAY, serial, False), Trouble)


# ECMA-376 part 1, 18.8.30: formats that are known by their number
BUILT_IN = {0: Shown.NUMBER, 2: Shown.NUMBER, 9: Shown.PERCENT, 10: Shown.PERCENT, 14: Shown.DAY, 20: Shown.TIME,
            22: Shown.DAY, 45: Shown.ELAPSED, 46: Shown.ELAPSED, 49: Shown.NUMBER}  # fmt: skip
CODES = {
    "General": Shown.NUMBER,
    "0.00": Shown.NUMBER,
    "#,##0.00;[Red]-#,##0.00": Shown.NUMBER,
    '0.0 "days"': Shown.NUMBER,
    '0.0\\ "g"': Shown.NUMBER,
    "0.00%": Shown.PERCENT,
    "yyyy-mm-dd": Shown.DAY,
    "[$-409]d-mmm-yy;@": Shown.DAY,
    "mmm yy": Shown.DAY,
    "dd/mm/yyyy hh:mm": Shown.DAY,
    "hh:mm": Shown.TIME,
    "h:mm AM/PM": Shown.TIME,
    "mm:ss": Shown.ELAPSED,
    "mm:ss.0": Shown.ELAPSED,
    "[h]:mm:ss": Shown.ELAPSED,
    "[mm]:ss": Shown.ELAPSED,
}


@pytest.mark.parametrize("number", BUILT_IN)
def test_formats_by_number(number):
    assert built_in(number) is BUILT_IN[number]


@pytest.mark.parametrize("code", CODES)
def test_formats_by_text(code):
    assert shown_by(code) is CODES[code]


def test_per_cent_is_the_figure_that_is_shown():
    assert in_words_of(Shown.PERCENT, 0.0138, False) == Percent(1.38)


def test_columns_by_their_letters():
    """Beside a list of all that have up to three letters, written down in the order of a spreadsheet."""
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    naive = [*alphabet, *(a + b for a in alphabet for b in alphabet)]
    naive += [a + b for a in naive[26:] for b in alphabet]
    assert [letters(place) for place in range(len(naive))] == naive
    assert [place_of(column) for column in naive] == list(range(len(naive)))
    assert address(7, 27) == "AB7"
