"""Spreadsheets made in the test, and what is found in them."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date, datetime
from typing import Any

import openpyxl

from calibration.importing import columns, reading, settling
from calibration.importing.fields import Kind
from calibration.importing.mapping import Chosen, Mapping
from calibration.importing.raw import LIMITS, Limits, RawRow
from calibration.importing.settling import Settled
from calibration.importing.verdicts import Row, Verdicts

HEAD = ("Date", "Barista", "Recipe", "Dose (g)", "Water (g)", "Brew time", "TDS 1", "TDS 2")


def at(*parts: int) -> datetime:
    """As a workbook keeps it: it knows no time zones."""
    return datetime(*parts)  # noqa: DTZ001


def csv_file(text: str, encoding: str = "utf-8") -> io.BytesIO:
    return io.BytesIO(text.encode(encoding))


def lines(*rows: Iterable[object], delimiter: str = ";") -> io.BytesIO:
    return csv_file("".join(delimiter.join(str(cell) for cell in row) + "\r\n" for row in rows))


def book_file(rows: Iterable[Iterable[Any]] = (), edit: Callable[[Any], object] | None = None) -> io.BytesIO:
    """A workbook as openpyxl writes it; ``edit`` gets its sheet first."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(list(row))
    if edit:
        edit(sheet)
    file = io.BytesIO()
    book.save(file)
    file.seek(0)
    return file


def patched(file: io.BytesIO, part: str, pattern: str, by: str, flags: int = 0) -> io.BytesIO:
    """With what the pattern finds in one part written otherwise."""
    made = io.BytesIO()
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            text = old.read(name)
            if name == part:
                found, count = re.subn(pattern, by, text.decode(), flags=flags)
                assert count, f"nothing like {pattern} in {part}"
                text = found.encode()
            new.writestr(name, text)
    made.seek(0)
    return made


def with_shared_text(file: io.BytesIO, cell: str, item: str) -> io.BytesIO:
    """The cell holds the one text that cells share."""
    file = patched(file, SHEET, f'<c r="{cell}"[^>]*>.*?</c>', f'<c r="{cell}" t="s"><v>0</v></c>')
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    told = f'<Override PartName="/xl/sharedStrings.xml" ContentType="{kind}"/></Types>'
    file = patched(file, "[Content_Types].xml", "</Types>", told)
    related = (
        '<Relationship Id="rId99" Target="sharedStrings.xml" '
        'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"/></Relationships>'
    )
    file = patched(file, "xl/_rels/workbook.xml.rels", "</Relationships>", related)
    space = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    return with_parts(file, **{"xl/sharedStrings.xml": f'<sst xmlns="{space}">{item}</sst>'.encode()})


def with_parts(file: io.BytesIO, **parts: bytes) -> io.BytesIO:
    with zipfile.ZipFile(file, "a", zipfile.ZIP_DEFLATED) as book:
        for name, content in parts.items():
            book.writestr(name, content)
    return file


SHEET = "xl/worksheets/sheet1.xml"


def rows_of(file: io.BytesIO, name: str = "", limits: Limits = LIMITS) -> list[RawRow]:
    with reading.open_sheet(file, name, limits) as sheet:
        return list(sheet.rows())


def cells_of(file: io.BytesIO) -> list[tuple[object, ...]]:
    return [row.cells for row in rows_of(file)]


def settled(
    file: io.BytesIO,
    kind: Kind = Kind.READINGS,
    latest: date | None = None,
    edit: Callable[[Mapping], Mapping] = lambda mapping: mapping,
) -> Settled:
    with reading.open_sheet(file) as sheet:
        return settling.settle(sheet, edit(columns.guess(sheet, kind).mapping), latest)


def judged(
    file: io.BytesIO,
    kind: Kind = Kind.READINGS,
    known: dict[str, list[str]] | None = None,
    edit: Callable[[Mapping], Mapping] = lambda mapping: mapping,
) -> tuple[list[Row], Verdicts]:
    with reading.open_sheet(file) as sheet:
        mapping = edit(columns.guess(sheet, kind).mapping)
        verdicts = Verdicts(sheet, mapping, settling.settle(sheet, mapping), known or {})
        return list(verdicts), verdicts


def answering(*columns: Chosen) -> Callable[[Mapping], Mapping]:
    """With other answers for these columns."""
    places = {one.place for one in columns}

    def edited(mapping: Mapping) -> Mapping:
        others = [one for one in mapping.columns if one.place not in places]
        return replace(mapping, columns=(*columns, *others))

    return edited


def brew(**changed: object) -> tuple[object, ...]:
    """A row under HEAD."""
    usual: dict[str, object] = {
        "day": "2026-03-09",
        "barista": "Mira Demo",
        "recipe": "House filter",
        "dose": "15",
        "water": "250",
        "time": "2:45",
        "tds1": "1.38",
        "tds2": "1.40",
    }
    return tuple((usual | changed).values())


def sheet_of(*rows: Iterable[object], delimiter: str = ";") -> io.BytesIO:
    return lines(HEAD, *rows, delimiter=delimiter)


def says(row: Row) -> dict[str, str]:
    """Cell -> what is wrong with it."""
    return {one.cell: one.says for one in row.problems}


def remarked(row: Row) -> dict[str, str]:
    return {one.cell: one.says for one in row.remarks}
