"""Spreadsheets as people save them: every way to write the same file is the same, and what is wrong is all named."""

import sys
from io import BytesIO
from types import SimpleNamespace

import pytest

from tests.calibration.studies import refused, said, told, written
from tests.published.cases import columns

WORDS = ("--value", "y", "--part", "part", "--operator", "appraiser")
SHEET = "lab,y\nA,1.40\nA,1.42\nB,1.38\nB,1.41\n"


def rows():
    table = columns("grr_aiag.csv")
    return list(zip(table["part"], table["appraiser"], table["y"], strict=True))


def sheet(delimiter=",", mark=".", end="\n", quote=""):
    lines = [("part", "appraiser", "y"), *((part, who, y.replace(".", mark)) for part, who, y in rows())]
    return "".join(delimiter.join(f"{quote}{cell}{quote}" for cell in line) + end for line in lines)


DIALECTS = {
    "semicolons and decimal commas": sheet(";", ","),
    "semicolons and decimal points": sheet(";"),
    "tabs and decimal commas": sheet("\t", ","),
    "a byte order mark": b"\xef\xbb\xbf" + sheet().encode(),
    "line ends of Windows": sheet(end="\r\n"),
    "line ends of an old Mac": sheet(end="\r"),
    "no line end at the end": sheet().rstrip("\n"),
    "told by the file": "sep=;\n" + sheet(";", ","),
    "comments and empty rows": "# who\n\n#\n" + sheet().replace("\n3,A", '\n# a,"b\n\n3,A', 1) + "# end\n\n",
    "quoted cells": sheet(quote='"'),
    "columns nobody asks for": sheet(end=",x,,\n").replace(",x,,", ",note,,", 1),
    "empty rows of a longer sheet": sheet() + ",,\n,,\n",
    "blanks around": sheet(" , "),
    "a minus sign": sheet().replace("-", "\N{MINUS SIGN}"),
}  # fmt: skip


@pytest.mark.parametrize("name", DIALECTS)
def test_one_file_in_many_ways(name, tmp_path):
    plain = told("gauge", written(tmp_path, sheet()), *WORDS)
    assert told("gauge", written(tmp_path, DIALECTS[name]), *WORDS) == plain


def test_a_single_column_has_decimal_commas(tmp_path):
    found = told("chart", written(tmp_path, "TDS\n1,40\n1,42\n1,4\n"), "--value", "TDS", "--kind", "imr")
    assert found["points"] == [1.4, 1.42, 1.4]


def test_a_heading_with_a_comma_is_one_column(tmp_path):
    path = written(tmp_path, '"batch, day";y\nA;1\nA;2\nB;4\nB;5\n')
    assert list(told("anova", path, "--value", "y", "--factors", "batch, day")["terms"]) == ["batch, day"]


def test_a_cell_over_several_lines_is_one_row(tmp_path):
    path = written(tmp_path, 'note,y\n"two\n# lines",1\nx,oops\n')
    assert "Row 3, column y" in refused("chart", path, "--value", "y", "--kind", "imr")


def test_from_standard_input(monkeypatch, tmp_path):
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=BytesIO(sheet().encode())))
    assert said("gauge", "-", *WORDS) == said("gauge", written(tmp_path, sheet()), *WORDS)


@pytest.mark.parametrize("name", ["nowhere.csv", "."])
def test_what_is_no_file(name, tmp_path):
    assert "cannot be read: " in refused("precision", str(tmp_path / name), "--value", "y", "--lab", "lab")


BAD = {
    "nothing": (b"", "The file is empty."),
    "blanks": (b"\n \n\r\n", "The file is empty."),
    "a mark alone": (b"\xef\xbb\xbf", "The file is empty."),
    "comments": (b"# lab,y\n# A,1\n", "The file has comments only."),
    "headings": (b"lab,y\n", "no rows of data"),
    "headings and empty rows": (b"lab,y\n,\n\n", "no rows of data"),
    "no headings": (b",,\nA,1,2\n", "The first row has no headings"),
    "one row": (b"lab,y\nA,1\n", "A study of precision needs 2 rows or more, and there is 1."),
    "another column": (b"lab,Y\nA,1\nA,2\n", "There is no column y. Did you mean Y?"),
    "a near column": (b"labs,y\nA,1\nA,2\n", "There is no column lab. Did you mean labs?"),
    "no such column": (b"who,y\nA,1\nA,2\n", "There is no column lab. The columns are who, y."),
    "twice": (b"lab,y,y\nA,1,2\nA,2,2\n", "There are 2 columns named y"),
    "words": (b"lab,y\nA,1\nA,about 2\n", 'Row 3, column y: expected a number, not "about 2".'),
    "a unit": (b"lab,y\nA,1\nA,1.4 %\n", 'expected a number, not "1.4 %"'),
    "an empty cell": (b"lab,y\nA,1\nA,\n", "Row 3, column y is empty."),
    "a short row": (b"lab,y\nA,1\nA\n", "Row 3, column y is empty."),
    "an empty label": (b"lab,y\nA,1\n ,2\n", "Row 3, column lab is empty."),
    "nan": (b"lab,y\nA,1\nA,NaN\n", 'not "NaN"'),
    "infinity": (b"lab,y\nA,1\nA,-inf\n", 'not "-inf"'),
    "far too large": (b"lab,y\nA,1\nA,1e999\n", '"1e999" is too large to reckon with'),
    "far too small": (b"lab,y\nA,1\nA,1e-200\n", '"1e-200" is too small to reckon with'),
    "a number of Python": (b"lab,y\nA,1\nA,1_000\n", 'not "1_000"'),
    "other digits": ("lab,y\nA,1\nA,\u0661\u0662\n".encode(), "expected a number"),
    "a formula": (b"lab,y\nA,1\nA,=B2+1\n", 'not "=B2+1"'),
    "an error": (b"lab,y\nA,1\nA,#DIV/0!\n", 'not "#DIV/0!"'),
    "a date": (b"lab,y\nA,1\nA,12.11.2026\n", 'not "12.11.2026"'),
    "thousands": (b"lab;y\nA;1.5\nA;1,250\n", "1,250 can be read in two ways"),
    "thousands with points": (b"lab;y\nA;1,5\nA;1.250\n", "1.250 can be read in two ways"),
    "both marks": (b"lab;y\nA;1\nA;1.250,5\n", 'not "1.250,5"'),
    "decimal commas among commas": (b"lab,y\nA,1,40\nA,1,41\n", "Then part the columns by semicolons"),
    "quoted decimal commas": (b'lab,y\nA,"1,40"\nA,"1,41"\n', "decimals take a point"),
    "more cells than headings": (b"lab;y\nA;1\nA;2;3\n", "Row 3 has 3 cells, and there are 2 headings."),
    "an open quotation": (b'lab,y\nA,1\nA,"2\nB,3\n', "cannot be taken apart"),
    "characters of a terminal": (b"lab,y\nA,1\nA,\x1b[2J\x00\n", 'not "\\x1b[2J\\x00"'),
    "a long cell": (b"lab,y\nA,1\nA," + b"x" * 500 + b"\n", f'not "{"x" * 39}…"'),
    "a workbook": (b"PK\x03\x04\x14\x00\xff", "The file is a workbook"),
    "an old workbook": (b"\xd0\xcf\x11\xe0\xa1\xb1", "The file is a workbook"),
    "UTF-16": ("lab,y\nA,1\n".encode("utf-16"), "UTF-16: save it as CSV in UTF-8"),
    "Latin-1": ("lab,y\nZoë,1\n".encode("latin-1"), "byte 9 cannot be read"),
    "a picture": (bytes(range(256)), "not text in UTF-8"),
    "a field without end": (b"lab,y\nA,1\nA," + b"1" * 200_000 + b"\n", "cannot be taken apart"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_file_that_does_not_serve(name, tmp_path):
    raw, says = BAD[name]
    message = refused("precision", written(tmp_path, raw), "--value", "y", "--lab", "lab")
    assert says in message
    assert all(one.isprintable() for one in message.replace("\n", ""))


def test_all_that_is_wrong_is_listed_row_by_row(tmp_path):
    path = written(tmp_path, "# made by hand\nlab,level,y\nA,1,x\n,1,2\n\nA,,zwei\n")
    message = refused("precision", path, "--value", "y", "--lab", "lab", "--level", "level")
    assert message.splitlines()[1:] == [
        '  Row 3, column y: expected a number, not "x".',
        "  Row 4, column lab is empty.",
        "  Row 6, column level is empty.",
        '  Row 6, column y: expected a number, not "zwei".',
    ]


def test_of_very_many_faults_the_first_are_listed(tmp_path):
    path = written(tmp_path, "lab,y\n" + "A,x\n" * 33)
    lines = refused("precision", path, "--value", "y", "--lab", "lab").splitlines()
    assert lines[20].startswith("  Row 21, ")
    assert lines[21:] == ["  and 13 more."]


def test_missing_columns_and_unreadable_cells_are_told_together(tmp_path):
    path = written(tmp_path, SHEET + "C,?\n")
    message = refused("precision", path, "--value", "y", "--lab", "laab", "--level", "brew")
    assert "Did you mean lab?" in message
    assert "There is no column brew" in message
    assert "Row 6, column y" in message


def test_a_column_of_numbers_with_a_slip_is_not_taken_for_words(tmp_path):
    path = written(tmp_path, "staff,days,y\nA,1,1\nA,2,1.2\nB,3,1.5\nB,4,1.4\nB,S,1.3\n")
    message = refused("variance", path, "--value", "y", "--terms", "staff", "--fixed", "days")
    assert 'Row 6, column days: expected a number, not "S"' in message
