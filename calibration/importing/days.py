"""Dates and times of day as people write them, in every order they can be read in.

A year of four figures that stands first is ISO 8601 and has one reading. Two figures for a year mean this century. No
time zone is ever guessed: only what the cell itself says is kept.
"""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta

from brewbar.words import gettext as _
from calibration.importing.headings import plain
from calibration.importing.raw import Cell, Percent, Trouble
from calibration.importing.serials import moment as from_serial

DAY_FIRST, MONTH_FIRST, YEAR_FIRST = "dmy", "mdy", "ymd"

_NUMERIC = re.compile(r"(\d{1,4})\s?([./\-\s])\s?(\d{1,2})\s?[./\-\s]\s?(\d{1,4})\.?")
_COMPACT = re.compile(r"(20\d\d)(\d\d)(\d\d)")
_DAY_NAMED = re.compile(
    r"(\d{1,2})(?:st|nd|rd|th|er|o|º|ª)?[.\s\-/]*(?:de |d )?([^\W\d]{3,12})\.?[,\s\-/]*(?:de )?(\d{2}|\d{4})"
)
_MONTH_NAMED = re.compile(r"([^\W\d]{3,12})\.?[\s\-/]*(\d{1,2})(?:st|nd|rd|th)?[,\s\-/]+(\d{2}|\d{4})")
_WEEKDAY = re.compile(r"^[^\W\d]{2,12}[.,]*\s+(?=\d)")
_WITH_TIME = re.compile(
    r"(.*?\d)(?:[T,\s]+|\s+(?:at|um|à|alle|a las|às)\s+)(\d{1,2}[:h.]\d{2}.*|\d{1,2}\s*[ap]\.?m\.?)", re.I
)
_TIME = re.compile(
    r"(\d{1,2})(?:(?:[:.]|\s?h\s?)(\d{2})(?::(\d{2})(?:[.,]\d+)?)?)?\s*(?:(uhr|h)|([ap])\.?\s?m\.?)?",
    re.IGNORECASE,
)
_ZONE = re.compile(r"(Z|[+-]\d{2}:?\d{2})$")
_SERIAL = (36_526, 73_050)  # 1 January 2000 to 31 December 2099

_MONTHS = (
    "january jan januar janner jaenner janvier janv gennaio gen enero ene janeiro",
    "february feb februar fevrier fevr febbraio febrero fevereiro fev",
    "march mar marz maerz mrz mars marzo marco",
    "april apr avril avr aprile abril abr",
    "may mai maggio mag mayo maio",
    "june jun juni juin giugno giu junio junho",
    "july jul juli juillet juil luglio lug julio julho",
    "august aug aout agosto ago",
    "september sep sept septembre settembre set septiembre setembro",
    "october oct oktober okt octobre ottobre ott octubre outubro out",
    "november nov novembre noviembre novembro",
    "december dec dezember dez decembre dicembre dic diciembre dezembro",
)
_MONTH_OF = {name: number for number, names in enumerate(_MONTHS, start=1) for name in names.split()}


def day_readings(text: str, latest: date | None = None) -> dict[str, date]:
    """Order -> the day, for each order in which the text is a day; the same day under several where the order
    doesn't matter. latest: no day can be after it."""
    bare = _WEEKDAY.sub("", text.strip())
    if match := _COMPACT.fullmatch(bare):
        return _same(_date(int(match[1]), int(match[2]), int(match[3])))
    if match := _NUMERIC.fullmatch(bare):
        return _of_figures(match[1], match[3], match[4], latest)
    if match := _DAY_NAMED.fullmatch(bare):
        return _same(_named(match[3], match[2], match[1]))
    if match := _MONTH_NAMED.fullmatch(text.strip()):
        return _same(_named(match[3], match[1], match[2]))
    return {}


def _of_figures(first: str, second: str, third: str, latest: date | None) -> dict[str, date]:
    if len(first) == 4:
        return _same(_date(int(first), int(second), int(third)) if len(third) <= 2 else None)
    if len(first) > 2 or len(third) not in (2, 4):
        return {}
    year = _year(third)
    found = {
        DAY_FIRST: _date(year, int(second), int(first)),
        MONTH_FIRST: _date(year, int(first), int(second)),
    }
    valid = {order: day for order, day in found.items() if day is not None}
    if len(third) == 2 and len(first) == 2 and all(latest and day > latest for day in valid.values()):
        # Two figures for a year are seldom put first: only where nothing else is possible.
        turned = _date(_year(first), int(second), int(third))
        if turned is not None and (latest is None or turned <= latest):
            return {YEAR_FIRST: turned}
    return valid


def _same(day: date | None) -> dict[str, date]:
    return {} if day is None else dict.fromkeys((DAY_FIRST, MONTH_FIRST, YEAR_FIRST), day)


def _named(year: str, month: str, day: str) -> date | None:
    number = _MONTH_OF.get(plain(month))
    return None if number is None else _date(_year(year), number, int(day))


def _year(figures: str) -> int:
    return 2000 + int(figures) if len(figures) == 2 else int(figures)


def _date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def mark_of(text: str) -> str:
    """What stands between the figures of a day, such as "/"; "" where it is not written so."""
    match = _NUMERIC.fullmatch(_WEEKDAY.sub("", text.strip()))
    return match[2] if match else ""


def parted(text: str) -> tuple[str, str]:
    """The day of a moment, and its time, which may be missing."""
    if match := _WITH_TIME.fullmatch(text.strip()):
        return match[1], match[2]
    return text, ""


def has_two_figure_year(text: str) -> bool:
    return bool(re.search(r"(?<!\d)\d{2}\s*$", text)) and not re.match(r"\s*\d{4}", text)


def time_of_day(cell: Cell) -> time:
    """ValueError says what is expected."""
    if isinstance(cell, datetime):
        return cell.time()
    if isinstance(cell, time):
        return cell
    if isinstance(cell, timedelta) and timedelta(0) <= cell < timedelta(days=1):
        return (datetime.combine(date.min, time()) + cell).time()
    if isinstance(cell, float) and 0 < cell < 1:
        found = from_serial(1 + cell)
        if isinstance(found, datetime):
            return found.time()
    if (
        isinstance(cell, str)
        and (match := _TIME.fullmatch(cell.strip()))
        and (match[2] or match[4] or match[5])
    ):
        hour, half = int(match[1]), (match[5] or "").casefold()
        if half and not 1 <= hour <= 12:
            hour = 99
        hour = hour % 12 + (12 if half == "p" else 0) if half and hour <= 12 else hour
        minute, second = int(match[2] or 0), int(match[3] or 0)
        if hour < 24 and minute < 60 and second < 60:
            return time(hour, minute, second)
    raise ValueError(_("This isn't a time of day. Write it as hours:minutes, such as 14:05."))


def zoned(text: str) -> datetime | None:
    """A moment that names its own offset from UTC, as ISO 8601 writes it."""
    if not _ZONE.search(text.strip()):
        return None
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    return found if found.tzinfo is not None else None


def day_of_number(cell: Cell) -> date | datetime | None:
    """A number that can only be a spreadsheet's count of days, also where a CSV has it as text."""
    if isinstance(cell, str) and re.fullmatch(r"\d{5}([.,]\d+)?", cell.strip()):
        cell = float(cell.strip().replace(",", "."))
    if isinstance(cell, bool | Percent) or not isinstance(cell, int | float):
        return None
    if not _SERIAL[0] <= cell < _SERIAL[1]:
        return None
    found = from_serial(cell)
    return None if isinstance(found, Trouble) else found
