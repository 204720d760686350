"""A day and a time on the café's wall -> the moment, and what has to be told of it when clocks were changed."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _


class NoSuchMoment(ValueError):
    """The clocks skipped it."""


class Clock:
    """The clock on one wall, asked very often."""

    def __init__(self, zone: ZoneInfo) -> None:
        self._zone = zone
        self._days: dict[date, timedelta | None] = {}

    def moment(self, day: date, at: time) -> tuple[datetime, str]:
        """In UTC, and a remark where that hour came twice: then the first is meant. Raises NoSuchMoment."""
        ahead = self._days[day] if day in self._days else self._look_at(day)
        if ahead is None:
            return self._on_a_day_of_change(datetime.combine(day, at))
        return datetime.combine(day, at, UTC) - ahead, ""

    def _look_at(self, day: date) -> timedelta | None:
        """How far ahead of UTC the clock is all that day; None if it is changed."""
        begins = datetime.combine(day, time(), self._zone)
        hours = [begins + timedelta(hours=hour) for hour in range(-1, 26)]
        found = {at.replace(fold=fold).utcoffset() for at in hours for fold in (0, 1)}
        self._days[day] = found.pop() if len(found) == 1 else None
        return self._days[day]

    def _on_a_day_of_change(self, wall: datetime) -> tuple[datetime, str]:
        first = wall.replace(tzinfo=self._zone)
        found = first.astimezone(UTC)
        second = first.replace(fold=1)
        if first.utcoffset() == second.utcoffset():
            return found, ""
        if found.astimezone(self._zone).replace(tzinfo=None) != wall:
            raise NoSuchMoment(
                _("The clocks skip this time as they go forward: that night has no such moment.")
            )
        return found, _("The clocks went back that night, and this hour came twice: the first is taken.")
