"""Files that cannot be read, or should not be: each is refused in a sentence that says what would help."""

import io
import zipfile

import pytest

from calibration.importing.raw import Limits, Unreadable
from calibration.importing.reading import open_sheet
from tests.importing.sheets import SHEET, book_file, patched, with_shared_text

OLD = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
BOOK = book_file([["a", 1], ["b", 2]])


def archive(**parts: str) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as file:
        for name, text in parts.items():
            file.writestr(name.replace("__", "/").replace("_", "."), text)
    return made.getvalue()


def with_flag_of_encryption() -> bytes:
    """ZIP's own encryption: bit 0 of the general purpose flag in the central directory (APPNOTE 4.4.4)."""
    raw = bytearray(BOOK.getvalue())
    at = raw.find(b"PK\x01\x02")
    raw[at + 8] |= 1
    return bytes(raw)


REFUSED = {
    # [MS-OFFCRYPTO] 2.3.4.4 has the name of the stream; directory entries are in UTF-16 ([MS-CFB] 2.6.1)
    "with a password": (
        OLD + b"\0" * 3000 + "EncryptedPackage".encode("utf-16-le"),
        "protected with a password",
    ),
    "with a password across two pieces": (
        OLD + b"\0" * ((1 << 20) - 20) + "EncryptedPackage".encode("utf-16-le"),
        "protected with a password",
    ),
    "an encrypted archive": (with_flag_of_encryption(), "protected with a password"),
    "an old .xls": (
        OLD + b"\0" * 3000,
        r"This is an old workbook \(.xls\)\. Open it, and save it as a newer one \(.xlsx\) or as CSV\.",
    ),
    "cut off": (BOOK.getvalue()[:-200], "damaged"),
    "an OpenDocument file": (archive(mimetype="x", content_xml="<a/>"), "OpenDocument"),
    "a binary workbook": (archive(xl__workbook_bin="x"), r"binary workbook \(.xlsb\)"),
    "another archive": (archive(photo_jpg="x"), "archive isn't a workbook"),
    "an archive with nothing in it": (archive(), "archive isn't a workbook"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_read_is_said(name):
    raw, expected = REFUSED[name]
    with pytest.raises(Unreadable, match=expected):
        open_sheet(io.BytesIO(raw))


BROKEN = {
    "tags that don't close": (r"</sheetData>", "", "damaged"),
    "a number that is none": (r"<v>1</v>", "<v>one</v>", "damaged"),
    "a number without end": (r"<v>1</v>", "<v>1e999</v>", "damaged"),
    "a text that isn't there": (r't="inlineStr"><is><t>b</t></is>', 't="s"><v>77</v>', "damaged"),
    "rows out of order": (r'<row r="2"', '<row r="1"', "damaged"),
    "cells out of order": (r'r="B2"', 'r="A2"', "damaged"),
    "a style that is no number": (r'<c r="B1"', '<c s="x" r="B1"', "damaged"),
    "entities that double": (
        r"^(<\?xml[^>]*>)?<worksheet",
        '<!DOCTYPE w [<!ENTITY a "aa">]><worksheet',
        "document type",
    ),
    "a cell in the last column": (r'r="B2"', 'r="XFD2"', "XFD2"),
    "a row without end": (r"<v>1</v></c>", "<v>1</v></c>" + "<c/>" * 100_001, "damaged"),
    "nothing": (r"<sheetData>.*</sheetData>", "<sheetData/>", "nothing in this sheet"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_sheet_is_refused_before_its_first_row_is_given_out(name):
    pattern, by, expected = BROKEN[name]
    with pytest.raises(Unreadable, match=expected):
        open_sheet(patched(BOOK, SHEET, pattern, by))


def test_no_sheet_of_that_name():
    with pytest.raises(Unreadable, match=r"no sheet Brews in this workbook\. It has Sheet\."):
        open_sheet(BOOK, "Brews")


def test_a_small_file_that_unpacks_to_a_huge_one_is_not_unpacked():
    made = io.BytesIO(BOOK.getvalue())
    with zipfile.ZipFile(made, "a", zipfile.ZIP_DEFLATED) as file:
        file.writestr("xl/media/zeros.bin", bytes(30_000_000))
    assert len(made.getvalue()) < 100_000
    with pytest.raises(Unreadable, match="Unpacked, this workbook is larger than 20 MB"):
        open_sheet(made, limits=Limits(unpacked=20_000_000))


def test_more_text_than_can_be_held():
    with pytest.raises(Unreadable, match="too much text"):
        open_sheet(with_shared_text(BOOK, "A1", "<si><t>" + " " * 60_000_000 + "</t></si>"))


def test_a_text_without_end_is_not_held():
    endless = (
        "<row r='9'><c r='A9' t='inlineStr'><is><t>" + "a" * 40_000_000 + "</t></is></c></row></sheetData>"
    )
    file = patched(BOOK, "xl/worksheets/sheet1.xml", "</sheetData>", endless)
    with pytest.raises(Unreadable, match="damaged"):
        open_sheet(file)


def test_a_workbook_in_the_strict_form():
    """ECMA-376 part 1, annex A: its names begin otherwise."""
    strict = "http://purl.oclc.org/ooxml/officeDocument/relationships/worksheet"
    file = patched(BOOK, "xl/_rels/workbook.xml.rels", r'http://[^"]*/worksheet(?=")', strict)
    with pytest.raises(Unreadable, match="Strict Open XML"):
        open_sheet(file)


def test_entities_that_double_beside_the_sheet():
    doubled = '<!DOCTYPE s [<!ENTITY a "aa"><!ENTITY b "&a;&a;">]>'
    with pytest.raises(Unreadable, match="document type"):
        open_sheet(patched(BOOK, "xl/workbook.xml", "^", doubled))


def test_more_rows_than_are_read():
    with pytest.raises(Unreadable, match="more than 5 rows"):
        open_sheet(book_file([[n, n] for n in range(6)]), limits=Limits(rows=5))


def test_every_beginning_of_a_workbook_is_refused_or_read():
    """A download that broke off: no error but ours."""
    raw = BOOK.getvalue()
    for length in range(0, len(raw) - 1, 97):
        with pytest.raises(Unreadable):
            open_sheet(io.BytesIO(raw[:length]))
