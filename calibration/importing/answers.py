"""A cell of a column that is settled -> its value, or what is wrong with it in words."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from difflib import get_close_matches
from typing import NamedTuple

from brewbar.glyphs import unprintable
from brewbar.units import rounded, trimmed
from brewbar.words import gettext as _
from calibration.importing import days
from calibration.importing.cells import Figure, duration_s, figure_of, in_unit
from calibration.importing.date_columns import is_open, order_names, turned
from calibration.importing.fields import Field, Holds
from calibration.importing.headings import plain
from calibration.importing.number_columns import is_possible, pieces
from calibration.importing.raw import Cell, Percent, Trouble
from calibration.importing.watching import MIXED, OPEN, Column

Value = str | int | Decimal | date | time | datetime | tuple[Decimal, ...]

_REMEMBERED = 50_000
_YEARS = range(1970, 2100)
_NOTHING = frozenset({"-", "'-", "–", "—", "n/a", "na", "n.a.", "k.a.", "?", "/"})
"""With an apostrophe as well: so they stand in a file of what was left out, where no cell may be a formula."""


class Answer(NamedTuple):
    """value: None where the cell has none; problem: why it cannot be used; offers: what was perhaps meant."""

    value: Value | None = None
    problem: str = ""
    remark: str = ""
    offers: tuple[str, ...] = ()


Read = Callable[[Cell], Answer]
EMPTY = Answer()


class Reader:
    """Reads each different cell of a column once. known: the names there are, None where any will do."""

    def __init__(
        self, column: Column, latest: date | None, known: tuple[str, ...] | None, fill_merged: bool
    ) -> None:
        self.column = column
        self._read = _reader_of(column, latest, known)
        self._fill_merged = fill_merged
        self._remembered: dict[Cell, Answer] = {}
        self.remembered = self._remembered.get
        """The answer to a cell that was read before."""

    def read(self, cell: Cell) -> Answer:
        if len(self._remembered) >= _REMEMBERED:
            self._remembered.clear()
        found = self._remembered[cell] = self._once(cell)
        return found

    def _once(self, cell: Cell) -> Answer:
        if cell is None or (isinstance(cell, str) and cell.casefold() in _NOTHING):
            return EMPTY
        if not isinstance(cell, Trouble):
            return _tried(self._read, cell)
        if cell.covers and cell.value is None:
            return EMPTY
        if cell.covers and self._fill_merged:
            remark = _("The value is that of the merged cells %(range)s.") % {"range": cell.covers}
            return _tried(self._read, cell.value)._replace(remark=remark)
        return Answer(problem=cell.says)


def _tried(read: Read, cell: Cell) -> Answer:
    try:
        return read(cell)
    except ValueError as error:
        return Answer(problem=str(error))


def _reader_of(column: Column, latest: date | None, known: tuple[str, ...] | None) -> Read:
    match column.field.holds:
        case Holds.DAY | Holds.MOMENT:
            return lambda cell: _in_our_time(_moment(cell, column, latest))
        case Holds.TIME:
            return lambda cell: Answer(days.time_of_day(cell))
        case Holds.DURATION:
            return lambda cell: _duration(cell, column)
        case Holds.NAME | Holds.TEXT:
            names = None if known is None else Names(column.field, known)
            return lambda cell: _text(cell, column.field, names)
        case Holds.CHOICE:
            words = {plain(word): key for key, said in column.field.choices for word in (key, *said)}
            return lambda cell: _choice(cell, column.field, words)
        case _ if column.field.many:
            return lambda cell: _several(cell, column)
        case _:
            return lambda cell: _one(cell, column)


# --- numbers


def _one(cell: Cell, column: Column) -> Answer:
    found = figure_of(cell)
    if found is None:
        raise ValueError(_no_number())
    value, remark = _number(found, column)
    return Answer(value, remark=remark)


def _several(cell: Cell, column: Column) -> Answer:
    values, remark = [], ""
    for found in pieces(cell, column.field):
        if found is None:
            raise ValueError(_no_number())
        value, said = _number(found, column)
        values.append(value)
        remark = remark or said
    return Answer(tuple(values), remark=remark)


def _no_number() -> str:
    return _("This isn't a number. Write it as 1.40 or 1,40.")


def _number(found: Figure, column: Column) -> tuple[Decimal, str]:
    field = column.field
    unit = found.unit or column.unit
    if found.unit == "%" and column.unit == "fraction":
        unit = "%"
    if unit == OPEN:
        raise ValueError(_("Nobody has said which unit this column has."))
    if unit == "oz" and column.unit != "oz" and field.key != "dose_g":
        said = _("An oz can be a weight or a volume. Choose the unit of the column, or write grams.")
        raise ValueError(said)
    value, remark = _read_by_mark(found, unit, column)
    converted, of_unit = in_unit(value, unit, field.holds)
    remark = remark or of_unit
    low, high = field.possible
    if not low <= converted <= high:
        said = _("%(value)s is not possible for the %(field)s: it lies between %(low)s and %(high)s.")
        words = {"value": trimmed(converted, 4), "low": trimmed(low, 0), "high": trimmed(high, 0)}
        raise ValueError(said % (words | {"field": field.says}))
    kept = rounded(converted, field.decimals)
    if kept != converted and not remark and unit in ("", "g", "%", "C", "g/l"):
        said = _("%(value)s is kept as %(kept)s.")
        remark = said % {"value": trimmed(converted, 4), "kept": trimmed(kept, field.decimals)}
    return kept, remark


def _read_by_mark(found: Figure, unit: str, column: Column) -> tuple[Decimal, str]:
    if found.only is not None:
        return found.only, ""
    assert found.by_point is not None
    assert found.by_comma is not None
    if column.mark in (".", ","):
        return (found.by_point if column.mark == "." else found.by_comma), ""
    both = (found.by_point, found.by_comma)
    fitting = [one for one in both if is_possible(one, unit, column.field)]
    if column.mark == OPEN or len(fitting) != 1:
        said = _("This can be %(point)s or %(comma)s. Write it without a mark for thousands.")
        raise ValueError(said % {"point": f"{found.by_point:f}", "comma": f"{found.by_comma:f}"})
    other = both[1] if fitting[0] == both[0] else both[0]
    said = _("This is read as %(value)s, since %(other)s is not possible.")
    return fitting[0], said % {"value": f"{fitting[0]:f}", "other": f"{other:f}"}


def _duration(cell: Cell, column: Column) -> Answer:
    comma = {",": True, ".": False}.get(column.mark)
    seconds, remark = duration_s(cell, column.unit, comma)
    low, high = column.field.possible
    if not low <= seconds <= high:
        raise ValueError(_("A brew time lies between 0:10 and 60:00."))
    return Answer(seconds, remark=remark)


# --- days and times


def _in_our_time(answer: Answer) -> Answer:
    """A slip of the year is none that a clock knows everywhere."""
    if isinstance(answer.value, date) and answer.value.year not in _YEARS:
        said = _("%(day)s cannot be meant: look at its year.")
        raise ValueError(said % {"day": answer.value.isoformat()[:10]})
    return answer


def _moment(cell: Cell, column: Column, latest: date | None) -> Answer:
    """A date, or a datetime where the cell has a time as well; with an offset only if the cell says one."""
    if isinstance(cell, date):
        return _typed(cell, column)
    if (counted := days.day_of_number(cell)) is not None:
        said = _("The number %(number)s is read as the day %(day)s.")
        return Answer(counted, remark=said % {"number": cell, "day": counted.isoformat()[:10]})
    if not isinstance(cell, str):
        raise ValueError(_no_day())
    if (aware := days.zoned(cell)) is not None:
        return Answer(aware)
    text, hour = days.parted(cell)
    found = days.day_readings(text, latest)
    if not found:
        raise ValueError(_no_day())
    day = _in_order(found, column)
    return Answer(datetime.combine(day, days.time_of_day(hour)) if hour else day)


def _in_order(found: dict[str, date], column: Column) -> date:
    different = set(found.values())
    if column.order in found:
        return found[column.order]
    if len(different) > 1:
        said = _("This can be %(first)s or %(second)s. Write the one that is meant.")
        first, second = (day.isoformat() for day in sorted(different)[:2])
        raise ValueError(said % {"first": first, "second": second})
    order = next(iter(found))
    if column.order not in ("", MIXED, OPEN) and len(found) == 1:
        names = order_names()
        said = _("There is no such day with %(order)s, as elsewhere in this column. Write it as %(day)s.")
        raise ValueError(said % {"order": names[column.order], "day": found[order].isoformat()})
    return found[order]


def _typed(cell: date, column: Column) -> Answer:
    if is_open(column, cell):
        said = _("This can be %(first)s or %(second)s: the spreadsheet may have turned day and month about.")
        words = {"first": cell.isoformat()[:10], "second": turned(cell).isoformat()[:10]}
        return Answer(problem=said % words)
    if column.turned == "yes" and cell.day <= 12:
        return Answer(turned(cell))
    return Answer(cell)


def _no_day() -> str:
    return _("This isn't a day. Write it as year-month-day, such as 2026-03-09.")


# --- words


class Names:
    """Finds a name however it is written: in capitals, without its accents."""

    def __init__(self, field: Field, known: tuple[str, ...]) -> None:
        self._field = field
        self._known: dict[str, list[str]] = {}
        for name in known:
            self._known.setdefault(plain(name), []).append(name)

    def find(self, typed: str) -> Answer:
        found = self._known.get(plain(typed), [])
        if len(found) == 1 or typed in found:
            return Answer(typed if typed in found else found[0])
        offers = tuple(found) or self._near(plain(typed))
        said = _("%(typed)s isn't known as a %(field)s.") % {"typed": typed, "field": self._field.says}
        if offers:
            said = _("%(said)s Is it %(offers)s?") % {"said": said, "offers": _(" or ").join(offers)}
        return Answer(problem=said, offers=offers)

    def _near(self, typed: str) -> tuple[str, ...]:
        words = set(typed.split())
        part = [name for name in self._known if words and words <= set(name.split())]
        near = get_close_matches(typed, self._known, n=3, cutoff=0.7)
        return tuple(one for name in dict.fromkeys([*part[:3], *near]) for one in self._known[name])[:3]


def _text(cell: Cell, field: Field, names: Names | None) -> Answer:
    if isinstance(cell, date | time | timedelta):
        said = _("The spreadsheet made a date or a time of the %(field)s. Write it as text.")
        raise ValueError(said % {"field": field.says})
    text = f"{cell.value:g} %" if isinstance(cell, Percent) else " ".join(str(cell).split())
    if names is not None:
        return names.find(text)
    if len(text) > field.longest:
        said = _("The %(field)s is longer than %(most)d characters. Shorten it.")
        raise ValueError(said % {"field": field.says, "most": field.longest})
    if strange := unprintable(text):
        said = _("These characters cannot be printed: %(characters)s. Leave them out.")
        raise ValueError(said % {"characters": " ".join(strange)})
    return Answer(text)


def _choice(cell: Cell, field: Field, words: dict[str, str]) -> Answer:
    found = words.get(plain(str(cell)))
    if found is None:
        said = _("%(typed)s isn't a %(field)s. Write one of %(choices)s.")
        choices = ", ".join(key for key, _words in field.choices)
        raise ValueError(said % {"typed": str(cell)[:40], "field": field.says, "choices": choices})
    return Answer(found)
