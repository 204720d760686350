"""Dates in every order they can be read in, beside the standard library's way with one format at a time."""

from datetime import UTC, date, datetime, time, timedelta

import pytest

from calibration.importing.days import day_of_number, day_readings, parted, time_of_day, zoned
from tests.importing.sheets import at

NINTH_OF_MARCH = date(2026, 3, 9)
ONE_WAY = [
    "2026-03-09",  # ISO 8601-1:2019, 5.2.2.1, extended format
    "20260309",  # and basic format
    "2026/3/9",
    "9 March 2026",
    "9. März 2026",
    "9 mars 2026",
    "9 marzo 2026",
    "9 de marzo de 2026",
    "9 de março de 2026",
    "March 9, 2026",
    "Mar 9 2026",
    "9-Mar-26",
    "9th March 2026",
    "Monday 9 March 2026",
    "Mo., 9. März 2026",
]


@pytest.mark.parametrize("text", ONE_WAY)
def test_dates_with_one_reading(text):
    assert set(day_readings(text).values()) == {NINTH_OF_MARCH}
    assert len(day_readings(text)) == 3, "says nothing about the order of others"


@pytest.mark.parametrize("mark", ["/", ".", "-", " ", ". "])
@pytest.mark.parametrize("year", ["%Y", "%y"])
def test_figures_beside_strptime(mark, year):
    """Every day of two years, written day first: read day first, and month first if that is a day at all."""
    day = date(2024, 1, 1)
    while day < date(2026, 1, 1):
        text = day.strftime(f"%d{mark}%m{mark}{year}")
        naive = {}
        for order, form in (("dmy", f"%d{mark}%m{mark}{year}"), ("mdy", f"%m{mark}%d{mark}{year}")):
            try:
                naive[order] = datetime.strptime(text, form).date()  # noqa: DTZ007
            except ValueError:
                continue
        assert day_readings(text) == naive
        day += timedelta(days=1)


def test_a_year_of_two_figures_first_only_if_nothing_else_is_possible():
    assert day_readings("26-03-09", latest=date(2026, 11, 1)) == {"dmy": date(2009, 3, 26)}
    assert day_readings("26-03-29", latest=date(2026, 11, 1)) == {"ymd": date(2026, 3, 29)}


@pytest.mark.parametrize(
    "text", ["29/02/2025", "31.4.2026", "13/13/2026", "9 Mayrz 2026", "March", "2026", "", "1/2", "2:45"]
)
def test_no_day(text):
    assert day_readings(text) == {}


MOMENTS = {
    "9/3/2026 14:05": ("9/3/2026", "14:05"),
    "2026-03-09T14:05:30": ("2026-03-09", "14:05:30"),
    "9. März 2026 um 14:05 Uhr": ("9. März 2026", "14:05 Uhr"),
    "9 March 2026, 2:05 pm": ("9 March 2026", "2:05 pm"),
    "9/3/2026": ("9/3/2026", ""),
}


@pytest.mark.parametrize("text", MOMENTS)
def test_a_moment_has_a_day_and_a_time(text):
    assert parted(text) == MOMENTS[text]


TIMES = {
    "14:05": time(14, 5),
    "14.05": time(14, 5),
    "14.05 Uhr": time(14, 5),
    "14h05": time(14, 5),
    "14 h 05": time(14, 5),
    "2:05 pm": time(14, 5),
    "2:05 p.m.": time(14, 5),
    "2 PM": time(14),
    "12:05 am": time(0, 5),
    "12:05 pm": time(12, 5),
    "07:05:30": time(7, 5, 30),
    time(14, 5): time(14, 5),
    timedelta(hours=14): time(14),
    0.25: time(6),
}


@pytest.mark.parametrize("cell", TIMES)
def test_a_time_of_day(cell):
    assert time_of_day(cell) == TIMES[cell]


@pytest.mark.parametrize("cell", ["25:00", "14:60", "13:05 pm", "14", "soon", 14, 1.5, timedelta(hours=30)])
def test_no_time_of_day(cell):
    with pytest.raises(ValueError, match="isn't a time of day"):
        time_of_day(cell)


def test_a_zone_only_where_the_cell_says_one():
    assert zoned("2026-03-09T14:05Z") == datetime(2026, 3, 9, 14, 5, tzinfo=UTC)
    assert zoned("2026-03-09 14:05+01:00") == datetime(2026, 3, 9, 13, 5, tzinfo=UTC)
    assert zoned("2026-03-09 14:05") is None
    assert zoned("9/3/2026 14:05 CET") is None


def test_a_count_of_days_is_a_day_within_this_century():
    assert day_of_number(39_448) == date(
        2008, 1, 1
    )  # the example of Microsoft's reference of the function DATE
    assert day_of_number("39448") == date(2008, 1, 1)
    assert day_of_number("39448,5") == at(2008, 1, 1, 12)
    assert [day_of_number(cell) for cell in (250, "250", 99_999, None, "39448 g")] == [None] * 5
