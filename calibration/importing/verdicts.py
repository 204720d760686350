"""Every row of a sheet -> what it holds, and what is wrong with it: where, and how to mend it.

Names that are unknown, rows that were pasted twice and rows that add others up are told here; whether a brew is
possible and probable is judged once, where it is recorded.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from collections.abc import Mapping as Names
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache

from brewbar.words import gettext as _
from calibration.importing.answers import Reader, Value
from calibration.importing.cross_checks import cross_checked
from calibration.importing.fields import DATES, FIELDS, NEEDED, Holds
from calibration.importing.headings import TOTALS, plain
from calibration.importing.mapping import Mapping
from calibration.importing.raw import Cell, RawRow, Trouble, address
from calibration.importing.reading import Sheet
from calibration.importing.said import Said
from calibration.importing.settling import Settled
from calibration.importing.watching import Column


@dataclass(frozen=True, slots=True)
class Row:
    """number: as the spreadsheet shows it; values: by the key of their field, only those that can be used; problems:
    what keeps the row from being brought in; remarks: what doesn't; left_out: why the row isn't one, or nothing."""

    number: int
    values: dict[str, Value]
    problems: tuple[Said, ...] = ()
    remarks: tuple[Said, ...] = ()
    left_out: str = ""

    @property
    def is_good(self) -> bool:
        return not self.problems and not self.left_out


@dataclass
class Verdicts:
    """Rows with their verdicts, as often as they are asked for. known: the names there are, by the key of their field;
    without an entry any name will do."""

    sheet: Sheet
    mapping: Mapping
    settled: Settled
    known: Names[str, Collection[str]] = field(default_factory=dict)
    latest: date | None = None

    def __iter__(self) -> Iterator[Row]:
        judge = _Judge(self)
        for raw in self.sheet.rows():
            if raw.number <= self.mapping.head_row:
                judge.head = raw.cells if raw.number == self.mapping.head_row else ()
            else:
                yield judge.row(raw)


class _Judge:
    def __init__(self, asked: Verdicts) -> None:
        self.head: tuple[Cell, ...] = ()
        self._mapping = mapping = asked.mapping
        self._fields = FIELDS[mapping.kind]
        columns = asked.settled.columns
        self._readers = [_reader(asked, column) for column in columns]
        self._reading = [
            (one.column.place, one.column.field.key, one.remembered, one.read, _is_put_as_it_is(one.column))
            for one in self._readers
        ]
        self._chosen = frozenset(column.place for column in columns)
        self._dates = [one.place for one in columns if one.field.holds in DATES]
        self._names = [one.place for one in columns if one.field.holds in _TELL_WHICH]
        self._first_rows: dict[int, int] = {}
        self._places = {column.field.key: column.place for column in columns[::-1]}
        self._needed = [
            (frozenset(any_of), next(key for key in any_of if key in self._places))
            for any_of in NEEDED[mapping.kind]
            if any(key in self._places for key in any_of)
        ]

    def row(self, raw: RawRow) -> Row:
        if why := self._left_out(raw):
            return Row(raw.number, {}, left_out=why)
        number, cells, _formulas, _hidden = raw
        width = len(cells)
        values: dict[str, Value] = {}
        problems: list[Said] = []
        remarks: list[Said] = []
        answered: set[str] = set()
        for place, key, remembered, read, as_it_is in self._reading:
            cell = cells[place] if place < width else None
            if cell is None:
                continue
            value, problem, remark, offers = remembered(cell) or read(cell)
            if problem:
                problems.append(Said(address(number, place), key, problem, offers))
            elif value is None:
                continue
            elif as_it_is:
                values[key] = value
            else:
                _put(values, key, value)
            answered.add(key)
            if remark:
                remarks.append(Said(address(number, place), key, remark))
        for any_of, key in self._needed:
            if answered.isdisjoint(any_of):
                says = _("The %(field)s is missing.") % {"field": self._fields[key].says}
                problems.append(self._about(number, key, says))
        found, more = cross_checked(self._mapping.kind, values)
        problems += [self._about(number, *one) for one in found]
        remarks += [self._about(number, *one) for one in more]
        if raw.hidden:
            remarks.append(Said(f"{number}", "", _("This row is hidden in the spreadsheet.")))
        repeats = None if problems else self._repeats(number, values)
        if repeats is not None:
            says = _("This row says the same as row %(row)d. Was it pasted twice?") % {"row": repeats}
            (remarks if self._mapping.keep_repeats else problems).append(Said(f"{number}", "", says))
        return Row(number, values, tuple(problems), tuple(remarks))

    def _left_out(self, raw: RawRow) -> str:
        cells = raw.cells
        if raw.hidden and self._mapping.leave_out_hidden:
            return _("This row is hidden in the spreadsheet.")
        if any(isinstance(cells[place], date) for place in self._dates if place < len(cells)):
            return ""
        if cells == self.head:
            return _("This row has the headings once more.")
        if not self._says_something(cells, self._chosen):
            return _("This row has nothing in the columns that were chosen.")
        first = next(place for place, cell in enumerate(cells) if cell is not None)
        if self._says_something(cells, [place for place in self._dates if place != first]):
            return ""
        label = cells[first]
        # Sums under a table often have no word beside them, and nothing that tells when, who or what.
        unnamed = raw.formulas and not self._says_something(cells, self._names)
        if unnamed or (isinstance(label, str) and _begins_a_total(label)):
            return _("This row adds up those above it.")
        return ""

    @staticmethod
    def _says_something(cells: tuple[Cell, ...], places: Collection[int]) -> bool:
        for place in places:
            cell = cells[place] if place < len(cells) else None
            if cell is not None and not (isinstance(cell, Trouble) and cell.covers and cell.value is None):
                return True
        return False

    def _about(self, number: int, key: str, says: str) -> Said:
        place = self._places.get(key)
        return Said(f"{number}" if place is None else address(number, place), key, says)

    def _repeats(self, number: int, values: dict[str, Value]) -> int | None:
        """The first row that says the same; a hash of each is kept, so that memory hardly grows."""
        if len(values) < 3:
            return None
        first = self._first_rows.setdefault(hash(tuple(values.items())), number)
        return None if first == number else first


@lru_cache(maxsize=10_000)
def _begins_a_total(label: str) -> bool:
    return not TOTALS.isdisjoint(plain(label).split()[:1])


_TELL_WHICH = (Holds.NAME, Holds.DAY, Holds.MOMENT, Holds.TIME)


def _reader(asked: Verdicts, column: Column) -> Reader:
    known = asked.known.get(column.field.key)
    names = None if known is None or column.field.holds is not Holds.NAME else tuple(known)
    return Reader(column, asked.latest, names, asked.mapping.fill_merged)


def _is_put_as_it_is(column: Column) -> bool:
    return not column.field.many and column.field.holds not in DATES


def _put(values: dict[str, Value], key: str, value: Value) -> None:
    """Drops of several columns come together, and a moment falls into its day and its time."""
    if isinstance(value, tuple):
        before = values.get(key, ())
        values[key] = (*before, *value) if isinstance(before, tuple) else value
    elif not isinstance(value, datetime):
        values["day" if key == "moment" else key] = value
    elif key not in ("moment", "day"):
        values[key] = value.date()
    elif value.tzinfo is not None:
        values["moment"] = value
    else:
        values["day"] = value.date()
        values.setdefault("time", value.time())
