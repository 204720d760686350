"""A file -> one sheet of it, checked to its end before the first row is given out.

Taking a workbook apart costs most of the time, so the rows are laid aside in a nameless file once and read from there
as often as they are asked for; memory holds a few hundred of them.
"""

from __future__ import annotations

import os
import pickle
import tempfile
from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import islice
from typing import BinaryIO, Self

from brewbar.words import gettext as _
from brewbar.words import ngettext
from calibration.importing import csv_text, worksheet
from calibration.importing.raw import LIMITS, Cell, Limits, RawRow, Trouble, Unreadable, letters
from calibration.importing.workbook import LOCKED, SheetName, Workbook

_ZIP, _OLD = b"PK", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_OTHERS = (b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"{\\rtf")
_MARKUP = (b"<!doctype", b"<html", b"<?xml", b"<table")
_TOGETHER = 256


class Sheet:
    """name: of the sheet, none in a CSV; says: how the file was read; notes: what whoever brings it in should know;
    count: rows that hold something; width: columns; formulas: how many cells of each column a formula gave;
    hidden_columns: their places; hidden_rows: how many; merged: merged cells, such as "B5:B9"."""

    def __init__(self, name: str, says: str, notes: Iterable[str] = ()) -> None:
        self.name, self.says = name, says
        self.notes = list(notes)
        self.count = self.width = self.hidden_rows = 0
        self.formulas: Counter[int] = Counter()
        self.hidden_columns: frozenset[int] = frozenset()
        self._merged: list[worksheet.Merged] = []
        self._kept = tempfile.TemporaryFile()  # noqa: SIM115 - closed with the sheet

    @property
    def merged(self) -> tuple[str, ...]:
        return tuple(one.says for one in self._merged)

    def rows(self) -> Iterator[RawRow]:
        """As often as asked, also by several at once."""
        rows = self._as_kept()
        return _covered(rows, self._merged) if self._merged else rows

    def first(self, most: int) -> list[RawRow]:
        return list(islice(self.rows(), most))

    def close(self) -> None:
        self._kept.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    def keep(self, rows: Iterable[RawRow], limits: Limits) -> None:
        together: list[tuple[object, ...]] = []
        for row in rows:
            self.count += 1
            self.width = max(self.width, len(row.cells))
            self.formulas.update(row.formulas)
            self.hidden_rows += row.hidden
            together.append(tuple(row))
            if len(together) == _TOGETHER:
                limits.check_row(self.count)
                self._lay_aside(together)
                together = []
        limits.check_row(self.count)
        self._lay_aside(together)
        self._kept.flush()

    def mark(self, marks: worksheet.Marks) -> None:
        self._merged = sorted(marks.merged)
        self.hidden_columns = frozenset(place for place in marks.hidden_columns if place < self.width)

    def _lay_aside(self, rows: list[tuple[object, ...]]) -> None:
        laid = pickle.dumps(rows, protocol=5)
        self._kept.write(len(laid).to_bytes(8, "big") + laid)

    def _as_kept(self) -> Iterator[RawRow]:
        where, file = 0, self._kept
        while True:
            file.seek(where)  # another reading may have moved it
            size = int.from_bytes(file.read(8), "big")
            if not size:
                return
            where += 8 + size
            for row in pickle.loads(file.read(size)):
                yield RawRow(*row)


def sheets_in(file: BinaryIO, limits: Limits = LIMITS) -> tuple[SheetName, ...]:
    """The sheets of a workbook; none in a CSV. Raises Unreadable."""
    return Workbook(file, limits).sheets if _is_workbook(file, limits) else ()


def open_sheet(file: BinaryIO, name: str = "", limits: Limits = LIMITS) -> Sheet:
    """The sheet of this name or, without one, the first that isn't hidden. Raises Unreadable."""
    if _is_workbook(file, limits):
        return _from_workbook(Workbook(file, limits), name, limits)
    form = csv_text.form_of(file)
    notes = []
    if form.is_a_guess:
        notes.append(
            _(
                "The file doesn't say how its letters are coded: look at the names with accents before you go on."
            )
        )
    return _filled(Sheet("", form.says, notes), csv_text.rows(file, form, limits), limits)


def _from_workbook(book: Workbook, name: str, limits: Limits) -> Sheet:
    shown = [one for one in book.sheets if not one.hidden] or list(book.sheets)
    chosen = next((one for one in book.sheets if one.name == name), None) if name else shown[0]
    if chosen is None:
        said = _("There is no sheet %(name)s in this workbook. It has %(names)s.")
        raise Unreadable(said % {"name": name, "names": ", ".join(one.name for one in book.sheets)})
    notes = []
    if others := [one.name for one in book.sheets if one is not chosen]:
        notes.append(
            _("Other sheets of the workbook are left alone: %(names)s.") % {"names": ", ".join(others)}
        )
    if book.has_macros:
        notes.append(_("The workbook has macros. They were not run."))
    marks = worksheet.Marks()
    sheet = Sheet(chosen.name, _("XLSX, sheet %(name)s") % {"name": chosen.name}, notes)
    _filled(sheet, worksheet.rows(book, chosen, limits, marks), limits)
    sheet.mark(marks)
    sheet.notes += _notes_of(sheet)
    return sheet


def _notes_of(sheet: Sheet) -> Iterator[str]:
    if sheet.hidden_columns:
        said = ngettext(
            "Column %(columns)s is hidden in the spreadsheet, and is read all the same.",
            "Columns %(columns)s are hidden in the spreadsheet, and are read all the same.",
            len(sheet.hidden_columns),
        )
        yield said % {"columns": ", ".join(letters(place) for place in sorted(sheet.hidden_columns))}
    if sheet.hidden_rows:
        said = ngettext(
            "%(rows)d row is hidden in the spreadsheet.",
            "%(rows)d rows are hidden in the spreadsheet.",
            sheet.hidden_rows,
        )
        yield said % {"rows": sheet.hidden_rows}
    if sheet.merged:
        shown = [*sheet.merged[:5], *(["…"] if len(sheet.merged) > 5 else [])]
        yield _("There are merged cells: %(ranges)s.") % {"ranges": ", ".join(shown)}
    if total := sheet.formulas.total():
        said = ngettext(
            "%(cells)d cell is a formula. Its result is read as it was when the file was last saved.",
            "%(cells)d cells are formulas. Their results are read as they were when the file was last saved.",
            total,
        )
        yield said % {"cells": total}


def _filled(sheet: Sheet, rows: Iterable[RawRow], limits: Limits) -> Sheet:
    try:
        sheet.keep(rows, limits)
        if not sheet.count:
            raise Unreadable(_("There is nothing in this sheet."))
    except BaseException:
        sheet.close()
        raise
    return sheet


def _is_workbook(file: BinaryIO, limits: Limits) -> bool:
    size = file.seek(0, os.SEEK_END)
    file.seek(0)
    head = file.read(512)
    if size > limits.bytes:
        said = _("The file is larger than %(most)d MB. Part it in two and bring them in one by one.")
        raise Unreadable(said % {"most": limits.bytes // 1_000_000})
    if not head.strip(b"\xef\xbb\xbf\xff\xfe \t\r\n\0"):
        if size <= len(head):
            raise Unreadable(_("The file is empty."))
        return False
    if head.startswith(_OLD):
        raise Unreadable(LOCKED() if _is_encrypted(file) else _old_format())
    if head.startswith(_OTHERS) or head.lstrip(b"\xef\xbb\xbf \t\r\n").lower().startswith(_MARKUP):
        raise Unreadable(_("This isn't a spreadsheet. Save the sheet as XLSX or CSV."))
    return head.startswith(_ZIP) and head[2:4] in (b"\3\4", b"\5\6")


def _old_format() -> str:
    return _("This is an old workbook (.xls). Open it, and save it as a newer one (.xlsx) or as CSV.")


def _is_encrypted(file: BinaryIO) -> bool:
    """[MS-OFFCRYPTO] 2.3.4.4: a workbook with a password lies in a stream of this name."""
    stream = "EncryptedPackage".encode("utf-16-le")
    file.seek(0)
    before = b""
    while chunk := file.read(1 << 20):
        if stream in before + chunk:
            return True
        before = chunk[-len(stream) :]
    return False


def _covered(rows: Iterator[RawRow], merged: list[worksheet.Merged]) -> Iterator[RawRow]:
    """Cells that lie under a merged one say so, and what stands in its first cell."""
    tops = [one.top for one in merged]
    begun = 0
    going: list[tuple[worksheet.Merged, Cell]] = []
    for row in rows:
        if not going and (begun == len(tops) or tops[begun] > row.number):
            yield row
            continue
        going = [pair for pair in going if pair[0].bottom >= row.number]
        until = bisect_right(tops, row.number)
        for one in merged[begun:until]:
            first = row.cells[one.left] if one.top == row.number and one.left < len(row.cells) else None
            if one.bottom >= row.number:
                going.append((one, first))
        begun = until
        yield _with_covers(row, going)


def _with_covers(row: RawRow, going: list[tuple[worksheet.Merged, Cell]]) -> RawRow:
    cells = list(row.cells)
    for one, first in going:
        value = None if isinstance(first, Trouble) else first
        cells += [None] * (one.right + 1 - len(cells))
        for place in range(one.left, one.right + 1):
            if (row.number, place) != (one.top, one.left) and cells[place] is None:
                said = _(
                    "This cell lies under the merged cells %(range)s. Unmerge them, and write the value here."
                )
                cells[place] = Trouble(said % {"range": one.says}, one.says, value)
    return row._replace(cells=tuple(cells))
