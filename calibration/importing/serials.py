"""Numbers of a workbook as its formats show them. openpyxl makes days of them (ECMA-376 part 1, 18.17.4); this tells a
day from a moment, minutes that run on from an hour of the day, and per cent from shares.
"""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from functools import lru_cache

from openpyxl.styles.numbers import STRIP_RE
from openpyxl.utils.datetime import from_excel

from brewbar.words import gettext as _
from calibration.importing.raw import Cell, Percent, Trouble

_SAID_AS_IT_IS = re.compile(r"\\.|_.|\*.|am/pm|a/p")
_FIRST_DAY = datetime(1900, 1, 1)  # noqa: DTZ001 - a cell's day is the café's own
_HALF = timedelta(milliseconds=500)


def as_shown(value: float | date | time | timedelta, number_format: str) -> Cell:
    """A day alone is a date, a day with an hour a datetime. ValueError: a number that is none."""
    if isinstance(value, int | float):
        return _number(value, number_format)
    shows = _signs(number_format)
    if isinstance(value, timedelta):
        return _no_such_day() if value < timedelta(0) else timedelta(seconds=round(value.total_seconds()))
    if isinstance(value, time):
        if value == time() and shows & set("dy"):
            return _no_such_day()
        whole = _whole(datetime.combine(_FIRST_DAY, value))
        hour = whole.time() if whole.day == 1 else time(23, 59, 59)
        return whole - _FIRST_DAY if shows & set("ms") and not shows & set("dyh") else hour
    return moment(value) if isinstance(value, datetime) else value


def moment(value: float | datetime) -> date | datetime | Trouble:
    """The day, and its hour if it has one; a number is a workbook's count of days since 1900."""
    found = _whole(value if isinstance(value, datetime) else from_excel(value))
    if found < _FIRST_DAY:
        return _no_such_day()
    return found.date() if found.time() == time() else found


def _number(value: float, number_format: str) -> Cell:
    if not -1e300 < value < 1e300:
        raise ValueError("not a finite number")
    if "%" in _signs(number_format):
        return Percent(float(f"{100 * value:.12g}"))
    # Spreadsheets show 15 figures: what is left of 0.1 + 0.2 after them is no one's reading.
    return int(value) if value == int(value) else float(f"{value:.15g}")


@lru_cache(1_000)
def _signs(number_format: str) -> frozenset[str]:
    """Of a number above zero; without what is said as it is, such as "g" or [Red]."""
    return frozenset(_SAID_AS_IT_IS.sub("", STRIP_RE.sub("", number_format.split(";")[0]).lower()))


def _whole(found: datetime) -> datetime:
    return (found + _HALF).replace(microsecond=0)


def _no_such_day() -> Trouble:
    return Trouble(_("This is shown as a date, and there is no such day. Write the date anew."))
