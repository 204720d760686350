"""What only a whole column can tell: its decimal mark, its order of day and month, the unit that nobody wrote.

Whatever decides is named with the cell that decided it. Where nothing does a question is asked, and until it is
answered the cells that depend on it have no value.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from calibration.importing.date_columns import DateWatcher
from calibration.importing.fields import DATES, NUMBERS, Field, Holds
from calibration.importing.mapping import Chosen, Mapping
from calibration.importing.number_columns import DurationWatcher, NumberWatcher
from calibration.importing.reading import Sheet
from calibration.importing.watching import Column, Decision, Question, Watcher


@dataclass(frozen=True, slots=True)
class Settled:
    """columns: as many as were chosen, in their order; questions: to be answered in the mapping."""

    columns: tuple[Column, ...]
    decisions: tuple[Decision, ...]
    questions: tuple[Question, ...]


def settle(sheet: Sheet, mapping: Mapping, latest: date | None = None) -> Settled:
    """Reads the sheet through once. latest: no day can be after it, such as today."""
    watchers = [_watcher(one, mapping.field_of(one), latest) for one in mapping.columns]
    looking = [(one.chosen.place, one.see) for one in watchers if type(one) is not Watcher]
    for row in sheet.rows():
        if row.number > mapping.head_row:
            cells = row.cells
            for place, see in looking:
                if place < len(cells) and cells[place] is not None:
                    see(cells[place], row.number)
    columns = tuple(one.column() for one in watchers)
    said = [one for watcher in watchers for one in watcher.said]
    return Settled(
        columns,
        tuple(one for one in said if isinstance(one, Decision)),
        tuple(one for one in said if isinstance(one, Question)),
    )


def _watcher(chosen: Chosen, field: Field, latest: date | None) -> Watcher:
    if field.holds in NUMBERS:
        return NumberWatcher(chosen, field)
    if field.holds in DATES:
        return DateWatcher(chosen, field, latest)
    return DurationWatcher(chosen, field) if field.holds is Holds.DURATION else Watcher(chosen, field)
