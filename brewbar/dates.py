"""How days and times are written for people, in the order of the style in force. Pure: no Django.

Times are always of 24 hours. What machines read is ISO 8601, by isoformat().
"""

from __future__ import annotations

from datetime import date, datetime

from brewbar.units import style
from brewbar.words import gettext as _
from brewbar.words import pgettext


def day(when: date, *, weekday: bool = False, year: bool = False, full: bool = False) -> str:
    """25 Nov, Nov 25 or 2026-11-25, which always has its year; ``full`` names weekday and month in full."""
    order = style().date_order
    parts = {"day": str(when.day), "month": _month(when, full), "year": str(when.year)}
    if order == "iso":
        written = when.strftime("%Y-%m-%d")
    elif order == "mdy":
        written = (_("%(month)s %(day)s, %(year)s") if year else _("%(month)s %(day)s")) % parts
    else:
        written = (_("%(day)s %(month)s %(year)s") if year else _("%(day)s %(month)s")) % parts
    if not weekday:
        return written
    said = _("%(weekday)s, %(date)s") if order == "mdy" else _("%(weekday)s %(date)s")
    return said % {"weekday": _weekday(when, full), "date": written}


def time_of_day(at: datetime) -> str:
    """06:45, on the clock of whatever zone ``at`` is in."""
    return f"{at:%H:%M}"


def moment(at: datetime, *, weekday: bool = False, year: bool = False, full: bool = False) -> str:
    """25 Nov, 06:45; ISO 8601 asks for no comma."""
    said = _("%(date)s %(time)s") if style().date_order == "iso" else _("%(date)s, %(time)s")
    return said % {"date": day(at, weekday=weekday, year=year, full=full), "time": time_of_day(at)}


def _weekday(when: date, full: bool) -> str:
    names = (
        (_("Monday"), _("Tuesday"), _("Wednesday"), _("Thursday"), _("Friday"), _("Saturday"), _("Sunday"))
        if full
        else (_("Mon"), _("Tue"), _("Wed"), _("Thu"), _("Fri"), _("Sat"), _("Sun"))
    )
    return names[when.weekday()]


def _month(when: date, full: bool) -> str:
    # The contexts are Django's own: the name of a month inside a date, where languages bend it.
    return _full_months()[when.month - 1] if full else _short_months()[when.month - 1]


def _full_months() -> tuple[str, ...]:
    return (
        pgettext("alt. month", "January"),
        pgettext("alt. month", "February"),
        pgettext("alt. month", "March"),
        pgettext("alt. month", "April"),
        pgettext("alt. month", "May"),
        pgettext("alt. month", "June"),
        pgettext("alt. month", "July"),
        pgettext("alt. month", "August"),
        pgettext("alt. month", "September"),
        pgettext("alt. month", "October"),
        pgettext("alt. month", "November"),
        pgettext("alt. month", "December"),
    )


def _short_months() -> tuple[str, ...]:
    return (
        pgettext("short month", "Jan"),
        pgettext("short month", "Feb"),
        pgettext("short month", "Mar"),
        pgettext("short month", "Apr"),
        pgettext("short month", "May"),
        pgettext("short month", "Jun"),
        pgettext("short month", "Jul"),
        pgettext("short month", "Aug"),
        pgettext("short month", "Sep"),
        pgettext("short month", "Oct"),
        pgettext("short month", "Nov"),
        pgettext("short month", "Dec"),
    )
