"""What only a whole column can tell: decided with its reason, or asked."""

from datetime import date

import pytest

from calibration.importing.fields import FIELDS, Kind
from calibration.importing.mapping import Chosen, Mapping
from calibration.importing.reading import open_sheet
from calibration.importing.settling import settle
from calibration.importing.watching import MIXED, OPEN
from tests.importing.sheets import at, book_file, lines

D = at(2026, 4, 3)


def of_column(field, *cells, book=False, kind=Kind.READINGS, **chosen):
    """One column from row 1 on, settled: what is known of it, what was decided and what is asked."""
    file = book_file([[cell] for cell in cells]) if book else lines(*([cell, "x"] for cell in cells))
    with open_sheet(file) as sheet:
        found = settle(sheet, Mapping(kind, (Chosen(0, field, **chosen),)), date(2026, 11, 1))
    (column,) = found.columns
    return column, [one.says for one in found.decisions], found.questions


@pytest.mark.parametrize(
    ("cells", "mark"),
    [
        (["15", "16"], ""),
        (["15.2", "1,380"], "."),
        (["15,2", "1.380"], ","),
        (["15,2", "15.4"], MIXED),
        (["0,250"], ","),
        (["1.234,5"], ","),
    ],
)
def test_decimal_marks(cells, mark):
    assert of_column("water_g", *cells)[0].mark == mark


def test_what_decides_a_mark_is_named():
    _column, said, _questions = of_column("dose_g", "15", "15,2", "15,4")
    assert said == ["A comma marks decimals: A2 (15,2)."]


@pytest.mark.parametrize(
    ("field", "cell", "mark"),
    [("tds", "1,380", ","), ("tds", "1.380", "."), ("dose_g", "15,000", ","), ("gross_g", "1,250", OPEN)],
)
def test_a_lone_figure_with_two_readings_is_decided_by_what_is_possible_or_asked(field, cell, mark):
    column, said, questions = of_column(field, cell)
    assert column.mark == mark
    assert bool(questions) == (mark == OPEN)
    if mark == OPEN:
        assert [value for value, _says in questions[0].choices] == [".", ","]
        assert "1250 or 1.250" in questions[0].says
        assert of_column(field, cell, decimal_mark=".")[0].mark == "."
    else:
        assert "is not possible" in said[0]


ORDERS = {
    "day first, by one day": (["03/04/2026", "13/04/2026"], "dmy"),
    "month first, by one day": (["03/04/2026", "04/13/2026"], "mdy"),
    "none tells": (["03/04/2026", "05/06/2026"], OPEN),
    "it doesn't matter": (["04/04/2026", "05/05/2026"], ""),
    "both": (["13/04/2026", "04/14/2026", "03/04/2026"], MIXED),
    "ISO 8601": (["2026-04-03", "2026-04-13"], ""),
    "names": (["3 April 2026", "April 4, 2026"], ""),
    "one way of writing says nothing of another": (["01.10.2026", "10/13/2026"], OPEN),
    "unless it is there twice": (["01.10.2026", "13.10.2026", "13/10/2026", "2/10/2026"], "dmy"),
    "ISO 8601 says nothing of others": (["2026-04-13", "03/04/2026"], OPEN),
}


@pytest.mark.parametrize("name", ORDERS)
def test_orders_of_dates(name):
    cells, order = ORDERS[name]
    column, _said, questions = of_column("day", *cells)
    assert column.order == order
    assert bool(questions) == (order == OPEN)


def test_the_question_about_an_order_shows_both_days():
    _column, _said, (question,) = of_column("day", "03/04/2026")
    assert dict(question.choices) == {
        "dmy": "the day first: 3 April 2026",
        "mdy": "the month first: 4 March 2026",
    }
    assert question.about == "date_order"
    assert of_column("day", "03/04/2026", date_order="mdy")[0].order == "mdy"


def test_the_question_about_two_ways_of_writing_names_both():
    _column, _said, (question,) = of_column("day", "01.10.2026", "10/13/2026")
    assert question.says == (
        "A2 (10/13/2026) has the month first, and A1 (01.10.2026) is written otherwise and can be read both ways. "
        "Which comes first there?"
    )


def test_mixed_orders_are_told_with_a_cell_of_each():
    _column, said, _questions = of_column("day", "13/04/2026", "04/14/2026")
    assert "A1 (13/04/2026): the day first, A2 (04/14/2026): the month first" in said[0]


def test_a_century_is_told():
    _column, said, _questions = of_column("day", "13.04.26")
    assert "Two figures for a year mean this century: A1 (13.04.26)." in said


def test_dates_that_a_spreadsheet_may_have_turned_are_asked_about():
    """A spreadsheet that expects the month first makes dates of 3/4 and leaves 13/4 as text."""
    column, _said, (question,) = of_column("day", D, "13/04/2026", book=True)
    assert (column.turned, column.order, question.about) == (OPEN, "dmy", "turned")
    assert of_column("day", D, "13/04/2026", book=True, turned="yes")[0].turned == "yes"
    late = at(2026, 4, 20)
    assert of_column("day", D, late, "13/04/2026", book=True)[0].turned == "no"
    assert of_column("day", D, "2026-04-13", book=True)[0].turned == "no"


@pytest.mark.parametrize(
    ("field", "cells", "unit"),
    [
        ("slurry_temperature_C", ["92", "93"], "C"),
        ("slurry_temperature_C", ["198", "200"], "F"),
        ("sample_temperature_C", ["22", "23"], "C"),
        ("sample_temperature_C", ["70", "72"], OPEN),
        ("tds", ["1.38", "1.4"], ""),
        ("tds", ["0.0138", "0.0140"], "fraction"),
        ("dose_g", ["15"], ""),
        ("water_g", ["0.25", "0.3"], OPEN),
        ("brew_time_s", ["165", "3:10"], ""),
    ],
)
def test_units_that_nobody_wrote(field, cells, unit):
    column, _said, questions = of_column(field, *cells)
    assert column.unit == unit
    assert bool(questions) == (unit == OPEN)


def test_brew_times_without_a_unit_are_asked_about_once():
    _column, _said, questions = of_column("brew_time_s", "2.75", "3:10", "3.5")
    (question,) = questions
    assert (question.about, [value for value, _says in question.choices]) == ("unit", ["s", "min"])
    assert of_column("brew_time_s", "2.75", unit="min")[2] == ()


def test_each_answer_can_be_given_to_the_mapping():
    for field, cells in (
        ("sample_temperature_C", ["70"]),
        ("water_g", ["0.25"]),
        ("brew_time_s", ["2.75"]),
        ("day", ["3/4/26"]),
    ):
        _column, _said, (question,) = of_column(field, *cells)
        for value, _says in question.choices:
            mapping = Mapping(Kind.READINGS, (Chosen(0, field, **{question.about: value}),))
            assert Mapping.from_json(mapping.to_json()) == mapping
            assert of_column(field, *cells, **{question.about: value})[2] == ()


def test_usual_values_are_possible():
    for fields in FIELDS.values():
        for field in fields.values():
            assert field.possible[0] <= field.usual[0] <= field.usual[1] <= field.possible[1]
