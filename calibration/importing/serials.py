"""Dates and times as a workbook keeps them: a number of days, and a format that makes a date of it.

ECMA-376 part 1 (ISO/IEC 29500-1), 18.17.4: in the 1900 date system day 1 is 1 January 1900, and day 60 a 29 February
1900 that never was, so that days count from 30 December 1899 after it and from 31 December 1899 before. In the 1904
date system day 0 is 1 January 1904. 18.8.30 has the formats that have a number, not a text.
"""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from enum import StrEnum

from brewbar.words import gettext as _
from calibration.importing.raw import Cell, Percent, Trouble

FALSE_LEAP_DAY = 60
_LAST_SERIAL = 2_958_465  # 31 December 9999
# of no time zone: a cell's day is the café's own
_EPOCH_1900 = datetime(1899, 12, 30)  # noqa: DTZ001
_EPOCH_1904 = datetime(1904, 1, 1)  # noqa: DTZ001


class Shown(StrEnum):
    """How a format shows a number."""

    NUMBER = "number"
    PERCENT = "percent"
    DAY = "day"
    TIME = "time"
    ELAPSED = "elapsed"


_BUILT_IN = {
    **dict.fromkeys((9, 10), Shown.PERCENT),
    **dict.fromkeys((*range(14, 18), 22, *range(27, 37), *range(50, 59)), Shown.DAY),
    **dict.fromkeys(range(18, 22), Shown.TIME),
    **dict.fromkeys((45, 46, 47), Shown.ELAPSED),
}
_SAID = re.compile(r'"[^"]*"|\\.|_.|\*.|\[(?!h+\]|m+\]|s+\])[^\]]*\]|AM/PM|A/P', re.IGNORECASE)


def built_in(number: int) -> Shown:
    return _BUILT_IN.get(number, Shown.NUMBER)


def shown_by(code: str) -> Shown:
    """What a format's text makes of a number above zero."""
    bare = _SAID.sub("", code).split(";")[0].lower()
    if "general" in bare:
        return Shown.NUMBER
    if "[" in bare:
        return Shown.ELAPSED
    if "y" in bare or "d" in bare or "mmm" in bare:
        return Shown.DAY
    if "h" in bare:
        return Shown.TIME
    if "s" in bare:
        return Shown.ELAPSED
    return Shown.PERCENT if "%" in bare else Shown.NUMBER


def in_words_of(shown: Shown, value: float, from_1904: bool) -> Cell:
    """A number as its format shows it: a day alone is a date, a day with an hour a datetime."""
    if shown is Shown.PERCENT:
        return Percent(float(f"{100 * value:.12g}"))
    if shown is Shown.ELAPSED and 0 <= value < _LAST_SERIAL:
        return timedelta(seconds=round(86_400 * value))
    if 0 <= value < 1 and (shown is Shown.TIME or value > 0):
        return _time(value)
    return moment(value, from_1904)


def moment(value: float, from_1904: bool = False) -> date | datetime | Trouble:
    """The day that is number ``value``, with its hour if it has one."""
    least = 0 if from_1904 else 1
    if not least <= value <= _LAST_SERIAL + 1 - 1e-6:
        said = _("%(value)s is shown as a date, and there is no such day. Write the date anew.")
        return Trouble(said % {"value": f"{value:g}"})
    seconds = round(86_400 * (value % 1))
    day = int(value // 1)
    if day == FALSE_LEAP_DAY and not from_1904:
        return Trouble(_("29 February 1900 is a day that spreadsheets made up. Write the date anew."))
    epoch = _EPOCH_1904 if from_1904 else _EPOCH_1900
    if not from_1904 and day < FALSE_LEAP_DAY:
        epoch += timedelta(days=1)
    found = epoch + timedelta(days=day, seconds=seconds)
    return found.date() if seconds in (0, 86_400) else found


def _time(part_of_day: float) -> time:
    seconds = min(round(86_400 * part_of_day), 86_399)
    return time(seconds // 3600, seconds // 60 % 60, seconds % 60)
