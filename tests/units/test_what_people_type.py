from decimal import Decimal

import pytest

from brewbar.units import parse_clock, parse_decimal


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("1.40", "1.40"),
        ("1,40", "1.40"),
        (" 15 ", "15"),
        ("0", "0"),
        ("0,025", "0.025"),
        (",5", "0.5"),
        ("5,", "5"),
        ("-0,01", "-0.01"),
        ("\N{MINUS SIGN}0.01", "-0.01"),
        ("1250", "1250"),
        ("1.250", "1.250"),
        ("12,3456", "12.3456"),
    ],
)
def test_decimals(typed, value):
    read = parse_decimal(typed)
    assert read == Decimal(value)
    assert read.is_finite()


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "Enter a number"),
        ("   ", "Enter a number"),
        ("1,250", "Write 1250 for the whole number, or 1.250"),
        ("1.234,5", "number alone"),
        ("15 g", "number alone"),
        ("1e3", "number alone"),
        ("nan", "number alone"),
        ("inf", "number alone"),
        ("1 4", "number alone"),
        (".", "number alone"),
        ("--1", "number alone"),
        ("9" * 40, "number alone"),
    ],
)
def test_decimals_refused_kindly(typed, says):
    with pytest.raises(ValueError, match=says):
        parse_decimal(typed)


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [("3:05", 185), ("185", 185), (" 0:45 ", 45), ("0", 0), ("0:00", 0), ("12:00", 720), ("03:05", 185)],
)
def test_times(typed, seconds):
    assert parse_clock(typed) == seconds


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "Enter the time"),
        ("3.05", "read in two ways"),
        ("3,05", "read in two ways"),
        ("3:5", "two figures"),
        ("3:60", "from 00 to 59"),
        ("1:02:03", "minutes:seconds"),
        ("-3:05", "minutes:seconds"),
        ("three", "minutes:seconds"),
        (":45", "minutes:seconds"),
    ],
)
def test_times_refused_kindly(typed, says):
    with pytest.raises(ValueError, match=says):
        parse_clock(typed)
