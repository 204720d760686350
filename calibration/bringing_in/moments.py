"""A day and a time on the café's wall -> the moment, and what has to be told of it when clocks were changed."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _


class NoSuchMoment(ValueError):
    """The clocks skipped it."""


def moment(day: date, at: time, zone: ZoneInfo) -> tuple[datetime, str]:
    """In UTC, and a remark where that hour came twice: then the first is meant. Raises NoSuchMoment."""
    wall = datetime.combine(day, at)
    first = wall.replace(tzinfo=zone)
    found = first.astimezone(UTC)
    second = first.replace(fold=1)
    if first.utcoffset() == second.utcoffset():
        return found, ""
    if found.astimezone(zone).replace(tzinfo=None) != wall:
        raise NoSuchMoment(_("The clocks skip this time as they go forward: that night has no such moment."))
    return found, _("The clocks went back that night, and this hour came twice: the first is taken.")
