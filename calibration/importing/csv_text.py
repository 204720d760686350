"""CSV as spreadsheets save it (RFC 4180, and what is usual besides): its encoding, its delimiter, its rows."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from brewbar.words import gettext as _
from calibration.importing.raw import Cell, Limits, RawRow, Unreadable

DELIMITERS = (";", "\t", ",")
"""The likeliest first: where decimal commas stand, semicolons part the columns."""
_CHUNK = 1 << 16
_LOOKED_AT = 200
_TOLD = re.compile(r"sep=(.)[\r\n]*", re.IGNORECASE)
# What spreadsheets write first: RFC 3629 section 6 for UTF-8, RFC 2781 section 3.2 for UTF-16
_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_NAMES = {
    "utf-8": "UTF-8",
    "utf-8-sig": "UTF-8",
    "utf-16": "UTF-16",
    "utf-16-le": "UTF-16",
    "utf-16-be": "UTF-16",
    "cp1252": "Windows-1252",
}


@dataclass(frozen=True, slots=True)
class Form:
    """encoding: as Python names it; delimiter: what parts the columns; told: whether the first line names it."""

    encoding: str
    delimiter: str
    told: bool = False

    @property
    def says(self) -> str:
        parted = {
            ",": _("columns parted by commas"),
            ";": _("columns parted by semicolons"),
            "\t": _("columns parted by tabs"),
        }.get(self.delimiter, _("columns parted by %(mark)s") % {"mark": self.delimiter})
        return _("CSV in %(encoding)s, %(parted)s") % {
            "encoding": _NAMES[self.encoding],
            "parted": parted,
        }

    @property
    def is_a_guess(self) -> bool:
        """Whether letters with accents could be others: every byte means something in Windows-1252."""
        return self.encoding == "cp1252"


def form_of(file: BinaryIO) -> Form:
    encoding = _encoding(file)
    text = _text(file, encoding)
    try:
        first = text.readline(_LOOKED_AT)
        if match := _TOLD.fullmatch(first):
            return Form(encoding, match[1], told=True)
        text.seek(0)
        return Form(encoding, _delimiter(text))
    finally:
        text.detach()


def rows(file: BinaryIO, form: Form, limits: Limits) -> Iterator[RawRow]:
    """Rows that hold something, numbered as a spreadsheet that opens the file numbers them: a quoted line break
    doesn't begin a row, and the line that names the delimiter isn't one."""
    text = _text(file, form.encoding)
    number = taken = 0
    longest = limits.columns * limits.text

    def lines() -> Iterator[str]:
        nonlocal taken
        while line := text.readline(longest + 1):
            taken += len(line)
            if taken > longest:
                said = _("Row %(row)d has no end. Is this the spreadsheet itself, saved as CSV?")
                raise Unreadable(said % {"row": number})
            yield line

    try:
        if form.told:
            text.readline()
        reader = csv.reader(lines(), delimiter=form.delimiter, strict=True)
        while True:
            number, taken = number + 1, 0
            try:
                record = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                raise Unreadable(
                    _(
                        "Row %(row)d cannot be taken apart: a quotation mark is opened and not closed, or "
                        "there is text after a closing one. Mend it, or save the file from the spreadsheet anew."
                    )
                    % {"row": number}
                ) from error
            cells = _cells(record, number, limits)
            if cells:
                yield RawRow(number, cells)
    finally:
        text.detach()


def _cells(record: list[str], number: int, limits: Limits) -> tuple[Cell, ...]:
    most = limits.text
    cells: list[Cell] = [
        (text.strip() or None) if len(text) <= most else limits.text_of(text) for text in record
    ]
    while cells and cells[-1] is None:
        cells.pop()
    if len(cells) > limits.columns:
        limits.check_column(len(cells) - 1, number)
    return tuple(cells)


def _text(file: BinaryIO, encoding: str) -> io.TextIOWrapper:
    file.seek(0)
    return io.TextIOWrapper(file, encoding, newline="")


def _encoding(file: BinaryIO) -> str:
    file.seek(0)
    head = file.read(_CHUNK)
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return _checked(file, encoding)
    if b"\0" in head:
        # Text of mostly Latin letters has its zeros in every other byte.
        even, odd = head[0::2].count(0), head[1::2].count(0)
        return _checked(file, "utf-16-le" if odd > even else "utf-16-be")
    return "utf-8" if _decodes(file, "utf-8") else _checked(file, "cp1252")


def _checked(file: BinaryIO, encoding: str) -> str:
    if not _decodes(file, encoding):
        said = _(
            "This isn't text that a spreadsheet saved: some of its characters cannot be read. "
            "Save the sheet as CSV in UTF-8, or as XLSX."
        )
        raise Unreadable(said)
    return encoding


def _decodes(file: BinaryIO, encoding: str) -> bool:
    decoder = codecs.getincrementaldecoder(encoding)()
    file.seek(0)
    try:
        while chunk := file.read(_CHUNK):
            if "\0" in decoder.decode(chunk):
                return False
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _delimiter(text: io.TextIOWrapper) -> str:
    """What parts the most rows into equally many columns."""
    lines = [line for line in (text.readline(_CHUNK) for _n in range(_LOOKED_AT)) if line]

    def evenness(delimiter: str) -> int:
        try:
            widths = Counter(len(record) for record in csv.reader(lines, delimiter=delimiter))
        except csv.Error:
            return 0
        return max((rows for width, rows in widths.items() if width > 1), default=0)

    # max keeps the first of equals: decimal commas can part rows as evenly as the semicolons beside them
    return max(DELIMITERS, key=evenness)
