"""Columns picked from a sheet by their headings; whatever cannot be read in them is told all at once."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from difflib import get_close_matches
from math import nan

from calibration.studies.sheet import Sheet, Unusable, shortened, shown

_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,4})?")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
LARGEST, SMALLEST = 1e30, 1e-30  # several powers of their squares can still be reckoned with


def number(typed: str, decimal_comma: bool = True) -> float:
    """ValueError says in a few words what was expected of what is typed."""
    plain = typed.strip().replace("\N{MINUS SIGN}", "-")
    if decimal_comma and plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    if not _NUMBER.fullmatch(plain):
        said = f'expected a number, not "{shown(typed)}"'
        if "," in plain and _NUMBER.fullmatch(plain.replace(",", ".", 1)):
            said += ": where commas part the columns, decimals take a point"
        raise ValueError(said)
    value = float(plain)
    if value != 0 and not SMALLEST <= abs(value) <= LARGEST:
        raise ValueError(f'"{shown(typed)}" is too {"large" if abs(value) > 1 else "small"} to reckon with')
    return value


class Columns:
    """Use what it gives only after `picked` has ended: until then an unreadable cell is a placeholder."""

    def __init__(self, sheet: Sheet) -> None:
        self._sheet = sheet
        self._missing: dict[str, str] = {}
        self._cells: dict[tuple[int, int], str] = {}

    @property
    def rows(self) -> int:
        return len(self._sheet.rows)

    def names(self, listed: str) -> list[str]:
        """The names in a list with commas, unless all of it is one heading."""
        return [listed] if listed in self._sheet.headings else [one.strip() for one in listed.split(",")]

    def has(self, name: str) -> bool:
        return name in self._sheet.headings

    def labels(self, name: str) -> list[str]:
        place, cells = self._column(name)
        for row, cell in enumerate(cells):
            if not cell:
                self._refuse(row, place, " is empty")
        return cells

    def numbers(self, name: str) -> list[float]:
        return [nan if one is None else one for one in self._numbers(name, gaps=False)]

    def numbers_with_gaps(self, name: str) -> list[float | None]:
        """None where a cell is empty."""
        return self._numbers(name, gaps=True)

    def numbers_or_labels(self, name: str) -> list[float] | list[str]:
        """Numbers where most cells are numbers; then the others cannot be read."""
        _place, cells = self._column(name)
        numeric = sum(self._is_number(cell) for cell in cells)
        return self.numbers(name) if cells and 2 * numeric > len(cells) else self.labels(name)

    def faults(self) -> list[str]:
        cells = [said for _place, said in sorted(self._cells.items())]
        return [*self._missing.values(), *shortened(cells)]

    def _column(self, name: str) -> tuple[int, list[str]]:
        headings = self._sheet.headings
        if headings.count(name) != 1:
            self._missing[name] = _missing(name, headings)
            return 0, []
        place = headings.index(name)
        return place, [row[place] for row in self._sheet.rows]

    def _numbers(self, name: str, gaps: bool) -> list[float | None]:
        place, cells = self._column(name)
        comma = self._sheet.decimal_comma
        both_marks = comma and any("." in cell for cell in cells) and any("," in cell for cell in cells)
        found: list[float | None] = []
        for row, cell in enumerate(cells):
            value = None
            if not cell:
                if not gaps:
                    self._refuse(row, place, " is empty")
            elif both_marks and _THOUSANDS.fullmatch(cell):
                self._refuse(row, place, f": {shown(cell)} can be read in two ways among these numbers")
            else:
                try:
                    value = number(cell, comma)
                except ValueError as error:
                    self._refuse(row, place, f": {error}")
            found.append(value)
        return found

    def _is_number(self, cell: str) -> bool:
        try:
            number(cell, self._sheet.decimal_comma)
        except ValueError:
            return False
        return True

    def _refuse(self, row: int, place: int, why: str) -> None:
        at = f"Row {self._sheet.numbers[row]}, column {shown(self._sheet.headings[place])}"
        self._cells.setdefault((row, place), f"{at}{why}.")


@contextmanager
def picked(sheet: Sheet, least: int, study: str) -> Iterator[Columns]:
    """Columns for one ``study``; at the end all that is missing or unreadable is refused, and fewer than ``least``
    rows are."""
    columns = Columns(sheet)
    yield columns
    if faults := columns.faults():
        raise Unusable(*faults)
    enough(columns.rows, least, study)


def enough(rows: int, least: int, study: str) -> None:
    if rows < least:
        there = "there is 1" if rows == 1 else f"there are {rows}"
        raise Unusable(f"{study} needs {least} rows or more, and {there}.")


def _missing(name: str, headings: Sequence[str]) -> str:
    if name in headings:
        return f"There are {headings.count(name)} columns named {shown(name)}: give each a name of its own."
    if not name:
        return "A column name is missing between two commas."
    by_lower = {heading.lower(): heading for heading in headings if heading}
    near = get_close_matches(name.lower(), by_lower, n=1)
    known = ", ".join(shown(heading) for heading in headings if heading)
    if near:
        return f"There is no column {shown(name)}. Did you mean {shown(by_lower[near[0]])}?"
    return f"There is no column {shown(name)}. The columns are {known}."
