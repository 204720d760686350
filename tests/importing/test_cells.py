"""Figures in both of their readings, units, and brew times."""

from datetime import time, timedelta
from decimal import Decimal

import pytest

from calibration.importing.cells import celsius, duration_s, figure, figure_of, mass_g, percent
from calibration.importing.raw import Percent

# text: (where a point marks decimals, where a comma does, unit)
FIGURES = {
    "15": ("15", "15", ""),
    "1.38": ("1.38", None, ""),
    "1,38": (None, "1.38", ""),
    "1,380": ("1380", "1.380", ""),
    "1.380": ("1.380", "1380", ""),
    "0,250": (None, "0.250", ""),
    "1.234,5": (None, "1234.5", ""),
    "1,234.5": ("1234.5", None, ""),
    "1.234.567": (None, "1234567", ""),
    "1,234,567": ("1234567", None, ""),
    "1 234,5": (None, "1234.5", ""),
    "1\N{NO-BREAK SPACE}234": ("1234", "1234", ""),
    "1\N{NARROW NO-BREAK SPACE}234.5": ("1234.5", None, ""),
    "1'234.5": ("1234.5", None, ""),
    "\N{MINUS SIGN}3": ("-3", "-3", ""),
    ".5": (".5", None, ""),
    "15 g": ("15", "15", "g"),
    "15,0gr.": (None, "15.0", "g"),
    "0.25 kg": ("0.25", None, "kg"),
    "250ml": ("250", "250", "ml"),
    "1.38%": ("1.38", None, "%"),
    "93 °C": ("93", "93", "C"),
    "200°F": ("200", "200", "F"),
    "12 fl oz": ("12", "12", "fl oz"),
    "15 cups": ("15", "15", "cups"),
}


@pytest.mark.parametrize("text", FIGURES)
def test_a_figure_in_both_readings(text):
    by_point, by_comma, unit = FIGURES[text]
    found = figure(text)
    assert found is not None
    assert found.by_point == (None if by_point is None else Decimal(by_point))
    assert found.by_comma == (None if by_comma is None else Decimal(by_comma))
    assert found.unit == unit
    assert found.is_open == (text in ("1,380", "1.380"))


@pytest.mark.parametrize(
    "text", ["", "abc", "1,2,3", "1.2.3,4,5", "2:45", "1,23,456.7", "--3", "1e5", "12-14"]
)
def test_what_is_no_figure(text):
    assert figure(text) is None


def test_numbers_of_a_workbook_have_one_reading():
    assert figure_of(217.4) == (Decimal("217.4"), Decimal("217.4"), "")
    assert figure_of(Percent(1.38)).unit == "%"


def test_units():
    # NIST SP 811 (2008), appendix B.8: one avoirdupois ounce is 28.34952 g; one US fluid ounce 29.57353 mL
    assert round(mass_g(Decimal(1), "oz")[0], 5) == Decimal("28.34952")
    assert round(mass_g(Decimal(1), "fl oz")[0], 5) == Decimal("29.57353")
    assert mass_g(Decimal("0.25"), "kg") == (Decimal(250), "")
    assert mass_g(Decimal(250), "ml")[1] == "Millilitres are read as grams."
    # NIST SP 811, B.8 has (t/°F - 32)/1.8; water boils at 212 °F
    assert celsius(Decimal(212), "F") == 100
    assert percent(Decimal("0.0138"), "fraction") == Decimal("1.38")
    with pytest.raises(ValueError, match="The unit min doesn't belong here"):
        mass_g(Decimal(1), "min")


DURATIONS = {
    "2:45": 165,
    "02:45": 165,
    "00:02:45": 165,
    "2:45 min": 165,
    "165": 165,
    "165 s": 165,
    "165sec": 165,
    "2 min 45": 165,
    "2 min 45 s": 165,
    "2m45s": 165,
    "2'45\"": 165,
    "2′45″": 165,
    "2 Min. 45 Sek.": 165,
    "2 min": 120,
    "2.75 min": 165,
    "2,75 min": 165,
    165: 165,
    170.0: 170,
    time(2, 45): 165,
    time(0, 2, 45): 165,
    timedelta(minutes=2, seconds=45): 165,
    timedelta(hours=2, minutes=45): 165,
    "02:45:00": 165,
    "0:02:45": 165,
}


@pytest.mark.parametrize("cell", DURATIONS)
def test_a_brew_time_however_it_is_written(cell):
    assert duration_s(cell, "")[0] == DURATIONS[cell]


def test_a_spreadsheet_that_took_it_for_an_hour_is_told():
    for cell in (time(2, 45), "2:45:00"):
        assert "took 2:45 for hours and minutes" in duration_s(cell, "")[1]
    assert duration_s(time(0, 2, 45), "")[1] == ""


def test_minutes_with_decimals_only_where_the_heading_says_so():
    assert duration_s(2.75, "min")[0] == duration_s("2,75", "min")[0] == 165
    assert duration_s("165", "s")[0] == 165
    for cell in (2.75, "2.75", "2.45", 3, "3"):
        with pytest.raises(ValueError, match="can be minutes or seconds"):
            duration_s(cell, "")


@pytest.mark.parametrize("cell", ["2:75", "fast", "2-45", "1:2:3:4", "15 g", ""])
def test_no_brew_time(cell):
    with pytest.raises(ValueError, match=r"\."):
        duration_s(cell, "")
