"""A CSV file as a spreadsheet saves it, taken apart into headings and cells.

Rows are numbered as a spreadsheet numbers them: from 1, the headings, comments and empty rows counted.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import StringIO

MOST_BYTES = 200_000_000
MOST_SHOWN = 20
_LONGEST_SHOWN = 40
_DELIMITERS = ("\t", ";", ",")
_QUOTED = re.compile(r'"[^"]*"')
_TOLD = re.compile(r"sep=(.)", re.IGNORECASE)
_NO_TEXT = "The file is a workbook, not text: save the sheet as CSV in UTF-8."


class Unusable(ValueError):
    """faults: what is wrong with a file or with what is asked of it, each in a sentence."""

    def __init__(self, *faults: str) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class Sheet:
    """headings: of the columns; numbers: of the rows, shape (n,); rows: cells of each, stripped, as many as
    headings; decimal_comma: whether a comma in a number is its decimal mark."""

    headings: tuple[str, ...]
    numbers: tuple[int, ...]
    rows: tuple[tuple[str, ...], ...]
    decimal_comma: bool


def read(raw: bytes) -> Sheet:
    """Lines that start with # are comments; columns are parted by comma, semicolon or tab."""
    text = _text(raw)
    lines = _Lines(text)
    first = lines.heading_line()
    if first is None:
        raise Unusable("The file is empty." if not text.strip() else "The file has comments only.")
    delimiter = lines.told or _delimiter(first)
    records = _records(lines, delimiter)
    headings = tuple(next(records)[1])
    while headings and not headings[-1]:
        headings = headings[:-1]
    if not any(headings):
        raise Unusable("The first row has no headings: each column needs a name there.")
    numbers, rows, too_long = [], [], []
    for number, cells in records:
        if not any(cells):
            continue
        if any(cells[len(headings) :]):
            too_long.append(f"Row {number} has {len(cells)} cells, and there are {len(headings)} headings.")
            continue
        numbers.append(number)
        missing = len(headings) - len(cells)
        rows.append((*cells[: len(headings)], *[""] * missing))
    if too_long:
        hint = ["Are those decimal commas? Then part the columns by semicolons."] if delimiter == "," else []
        raise Unusable(*shortened(too_long), *hint)
    if not rows:
        raise Unusable("The file has headings, but no rows of data below them.")
    return Sheet(headings, tuple(numbers), tuple(rows), delimiter != ",")


def shortened(faults: Sequence[str]) -> list[str]:
    """The first of them, and how many more there are."""
    more = len(faults) - MOST_SHOWN
    return [*faults[:MOST_SHOWN], *([f"and {more} more."] if more > 0 else [])]


def shown(cell: str) -> str:
    """As a terminal may show it, whatever somebody wrote into a file."""
    short = cell if len(cell) <= _LONGEST_SHOWN else f"{cell[: _LONGEST_SHOWN - 1]}…"
    return "".join(
        one if one.isprintable() else one.encode("unicode_escape", "backslashreplace").decode("ascii")
        for one in short
    )


def _text(raw: bytes) -> str:
    if len(raw) > MOST_BYTES:
        raise Unusable(f"The file is larger than {MOST_BYTES // 1_000_000} MB.")
    if raw.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise Unusable(_NO_TEXT)
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Unusable("The file is text in UTF-16: save it as CSV in UTF-8.")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Unusable(
            f"The file is not text in UTF-8: byte {error.start + 1} cannot be read. Save it as CSV in UTF-8."
        ) from error


class _Lines:
    """Lines for the csv reader, which asks for more than one where a quoted cell goes on: only a line that begins
    a row can be a comment. row: the number of the row that is being read; told: a delimiter the file names."""

    def __init__(self, text: str) -> None:
        self._lines = StringIO(text, newline="")
        self._again: str | None = None
        self.row, self.begins, self.told = 0, True, ""

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        if self._again is not None:
            line, self._again = self._again, None
            self.begins = False
            return line
        line = next(self._lines)
        if self.begins:
            self.row += 1
            while line.startswith("#"):
                line = next(self._lines)
                self.row += 1
            self.begins = False
        return line

    def heading_line(self) -> str | None:
        """The first line that says anything; it is still to be read."""
        for line in self:
            self.begins = True
            if self.row == 1 and (told := _TOLD.fullmatch(line.strip("\r\n"))):
                self.told = told[1]
            elif line.strip():
                self._again = line
                return line
        return None


def _delimiter(heading_line: str) -> str:
    """What parts the headings most often; a single column has decimal commas if it has commas."""
    bare = _QUOTED.sub("", heading_line)
    often = max(_DELIMITERS, key=bare.count)
    return often if bare.count(often) else ";"


def _records(lines: _Lines, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    while True:
        lines.begins = True
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise Unusable(
                f"Row {lines.row} cannot be taken apart: {error}. Are its quotation marks closed?"
            ) from error
        yield lines.row, [cell.strip() for cell in cells]
