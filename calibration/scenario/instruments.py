"""What the invented refractometers read on distilled water every morning, and on a check standard every week.

Water cannot see an instrument that reads too much of what is there: only the standard finds the week that was wrong.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from .calendar import DAYS, WEEK, Calendar, instant
from .cast import REFRACTOMETERS, cafe_of, head_of
from .rows import InstrumentCheck
from .things import Refractometer
from .truth import Components, GainError, draw_drop

_BEFORE_OPENING, _AFTER_CLOSING = 5 * 60 + 35, 19 * 60 + 10
_FORGOTTEN = (("netloft", 37), ("candle", 22), ("candle", 23), ("upper", 13))
"""Mornings on which nobody thought of the water."""
_STANDARD_ON = {"netloft": 3, "candle": 4, "upper": 2}
"""Which day of the week the standard is mixed."""
_SUCROSE_G, _SOLUTION_G = 50.0, 1000.0
"""Three times as strong as coffee, so that an error in proportion shows three times as much."""
_MIXED_WITHIN_BRIX = 0.005
"""Standard deviation between preparations on a scale with steps of 0.1 g: chosen for the scenario, no source."""
SHOWS_OF_SUCROSE: Mapping[str, float] = {"netloft-glass": 0.851, "candle-glass": 0.848, "upper-glass": 0.852}
"""What each shows of a degree Brix, in % TDS."""


def checks(
    calendar: Calendar, components: Components, gain_error: GainError, rng: np.random.Generator
) -> tuple[InstrumentCheck, ...]:
    return tuple(
        check
        for instrument in REFRACTOMETERS
        for check in _of(calendar, components, gain_error, instrument, rng)
    )


def _of(
    calendar: Calendar,
    components: Components,
    gain_error: GainError,
    instrument: Refractometer,
    rng: np.random.Generator,
) -> Iterator[InstrumentCheck]:
    cafe, by = cafe_of(instrument.cafe), head_of(instrument.cafe)
    for index in range(DAYS):
        day, opening = calendar.day(index), instant(calendar.day(index), _BEFORE_OPENING, cafe)
        gain = gain_error.on(instrument.key, day)
        if (cafe.key, index) not in _FORGOTTEN:
            read = draw_drop(0.0, gain, components, rng)
            key = f"{instrument.key}-zero-{index}"
            yield InstrumentCheck(key, instrument.key, "zero", 0.0, read, opening, by)
        for at, as_found, note in _standards(calendar, gain_error, instrument, index):
            brix = 100 * _SUCROSE_G / _SOLUTION_G + rng.normal(0.0, _MIXED_WITHIN_BRIX)
            yield InstrumentCheck(
                f"{instrument.key}-standard-{index}",
                instrument.key,
                "standard",
                None,
                draw_drop(brix * SHOWS_OF_SUCROSE[instrument.key], gain, components, rng),
                instant(day, at, cafe),
                by,
                note,
                as_found=as_found,
                sucrose_g=_SUCROSE_G,
                solution_g=_SOLUTION_G,
            )


def _standards(
    calendar: Calendar, gain_error: GainError, instrument: Refractometer, index: int
) -> Iterator[tuple[int, bool, str]]:
    """At what minute of a day a standard was read, whether before zero was set anew, and what was noted of it."""
    wrong = instrument.key == gain_error.instrument
    if wrong and calendar.day(index) == gain_error.last_day:
        yield _AFTER_CLOSING, True, "The week's cups read strong and tasted as ever."
    elif wrong and calendar.day(index - 1) == gain_error.last_day:
        yield _BEFORE_OPENING + 5, False, "Cleaned, at room temperature overnight, set to zero anew."
    elif index % WEEK == _STANDARD_ON[instrument.cafe]:
        yield _BEFORE_OPENING + 5, True, ""
