"""One sheet of a workbook, row by row as it is unpacked, so that memory doesn't grow with it.

openpyxl's reader of sheets is given a row at a time. Its read-only sheets don't say which cells are formulas, merged or
hidden, drop rows that are out of order, and keep what is said about each row.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import IO, Any
from xml.etree.ElementTree import Element, iterparse

from defusedxml.ElementTree import iterparse as iterparse_wary
from openpyxl.cell.read_only import ReadOnlyCell
from openpyxl.reader.excel import WorksheetReader
from openpyxl.utils import range_boundaries
from openpyxl.utils.escape import unescape
from openpyxl.xml.constants import SHEET_MAIN_NS

from brewbar.words import gettext as _
from calibration.importing.raw import Cell, Limits, RawRow, Trouble, Unreadable, letters
from calibration.importing.serials import as_shown
from calibration.importing.workbook import SheetName, Workbook, refused_in_words

_ROWS, _ROW, _FORMULA, _COLUMN, _MERGED = (
    f"{{{SHEET_MAIN_NS}}}{name}" for name in ("sheetData", "row", "f", "col", "mergeCell")
)
_MOST_MERGED = 20_000
_MOST_AT_ONCE = 100_000  # a row has 16,384 cells at most, of a few elements each
_MOST_TEXT = 10_000_000  # a cell has 32,767 characters at most
_YES = ("1", "true")


@dataclass(frozen=True, slots=True, order=True)
class Merged:
    """Rows from 1, places from 0, both ends belonging to it."""

    top: int
    left: int
    bottom: int
    right: int

    @property
    def says(self) -> str:
        return f"{letters(self.left)}{self.top}:{letters(self.right)}{self.bottom}"


@dataclass
class Marks:
    """What stands beside the cells of a sheet; complete once its last row was read."""

    merged: list[Merged] = field(default_factory=list)
    hidden_columns: set[int] = field(default_factory=set)


def rows(book: Workbook, sheet: SheetName, limits: Limits, marks: Marks) -> Iterator[RawRow]:
    """Rows that hold something."""
    with refused_in_words(), book.opened(sheet) as (packed, texts, empty):
        parser = WorksheetReader(empty, packed, texts, data_only=True, rich_text=False).parser
        cells = _Cells(empty, limits)
        # What is dangerous stands before the first element. Beyond it a third of the time is saved.
        next(iterparse_wary(packed, ("start",), forbid_dtd=True))
        packed.seek(0)
        held, last, at_once, has_formulas = Element(""), 0, 0, False
        fed = _Fed(packed)
        for event, element in iterparse(fed, ("start", "end")):
            fed.since = 0
            tag = element.tag
            if event == "start":
                if tag == _ROWS:
                    held = element
                continue
            at_once += 1
            if tag == _FORMULA:
                has_formulas = True
            elif tag == _ROW:
                number, found = parser.parse_row(element)
                if number <= last:
                    raise ValueError("rows out of order")
                row = cells.row(number, found, element, has_formulas)
                if row.cells:
                    yield row
                last, at_once, has_formulas = number, 0, False
                held.clear()
                parser.row_dimensions.clear()
            elif tag == _COLUMN and element.get("hidden") in _YES:
                first, end = int(element.get("min")), int(element.get("max"))
                marks.hidden_columns.update(range(first - 1, min(end, limits.columns)))
            elif tag == _MERGED:
                left, top, right, bottom = range_boundaries(element.get("ref"))
                marks.merged.append(Merged(top, left - 1, bottom, min(right, limits.columns) - 1))
                if len(marks.merged) > _MOST_MERGED:
                    said = _("There are too many merged cells in this sheet. Unmerge them, and save it anew.")
                    raise Unreadable(said)
            if at_once > _MOST_AT_ONCE:
                raise ValueError("a row without end")


class _Fed:
    """A sheet as it is unpacked, unless there is no end to one text of it."""

    def __init__(self, packed: IO[bytes]) -> None:
        self._packed, self.since = packed, 0

    def read(self, size: int = -1, /) -> bytes:
        self.since += size
        if self.since > _MOST_TEXT:
            raise ValueError("a text without end")
        return self._packed.read(size)


class _Cells:
    def __init__(self, sheet: Any, limits: Limits) -> None:
        self._limits = limits

        @cache
        def shown_by(style: int) -> str:
            try:
                return str(ReadOnlyCell(sheet, 1, 1, None, style_id=style).number_format)
            except IndexError:
                return "General"

        self._shown_by = shown_by

    def row(self, number: int, found: list[dict[str, Any]], element: Element, has_formulas: bool) -> RawRow:
        cells: list[Cell] = []
        formulas = []
        last = -1
        for told, part in zip(found, element, strict=True):
            place = told["column"] - 1
            if place <= last:
                raise ValueError("cells out of order")
            last = place
            is_formula = has_formulas and part.find(_FORMULA) is not None
            cell = self._cell(told["value"], told["data_type"], told["style_id"], is_formula)
            if cell is None:
                continue
            self._limits.check_column(place, number)
            if is_formula:
                formulas.append(place)
            cells += [None] * (place - len(cells))
            cells.append(cell)
        return RawRow(number, tuple(cells), tuple(formulas), element.get("hidden") in _YES)

    def _cell(self, value: Any, kind: str, style: int, is_formula: bool) -> Cell:
        if value is None:
            return Trouble(_no_result()) if is_formula and kind == "n" else None
        if kind == "e":
            said = _("The spreadsheet shows the error %(error)s here. Mend its formula, or write the value.")
            return Trouble(said % {"error": value[:20]})
        if isinstance(value, str):
            return self._limits.text_of(unescape(value) if "_x" in value else value)
        if kind == "b":
            return "TRUE" if value else "FALSE"
        return as_shown(value, self._shown_by(style))


def _no_result() -> str:
    return _(
        "This is a formula whose result isn't in the file. "
        "Open the file in the spreadsheet and save it, or write the value."
    )
