"""Figures and dates in each style. NIST SP 811 (2008), B.8: t/°C = (t/°F - 32)/1.8."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from brewbar import dates, units
from brewbar.units import Style, written_as

COMMA = Style(decimal_mark=",")
FAHRENHEIT = Style(temperature_unit="F")


def test_a_point_and_celsius_unless_told_otherwise():
    assert (units.fixed(1.4, 2), units.degrees(93), units.style()) == ("1.40", "93 °C", Style())


def test_a_comma_in_whatever_people_are_shown():
    with written_as(COMMA):
        assert units.fixed(1.4, 2) == "1,40"
        assert units.trimmed(30.5, 1) == "30,5"
        assert units.trimmed(30, 1) == "30"
        assert units.grams(-0.5) == "-0,5 g"
        assert units.percent(1.4) == "1,40 %"
        assert units.ratio(250, 15) == "1:16,7"
        assert units.degrees(92.5) == "92,5 °C"
        assert units.clock(185) == "3:05"


def test_machines_read_a_point_whoever_is_looking():
    with written_as(Style(",", "F", "iso")):
        assert units.pointed(1.4, 2) == "1.40"
        assert units.rounded(1.405, 2) == Decimal("1.41")


def test_a_style_ends_with_its_block_even_by_an_error():
    with pytest.raises(ZeroDivisionError), written_as(COMMA):
        raise ZeroDivisionError
    assert units.style() == Style()


@pytest.mark.parametrize(
    # NIST SP 811, B.8, by its formula; 212 and 32 are the fixed points of the scale itself.
    ("celsius", "fahrenheit"),
    [(0, "32"), (100, "212"), (93, "199.4"), ("92.8", "199"), ("93.3", "200"), (90, "194"), ("-40", "-40")],
)
def test_fahrenheit(celsius, fahrenheit):
    with written_as(FAHRENHEIT):
        assert units.degrees(Decimal(celsius)) == f"{fahrenheit} °F"


def test_fahrenheit_is_rounded_where_celsius_was():
    with written_as(FAHRENHEIT):
        assert units.degrees(93, 0) == "199 °F"
        assert units.degrees(95.3, 1) == "203.5 °F"


def test_a_difference_has_no_thirty_two():
    assert units.degrees_apart(2) == "2 °C"
    with written_as(FAHRENHEIT):
        assert units.degrees_apart(2) == "4 °F"
        assert units.degrees_apart(5) == "9 °F"


def test_a_limit_is_never_rounded_up():
    assert units.degrees_up_to(95.9) == "95 °C"
    with written_as(FAHRENHEIT):
        assert units.degrees_up_to(95.9) == "204 °F"  # 204.62


@pytest.mark.parametrize("style", [Style(), COMMA, FAHRENHEIT, Style(",", "F")])
def test_what_is_shown_means_what_is_kept(style):
    with written_as(style):
        for tenths in range(-100, 1201):
            kept = Decimal(tenths) / 10
            assert units.from_degrees(units.parse_decimal(units.degree_figure(kept))) == kept


def test_whole_and_half_degrees_fahrenheit_come_back_as_they_were_typed():
    with written_as(FAHRENHEIT):
        for halves in range(64, 425):
            typed = Decimal(halves) / 2
            assert Decimal(units.degree_figure(units.from_degrees(typed))) == typed


DAY = date(2026, 11, 25)
AT = datetime(2026, 11, 25, 6, 45, tzinfo=UTC)


@pytest.mark.parametrize(
    ("order", "short", "with_weekday", "in_full", "at"),
    [
        ("dmy", "25 Nov", "Wed 25 Nov", "Wednesday 25 November 2026", "25 Nov, 06:45"),
        ("mdy", "Nov 25", "Wed, Nov 25", "Wednesday, November 25, 2026", "Nov 25, 06:45"),
        # ISO 8601-1:2019, 5.2.2.1: calendar date, extended format
        ("iso", "2026-11-25", "Wed 2026-11-25", "Wednesday 2026-11-25", "2026-11-25 06:45"),
    ],
)
def test_dates(order, short, with_weekday, in_full, at):
    with written_as(Style(date_order=order)):
        assert dates.day(DAY) == short
        assert dates.day(DAY, weekday=True) == with_weekday
        assert dates.day(DAY, weekday=True, year=True, full=True) == in_full
        assert dates.moment(AT) == at


def test_every_day_has_the_names_of_the_calendar():
    for month in range(1, 13):
        when = date(2026, month, month)
        assert dates.day(when, weekday=True) == f"{when:%a} {when.day} {when:%b}"
        assert dates.day(when, weekday=True, full=True) == f"{when:%A} {when.day} {when:%B}"


def test_time_of_day():
    assert dates.time_of_day(AT) == "06:45"
    assert dates.time_of_day(datetime(2026, 11, 25, 18, 5, tzinfo=UTC)) == "18:05"
