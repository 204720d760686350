"""What happened to the invented counters: waters, cleanings, a comparison of grinders.

None of the events moved the cup: what did is in the truth alone. Nothing here is drawn; it is written.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from .calendar import Calendar, instant
from .cast import cafe_of, head_of
from .things import BarEvent, BrewWater, GrinderMatch

_BEFORE_OPENING, _AFTER_CLOSING = 5 * 60 + 35, 19 * 60 + 10
_SINCE = -21
"""The day from which each café brews with the water it has now."""

_WATERS = (
    ("netloft-filtered", "netloft", "Tap, filtered", 68, 44, "Soft; the cartridge lasts."),
    ("candle-filtered", "candle", "Tap, filtered", 96, 62, "Hard before the cartridge: 310."),
    ("upper-spring", "upper", "Hut spring", 54, 50, "Snow melt: measured anew every spring."),
    ("upper-mixed", "upper", "Spring and tap, half and half", 112, 98, "Only when the spring runs low."),
)
_IN_USE = ("netloft-filtered", "candle-filtered", "upper-spring")

# day, café, what, which thing of what kind (none: the bar as a whole), note
_EVENTS: tuple[tuple[int, str, str, str, str, str], ...] = (
    (12, "netloft", "cartridge", "", "", "Both taps."),
    (20, "netloft", "cleaned", "grinder", "quern", "Taken apart, brushed, put back on its mark."),
    (25, "candle", "descaled", "kettle", "egret", ""),
    (30, "upper", "descaled", "kettle", "wren", ""),
    (34, "netloft", "descaled", "kettle", "heron", ""),
    (40, "candle", "cleaned", "grinder", "gravel", ""),
    (41, "netloft", "paper", "paper", "cone-slow", "The same paper, a new carton."),
    (47, "netloft", "cleaned", "grinder", "nutmeg", ""),
    (54, "upper", "cleaned", "grinder", "pepper", ""),
    (61, "candle", "cartridge", "", "", ""),
)
_A_SLIP = (39, "candle", "duck")
"""A descaling noted for the wrong kettle, and taken back."""


def waters(calendar: Calendar) -> tuple[BrewWater, ...]:
    return tuple(
        BrewWater(key, cafe, name, hardness, alkalinity, calendar.day(_SINCE), note)
        for key, cafe, name, hardness, alkalinity, note in _WATERS
    )


def events(calendar: Calendar) -> tuple[BarEvent, ...]:
    return (*_water_events(calendar), *_equipment_events(calendar))


def _water_events(calendar: Calendar) -> Iterator[BarEvent]:
    for key, cafe, *_ in _WATERS:
        if key in _IN_USE:
            at = _at(calendar, cafe, _SINCE, _BEFORE_OPENING)
            yield BarEvent(f"event-{key}", cafe, "water", at, at, head_of(cafe), brew_water=key)


def _equipment_events(calendar: Calendar) -> Iterator[BarEvent]:
    for day, cafe, what, kind, thing, note in _EVENTS:
        at = _at(calendar, cafe, day, _AFTER_CLOSING)
        about: dict[str, Any] = {kind: thing} if kind else {}
        yield BarEvent(
            key=f"event-{cafe}-{day}",
            cafe=cafe,
            kind=what,  # type: ignore[arg-type]  # one of those that a row may have
            happened_at=at,
            noted_at=at + timedelta(minutes=20),
            noted_by=head_of(cafe),
            note=note,
            **about,
        )
    day, cafe, kettle = _A_SLIP
    at = _at(calendar, cafe, day, _AFTER_CLOSING)
    head, later = head_of(cafe), at + timedelta(hours=12)
    yield BarEvent(
        f"event-{cafe}-{day}",
        cafe,
        "descaled",
        at,
        at,
        head,
        kettle=kettle,
        taken_back_at=later,
        taken_back_by=head,
    )


def matches(calendar: Calendar) -> tuple[GrinderMatch, ...]:
    at = _at(calendar, "netloft", 57, _AFTER_CLOSING)
    found_by, note = head_of("netloft"), "Same dose, same time to run through, tasted side by side."
    return (GrinderMatch("match", "netloft", "quern", "6.4", "nutmeg", "22.0", at, found_by, note),)


def _at(calendar: Calendar, cafe: str, day: int, minutes: int) -> datetime:
    return instant(calendar.day(day), minutes, cafe_of(cafe))
