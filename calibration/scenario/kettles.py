"""Where the streams of two invented kettles were seen to break. Nothing here is drawn; it is written.

What is so stands in `SMOOTHNESS`: the N of `recipes.brewing.stream`. The heights are what such a kettle shows, with a
few per cent of the hand that held it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import timedelta

from .calendar import Calendar, instant
from .cast import cafe_of, head_of
from .things import BreakupPoint

SMOOTHNESS: Mapping[str, float] = {"heron": 11.3, "pelican": 8.5}

_AFTER_CLOSING = 19 * 60 + 25
_BETWEEN_POINTS = timedelta(minutes=4)
_CAFE = "netloft"

# kettle, day, in order: flow g/s, temperature °C, height mm, whether it broke, note
_MEASURED: tuple[tuple[str, int, tuple[tuple[float, float, int, bool, str], ...]], ...] = (
    (
        "heron",
        48,
        (
            (2.0, 15.0, 79, True, ""),
            (3.5, 15.0, 135, True, ""),
            (5.0, 15.0, 172, True, "Read twice, the second time 175."),
            (4.0, 93.0, 171, True, "Hot, lid locked, gloves on."),
            (5.0, 92.0, 200, False, "Whole all the way up."),
        ),
    ),
    ("pelican", 62, ((6.0, 16.0, 150, True, "Heavy when half full; the rest another day."),)),
)
_A_SLIP = ("heron", 48, (5.0, 15.0, 72, True, ""))
"""A hundred left out, seen at once, and taken back."""


def breakup_points(calendar: Calendar) -> tuple[BreakupPoint, ...]:
    return tuple(_points(calendar))


def _points(calendar: Calendar) -> Iterator[BreakupPoint]:
    cafe, head = cafe_of(_CAFE), head_of(_CAFE)
    for kettle, day, seen in _MEASURED:
        start = instant(calendar.day(day), _AFTER_CLOSING, cafe)
        for number, one in enumerate(seen):
            at = start + number * _BETWEEN_POINTS
            yield BreakupPoint(f"{kettle}-{number + 1}", kettle, *one, at, head)
    kettle, day, slip = _A_SLIP
    at = instant(calendar.day(day), _AFTER_CLOSING + 7, cafe)
    soon = at + timedelta(seconds=40)
    yield BreakupPoint(f"{kettle}-slip", kettle, *slip, at, head, taken_back_at=soon, taken_back_by=head)
