"""What a cell of a spreadsheet can hold, and where it stands."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import NamedTuple

from brewbar.words import gettext as _


@dataclass(frozen=True, slots=True)
class Percent:
    """A number that the spreadsheet shows in per cent; ``value`` is the figure shown: 1.38 for 1.38 %."""

    value: float


@dataclass(frozen=True, slots=True)
class Trouble:
    """A cell whose value cannot be trusted. says: what is wrong and how to mend it, a sentence or two.

    covers: the merged cells that lie over it, such as "B5:B9", and then value: what stands in their first cell.
    """

    says: str
    covers: str = ""
    value: str | int | float | date | time | timedelta | Percent | None = None


Cell = str | int | float | date | datetime | time | timedelta | Percent | Trouble | None
"""timedelta: a cell shown as hours or minutes that run on, such as [h]:mm or mm:ss."""


class RawRow(NamedTuple):
    """number: as the spreadsheet shows it, from 1; cells: from column A to the last that holds something;
    formulas: places of cells whose value a formula gave when the file was last saved; hidden: not shown there."""

    number: int
    cells: tuple[Cell, ...]
    formulas: tuple[int, ...] = ()
    hidden: bool = False


class Unreadable(ValueError):
    """A file that cannot be read at all; the sentence says why, and what would help."""


@dataclass(frozen=True, slots=True)
class Limits:
    """bytes: of the file; unpacked: of a workbook's parts, once unpacked; text: characters in one cell."""

    bytes: int = 50_000_000
    unpacked: int = 1_000_000_000
    rows: int = 200_000
    columns: int = 200
    text: int = 5_000

    def check_row(self, count: int) -> None:
        if count > self.rows:
            said = _("There are more than %(rows)s rows. Part the file in two and bring them in one by one.")
            raise Unreadable(said % {"rows": f"{self.rows:,}"})

    def check_column(self, place: int, row: int) -> None:
        if place >= self.columns:
            said = _(
                "There is something in %(cell)s, and %(columns)d columns at most are read. "
                "Delete the columns that aren't needed."
            )
            raise Unreadable(said % {"cell": address(row, place), "columns": self.columns})

    def text_of(self, text: str) -> Cell:
        """What people see in a cell of text: nothing, if it is blank."""
        bare = text.strip()
        if len(bare) > self.text:
            said = _("The text is longer than %(most)s characters. Shorten it.")
            return Trouble(said % {"most": f"{self.text:,}"})
        return bare or None


LIMITS = Limits()


def letters(place: int) -> str:
    """The column's letters: 0 is A, 25 Z, 26 AA."""
    found = ""
    while place >= 0:
        place, letter = divmod(place, 26)
        found = chr(65 + letter) + found
        place -= 1
    return found


def address(row: int, place: int) -> str:
    return f"{letters(place)}{row}"
