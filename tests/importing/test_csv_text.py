"""CSV as RFC 4180 has it, and as spreadsheets of different countries save it."""

import csv
import io

import pytest

from calibration.importing.raw import Limits, Unreadable
from calibration.importing.reading import open_sheet
from tests.importing.sheets import cells_of, csv_file, rows_of

TABLE = [("Wer", "Dosis", "Stärke"), ("Jürgen", "15,0", "1,38"), ("Zoë", "15,2", "1,40")]


def text(delimiter: str, end: str = "\r\n") -> str:
    return "".join(delimiter.join(row) + end for row in TABLE)


# The examples of RFC 4180, section 2, numbered as there.
TWO_RECORDS = [("aaa", "bbb", "ccc"), ("zzz", "yyy", "xxx")]
RFC_4180 = {
    "1, each record on its own line": ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", TWO_RECORDS),
    "2, no line break at the end": ("aaa,bbb,ccc\r\nzzz,yyy,xxx", TWO_RECORDS),
    "5, enclosed in double quotes": ('"aaa","bbb","ccc"\r\nzzz,yyy,xxx', TWO_RECORDS),
    "6, a line break inside": (
        '"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx',
        [("aaa", "b\r\nbb", "ccc"), ("zzz", "yyy", "xxx")],
    ),
    "7, a double quote inside": ('"aaa","b""bb","ccc"', [("aaa", 'b"bb', "ccc")]),
}


@pytest.mark.parametrize("name", RFC_4180)
def test_rfc_4180(name):
    written, expected = RFC_4180[name]
    assert cells_of(csv_file(written)) == expected


@pytest.mark.parametrize("delimiter", [";", "\t"])
@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
@pytest.mark.parametrize(
    ("encoding", "told"),
    [
        ("utf-8", "UTF-8"),
        ("utf-8-sig", "UTF-8"),
        ("utf-16", "UTF-16"),
        ("utf-16-le", "UTF-16"),
        ("utf-16-be", "UTF-16"),
        ("cp1252", "Windows-1252"),
    ],
)
def test_every_usual_way_to_save_it_is_the_same_table(encoding, told, delimiter, end):
    file = csv_file(text(delimiter, end), encoding)
    with open_sheet(file) as sheet:
        assert [row.cells for row in sheet.rows()] == TABLE
        assert f"CSV in {told}, columns parted by" in sheet.says
        assert bool(sheet.notes) == (encoding == "cp1252")


def test_commas_part_columns_where_points_mark_decimals():
    with open_sheet(csv_file("Dose,TDS,Notes\n15.0,1.38,a; b\n15.2,1.40,c\n")) as sheet:
        assert sheet.says == "CSV in UTF-8, columns parted by commas"
        assert [row.cells for row in sheet.rows()][1] == ("15.0", "1.38", "a; b")


def test_the_file_may_name_its_delimiter_and_that_line_is_not_a_row():
    rows = rows_of(csv_file("sep=|\r\na|b;c\r\n1|2\r\n"))
    assert [(row.number, row.cells) for row in rows] == [(1, ("a", "b;c")), (2, ("1", "2"))]


def test_rows_are_numbered_as_a_spreadsheet_shows_them():
    rows = rows_of(csv_file('a;b\n\n"two\nlines";2\n;;\n3;4\n'))
    assert [(row.number, row.cells) for row in rows] == [
        (1, ("a", "b")),
        (3, ("two\nlines", "2")),
        (5, ("3", "4")),
    ]


def test_beside_a_reader_that_holds_everything():
    """The standard library's reader of the whole text, blank cells and rows taken off by hand."""
    written = 'x;"a;b";\n\n ; ;\n"q""q"; é ;3\n' * 300
    naive = []
    for record in csv.reader(io.StringIO(written, newline=""), delimiter=";"):
        cells = [cell.strip() or None for cell in record]
        while cells and cells[-1] is None:
            del cells[-1]
        naive += [tuple(cells)] if cells else []
    assert cells_of(csv_file(written)) == naive


REFUSED = {
    "empty": (b"", "The file is empty."),
    "blank": (b"\r\n\r\n  \r\n", "The file is empty."),
    "only delimiters": (b";;;\r\n;;\r\n" * 100, "nothing in this sheet"),
    "a quotation mark left open": (b'a;b\n1;2\n3;"4\n5;6\n', "Row 3 cannot be taken apart"),
    "zeros": (b"a;b\n\0\0\0;2\n", "isn't text"),
    "bytes that mean nothing": (b"a;b\n\x81\x8d;2\n", "isn't text"),
    "half a letter in UTF-16": (b"\xff\xfea\x00b", "isn't text"),
    "a picture": (b"\x89PNG\r\n\x1a\n123", "This isn't a spreadsheet"),
    "a web page": (b"<!DOCTYPE html><table>", "This isn't a spreadsheet"),
    "a web page called .xls": (b"\xef\xbb\xbf\n<html><table>", "This isn't a spreadsheet"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_read_is_said(name):
    raw, expected = REFUSED[name]
    with pytest.raises(Unreadable, match=expected):
        open_sheet(io.BytesIO(raw))


def test_limits_are_said():
    small = Limits(bytes=200, rows=3, columns=3, text=10)
    assert len(rows_of(csv_file("a;b\n1;2\n3;4\n"), limits=small)) == 3
    with pytest.raises(Unreadable, match="more than 3 rows"):
        open_sheet(csv_file("a;b\n1;2\n3;4\n5;6\n"), limits=small)
    with pytest.raises(Unreadable, match="something in D2"):
        open_sheet(csv_file("a;b\n1;2;3;4\n"), limits=small)
    with pytest.raises(Unreadable, match="larger than 0 MB"):
        open_sheet(csv_file("a;b\n" * 100), limits=small)
    for endless in ("a," * 1_000_000, '"a\n",' * 500_000):
        with pytest.raises(Unreadable, match="Row 2 has no end"):
            open_sheet(csv_file("a,b\n" + endless), limits=Limits())
    (row,) = rows_of(csv_file("a;this is too long\n"), limits=small)
    assert "longer than 10" in row.cells[1].says


def test_rows_can_be_asked_for_again_and_by_two_at_once():
    with open_sheet(csv_file("".join(f"{n};x\n" for n in range(1000)))) as sheet:
        one, other = sheet.rows(), sheet.rows()
        pairs = [(next(one).number, next(other).number) for _n in range(600)]
        assert pairs == [(n, n) for n in range(1, 601)]
        assert sum(1 for _row in sheet.rows()) == sheet.count == 1000
