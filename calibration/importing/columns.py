"""Which row has the headings, and which column is what: guessed from names and cells, each guess with its reason.

Nothing is brought in on a guess: a person sees all of them, and changes what is wrong.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import pairwise

from brewbar.units import trimmed
from brewbar.words import gettext as _
from calibration.importing.fields import FIELDS, NUMBERS, Field, Holds, Kind
from calibration.importing.headings import (
    ANY,
    BRIX,
    LEFT_ALONE,
    TOTALS,
    Heading,
    known_names,
    plain,
    taken_apart,
)
from calibration.importing.looks import Looks, looks_of
from calibration.importing.mapping import UNITS_OF, Chosen, Mapping
from calibration.importing.raw import Cell, RawRow, Trouble
from calibration.importing.reading import Sheet

_LOOKED_AT = 300
_HEAD_WITHIN = 40
_SURE_ENOUGH = 0.4
_FROM_CELLS_ALONE = (Holds.DAY, Holds.MOMENT, Holds.TIME, Holds.DURATION, *NUMBERS)


@dataclass(frozen=True, slots=True)
class Guess:
    """Of one column. heading: as it stands there; field: the key of what it seems to be, empty if nothing;
    sure: from 0 to 1; why: the reason, a sentence."""

    place: int
    heading: str
    field: str
    sure: float
    why: str


@dataclass(frozen=True, slots=True)
class Guessed:
    """guesses: of every column; mapping: what follows from them, to be changed by a person."""

    guesses: tuple[Guess, ...]
    mapping: Mapping


def guess(sheet: Sheet, kind: Kind, head_row: int | None = None) -> Guessed:
    """head_row: what a person says of it, 0 for none; None to look for it."""
    rows = sheet.first(_LOOKED_AT)
    names = known_names(kind)
    head = find_head(rows, kind) if head_row is None else head_row
    headings = next((row.cells for row in rows if row.number == head), ())
    columns = [
        _Column(place, _text(headings, place), looks_of(_cells(rows, head, place)))
        for place in range(sheet.width)
    ]
    guesses = _assigned(columns, kind, names)
    chosen = tuple(
        Chosen(one.place, one.field, _unit(FIELDS[kind][one.field], columns[one.place]))
        for one in guesses
        if one.field
    )
    return Guessed(guesses, Mapping(kind, chosen, head))


def find_head(rows: list[RawRow], kind: Kind) -> int:
    """The number of the row that has the most names of columns in it, two at least; 0 if none has."""
    names = known_names(kind)
    best, most = 0, 1
    for row in rows[:_HEAD_WITHIN]:
        texts = [taken_apart(cell) for cell in row.cells if isinstance(cell, str) and len(cell) < 60]
        named = sum(heading.name in names for heading in texts)
        if named > most:
            best, most = row.number, named
    return best or _head_by_shape(rows[:_HEAD_WITHIN])


def _head_by_shape(rows: list[RawRow]) -> int:
    """A row of texts alone above rows that have other things: headings in a language we don't know."""
    for row, below in pairwise(rows):
        filled = [cell for cell in row.cells if cell is not None]
        all_words = len(filled) > 1 and len(looks_of(filled).texts) == len(filled)
        if all_words and len(looks_of(below.cells).texts) < looks_of(below.cells).count - 1:
            return row.number
    return 0


@dataclass(frozen=True, slots=True)
class _Column:
    place: int
    text: str
    looks: Looks

    @property
    def heading(self) -> Heading:
        return taken_apart(self.text)

    @property
    def is_known(self) -> bool:
        return self.heading.name in ANY

    @property
    def is_left_alone(self) -> bool:
        """Such as a ratio, or the mean of drops that stand beside it; degrees Brix are another scale than TDS."""
        name = self.heading.name
        if not BRIX.isdisjoint(plain(self.text).split()):
            return True
        return name in LEFT_ALONE or (bool(set(name.split()) & TOTALS) and not self.is_known)


def _assigned(columns: list[_Column], kind: Kind, names: dict[str, tuple[str, ...]]) -> tuple[Guess, ...]:
    """The surest first; a field goes to one column, unless several can hold it."""
    offers = sorted(
        (offer for column in columns for offer in _offers(column, kind, names)),
        key=lambda offer: (-offer.sure, offer.place),
    )
    taken: dict[int, Guess] = {}
    used: set[str] = set()
    for offer in offers:
        if offer.place in taken or (offer.field in used and not FIELDS[kind][offer.field].many):
            continue
        if offer.sure >= _SURE_ENOUGH and not _says_the_same(offer.field, used):
            taken[offer.place] = offer
            used.add(offer.field)
    return tuple(taken.get(one.place, Guess(one.place, one.text, "", 0.0, _nothing(one))) for one in columns)


def _says_the_same(key: str, used: set[str]) -> bool:
    """A day beside a column that has day and time both."""
    return (key in ("day", "time") and "moment" in used) or (key == "moment" and bool({"day", "time"} & used))


def _offers(column: _Column, kind: Kind, names: dict[str, tuple[str, ...]]) -> Iterator[Guess]:
    if column.is_left_alone:
        return
    by_name = _by_name(column.heading, names)
    for field in FIELDS[kind].values():
        fits = 0.9 if _has_unit_of(field, column) else column.looks.fits(field)
        named, how = by_name.get(field.key, (0.0, ""))
        if named and (fits > 0 or named == 1):
            if fits < 0.3 and column.looks.count:
                how = _("%(why)s Its cells look like something else.") % {"why": how}
            yield Guess(column.place, column.text, field.key, round(named * (0.5 + 0.5 * fits), 2), how)
        elif not by_name and field.holds in _FROM_CELLS_ALONE and fits > 0.5:
            sure = (0.6 if not column.text else 0.45) * fits * (1 if _tells_apart(field) else 0.7)
            yield Guess(column.place, column.text, field.key, round(sure, 2), _by_cells(field, column.looks))


def _has_unit_of(field: Field, column: _Column) -> bool:
    """Numbers under "Time (min)" are no time of day."""
    is_duration = column.heading.unit in UNITS_OF[Holds.DURATION]
    return field.holds is Holds.DURATION and is_duration and not column.looks.texts


def _tells_apart(field: Field) -> bool:
    """Fields whose cells are like those of no other."""
    return field.key in ("day", "moment", "time", "brew_time_s", "tds", "yield_pct", "water_g", "roasted_on")


def _by_name(heading: Heading, names: dict[str, tuple[str, ...]]) -> dict[str, tuple[float, str]]:
    """Key of a field -> how sure its name makes it, and why."""
    if not heading.name:
        return {}
    if heading.name in names:
        why = _("Its heading says so.")
        return dict.fromkeys(names[heading.name], (1.0, why))
    found: dict[str, tuple[float, str]] = {}
    words = set(heading.name.split())
    for name, keys in names.items():
        parts = set(name.split())
        likeness = 0.75 if parts <= words and len(name) > 3 else 0.0
        if not likeness and len(name) > 4 and abs(len(name) - len(heading.name)) < 3:
            near = SequenceMatcher(None, name, heading.name).ratio()
            likeness = near * 0.9 if near >= 0.84 else 0.0
        for key in keys if likeness else ():
            # of two words in a heading the longer says more
            weighed = likeness + 0.01 * min(len(name), 20)
            if weighed > found.get(key, (0.0, ""))[0]:
                found[key] = (weighed, _("Its heading is like %(name)s.") % {"name": name})
    return found


def _by_cells(field: Field, looks: Looks) -> str:
    if field.holds in NUMBERS:
        low, high = looks.ends
        said = _("Its values lie between %(low)s and %(high)s, as is usual for %(field)s.")
        return said % {"low": trimmed(low, 2), "high": trimmed(high, 2), "field": field.says}
    return {
        Holds.DAY: _("Its cells are days."),
        Holds.MOMENT: _("Its cells are days with a time."),
        Holds.TIME: _("Its cells are times of day."),
    }.get(field.holds, _("Its cells look like brew times."))


def _nothing(column: _Column) -> str:
    if not column.looks.count:
        return _("The column is empty.")
    if column.is_left_alone:
        return _("Columns like this are left out: brewbar works them out, or has no use for them.")
    return _("Neither its heading nor its cells tell.")


def _unit(field: Field, column: _Column) -> str:
    """What the heading says, where it fits."""
    unit = column.heading.unit
    return unit if unit in UNITS_OF.get(field.holds, ()) else ""


def _cells(rows: list[RawRow], head: int, place: int) -> list[Cell]:
    return [row.cells[place] for row in rows if row.number > head and place < len(row.cells)]


def _text(cells: tuple[Cell, ...], place: int) -> str:
    cell = cells[place] if place < len(cells) else None
    if isinstance(cell, Trouble):
        cell = cell.value  # one heading over several columns
    return " ".join(cell.split()) if isinstance(cell, str) else "" if cell is None else str(cell)
