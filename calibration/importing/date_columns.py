"""The order of day and month in a column of dates, and whether a spreadsheet turned them about."""

from __future__ import annotations

from datetime import date, datetime

from brewbar.dates import day as day_in_words
from brewbar.words import gettext as _
from calibration.importing import days
from calibration.importing.days import DAY_FIRST, MONTH_FIRST, YEAR_FIRST
from calibration.importing.fields import Field
from calibration.importing.mapping import Chosen
from calibration.importing.raw import Cell
from calibration.importing.watching import MIXED, OPEN, Column, Watcher


def order_names() -> dict[str, str]:
    return {
        DAY_FIRST: _("the day first"),
        MONTH_FIRST: _("the month first"),
        YEAR_FIRST: _("the year first"),
    }


class DateWatcher(Watcher):
    def __init__(self, chosen: Chosen, field: Field, latest: date | None) -> None:
        super().__init__(chosen, field)
        self._latest = latest
        self._only: dict[str, str] = {}
        self._told: set[str] = set()
        """The marks between day and month in cells that can be read in one order alone."""
        self._either: dict[str, tuple[str, dict[str, date]]] = {}
        """By that mark: whoever writes 01.10.2026 and 10/13/2026 in one column copied it together."""
        self._two_figures = ""
        self._typed = ""
        self._typed_late = False

    def look(self, cell: Cell, row: int) -> None:
        if isinstance(cell, date):
            # A spreadsheet that expects the other order makes dates of days up to 12, and leaves the others as text.
            self._typed_late |= cell.day > 12
            if cell.day != cell.month:
                self._typed = self._typed or self.at(row, cell.isoformat()[:10])
        if not isinstance(cell, str):
            return
        text, _hour = days.parted(cell)
        found = days.day_readings(text, self._latest)
        if len(found) == 1:
            self._only.setdefault(next(iter(found)), self.at(row, cell))
            self._told.add(days.mark_of(text))
        elif len(set(found.values())) > 1:
            self._either.setdefault(days.mark_of(text), (self.at(row, cell), found))
        if found and not self._two_figures and days.has_two_figure_year(text):
            self._two_figures = self.at(row, cell)

    def column(self) -> Column:
        if self._two_figures:
            said = _("Two figures for a year mean this century: %(cell)s.")
            self.decide("date_order", "", said % {"cell": self._two_figures})
        return Column(
            self.chosen.place, self.field, order=self._order(), turned=self.chosen.turned or self._turned()
        )

    def _order(self) -> str:
        if self.chosen.date_order:
            return self.chosen.date_order
        names = order_names()
        if len(self._only) > 1:
            cells = ", ".join(f"{where}: {names[order]}" for order, where in sorted(self._only.items()))
            said = _(
                "Two orders of dates are mixed (%(cells)s). Dates that can be read in both are not brought in."
            )
            return self.decide("date_order", MIXED, said % {"cells": cells})
        if self._only:
            order, where = next(iter(self._only.items()))
            if untold := [either for mark, either in self._either.items() if mark not in self._told]:
                cell, found = untold[0]
                said = _(
                    "%(only)s has %(order)s, and %(cell)s is written otherwise and can be read both ways. "
                    "Which comes first there?"
                )
                given = {"only": where, "order": names[order], "cell": cell}
                return self.ask("date_order", said % given, *_choices(found))
            said = _("Dates have %(order)s: %(cell)s can be read in no other way.")
            return self.decide("date_order", order, said % {"order": names[order], "cell": where})
        if not self._either:
            return ""
        where, found = next(iter(self._either.values()))
        said = _("No date in this column tells the day from the month. Which comes first in %(cell)s?")
        return self.ask("date_order", said % {"cell": where}, *_choices(found))

    def _turned(self) -> str:
        left_as_text = len(self._only) == 1 and YEAR_FIRST not in self._only
        if not (left_as_text and self._typed) or self._typed_late:
            return "no"
        said = _(
            "Some cells are dates, such as %(date)s, and others text, such as %(text)s. No date has a day after "
            "the 12th: the spreadsheet may have taken days for months. Shall day and month of the dates be turned?"
        )
        text = next(iter(self._only.values()))
        return self.ask(
            "turned",
            said % {"date": self._typed, "text": text},
            ("yes", _("Yes, turn them")),
            ("no", _("No, they are right")),
        )


def _choices(found: dict[str, date]) -> list[tuple[str, str]]:
    names = order_names()
    return [
        (order, f"{names[order]}: {day_in_words(day, year=True, full=True)}") for order, day in found.items()
    ]


def turned(day: date) -> date:
    """Day and month changed about; both are 12 at most."""
    return day.replace(month=day.day, day=day.month)


def is_open(column: Column, cell: date | datetime) -> bool:
    """Whether a date might have been turned, and nobody has said."""
    return column.turned == OPEN and cell.day <= 12 and cell.day != cell.month
