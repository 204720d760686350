"""One sheet of a workbook, row by row as it is unpacked, so that memory doesn't grow with it.

Libraries that read workbooks either hold the sheet whole or don't say which cells are formulas, merged or hidden.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time

from brewbar.words import gettext as _
from calibration.importing.raw import Cell, Limits, RawRow, Trouble, Unreadable, letters, place_of
from calibration.importing.serials import Shown, in_words_of
from calibration.importing.workbook import Attributes, Workbook, refused_in_words, unescaped

_RANGE = re.compile(r"\$?([A-Z]{1,3})\$?(\d{1,7}):\$?([A-Z]{1,3})\$?(\d{1,7})")
_MOST_MERGED = 20_000
_REMEMBERED = 20_000
_YES = ("1", "true")
_TAGS = ("row", "c", "v", "f", "is", "t", "rPh", "col", "mergeCell")


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


def rows(book: Workbook, part: str, limits: Limits, marks: Marks) -> Iterator[RawRow]:
    """Rows that hold something."""
    cells = _Cells(book, limits)
    done: list[RawRow] = []
    parser = book.parser(namespaces=False)
    row, hidden, place = 0, False, -1
    held: list[Cell] = []
    formulas: list[int] = []
    kind, style, is_formula = "n", "", False
    open_cell = listening = False
    value: list[str] = []
    places: dict[str, int] = {}
    tags: dict[str, str] = {}

    def begin_sheet(tag: str, _attributes: Attributes) -> None:
        """Resolving namespaces would cost a third of the time: the sheet's own elements have its prefix."""
        prefix = tag.removesuffix("worksheet")
        tags.update({prefix + name: name for name in _TAGS})
        parser.StartElementHandler = begin

    def begin(tag: str, attributes: Attributes) -> None:
        nonlocal row, hidden, place, held, formulas, kind, style, is_formula, open_cell, listening
        short = tags.get(tag)
        if short == "c":
            if open_cell:
                end_cell()
            where = attributes.get("r")
            if where is None:
                place += 1
            else:
                column = where.rstrip("0123456789")
                at = places.get(column)
                if at is None:
                    at = places[column] = place_of(column)
                if at <= place:
                    raise ValueError("cells out of order")
                place = at
            kind, style = attributes.get("t", "n"), attributes.get("s", "")
            open_cell, listening, is_formula = True, False, False
            value.clear()
        elif short == "v":
            listening = open_cell
        elif short == "row":
            end_row()
            said = attributes.get("r")
            number = int(said) if said else row + 1
            if number <= row:
                raise ValueError("rows out of order")
            row, hidden = number, attributes.get("hidden") in _YES
            held, formulas, place = [], [], -1
        elif short == "f":
            is_formula, listening = True, False
        elif short == "is":
            parser.EndElementHandler = end_inline
        elif short == "t":
            listening = open_cell
        elif short == "rPh":
            end_cell()  # what follows in this cell are hints at how it is said
            listening = False
        elif short == "mergeCell":
            _merge(marks, attributes.get("ref", ""), limits)
        elif short == "col" and attributes.get("hidden") in _YES:
            first, last = int(attributes["min"]), int(attributes["max"])
            marks.hidden_columns.update(range(first - 1, min(last, limits.columns)))

    def text(data: str) -> None:
        if listening:
            value.append(data)

    def end_inline(tag: str) -> None:
        """Only while a text stands in the cell itself: an end after every number would cost as much again."""
        nonlocal listening
        listening = False
        if tags.get(tag) == "is":
            parser.EndElementHandler = None

    def end_cell() -> None:
        nonlocal open_cell
        open_cell = False
        cell = cells.cell(kind, style, value[0] if len(value) == 1 else "".join(value), is_formula)
        if cell is None:
            return
        if place >= limits.columns:
            limits.check_column(place, row)
        if is_formula:
            formulas.append(place)
        if missing := place - len(held):
            held.extend([None] * missing)
        held.append(cell)

    def end_row() -> None:
        if open_cell:
            end_cell()
        if held:
            done.append(RawRow(row, tuple(held), tuple(formulas), hidden))

    parser.StartElementHandler, parser.CharacterDataHandler = begin_sheet, text
    for _breath in book.parsing(part, parser):
        yield from done
        done.clear()
    with refused_in_words():
        end_row()
    yield from done


class _Cells:
    """What is in a cell, remembered by its style and its figures: most stand in a column many times."""

    def __init__(self, book: Workbook, limits: Limits) -> None:
        self._texts, self._shown, self._from_1904 = book.texts, book.shown, book.from_1904
        self._limits = limits
        self._numbers: dict[str, dict[str, Cell]] = {}

    def cell(self, kind: str, style: str, text: str, is_formula: bool) -> Cell:
        if kind == "n":
            known = self._numbers.get(style)
            if known is None:
                known = self._numbers[style] = {}
            found = known.get(text)
            if found is None and text.strip():
                if len(known) >= _REMEMBERED:
                    known.clear()
                found = known[text] = self._number(text, _index(style or "0"))
            return Trouble(_no_result()) if found is None and is_formula else found
        if kind == "s":
            return self._limits.text_of(self._texts[_index(text)]) if text else None
        if kind == "b":
            return "TRUE" if text.strip() == "1" else "FALSE"
        if kind == "e":
            said = _("The spreadsheet shows the error %(error)s here. Mend its formula, or write the value.")
            return Trouble(said % {"error": text[:20]})
        return _iso(text) if kind == "d" else self._limits.text_of(unescaped(text))

    def _number(self, text: str, style: int) -> Cell:
        value = float(text)
        if not -1e300 < value < 1e300:
            raise ValueError("not a finite number")
        shown = self._shown[style] if style < len(self._shown) else Shown.NUMBER
        if shown is not Shown.NUMBER:
            return in_words_of(shown, value, self._from_1904)
        # Spreadsheets show 15 figures: what is left of 0.1 + 0.2 after them is no one's reading.
        return int(value) if value.is_integer() else float(f"{value:.15g}")


def _index(text: str) -> int:
    """Not from the end, as Python would have it."""
    if not text.isdecimal():
        raise ValueError("not an index")
    return int(text)


def _merge(marks: Marks, ref: str, limits: Limits) -> None:
    if match := _RANGE.fullmatch(ref):
        left, top, right, bottom = place_of(match[1]), int(match[2]), place_of(match[3]), int(match[4])
        marks.merged.append(Merged(top, left, bottom, min(right, limits.columns - 1)))
    if len(marks.merged) > _MOST_MERGED:
        raise Unreadable(_("There are too many merged cells in this sheet. Unmerge them, and save it anew."))


def _no_result() -> str:
    return _(
        "This is a formula whose result isn't in the file. "
        "Open the file in the spreadsheet and save it, or write the value."
    )


def _iso(text: str) -> Cell:
    """Cells that keep a date as ISO 8601 rather than as a number."""
    for read in (date.fromisoformat, time.fromisoformat, datetime.fromisoformat):
        try:
            return read(text)
        except ValueError:
            continue
    return Trouble(_("%(text)s isn't a date. Write it anew.") % {"text": text[:40]})
