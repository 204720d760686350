"""Readings that do not stand: voided by the head barista, or corrected within ten minutes. All are kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from uuid import UUID

import numpy as np

from .cast import REFRACTOMETERS, head_of
from .rows import Reading, Void


@dataclass(frozen=True)
class _Reason:
    why: str
    tds: float = 0.0
    beverage_g: float = 0.0


REASONS = (
    _Reason("Sampled before the server was stirred.", tds=0.15),
    _Reason("The prism was still wet from the water check.", tds=-0.21),
    _Reason("The sample was still warm.", tds=-0.17),
    _Reason("Rinse water was left in the server.", beverage_g=46.0),
    _Reason("Weighed in another server than the one named.", beverage_g=-13.7),
    _Reason("Entered under the wrong name."),
)
TYPOS = 5


def slip(readings: list[Reading], rng: np.random.Generator) -> list[Reading]:
    """Some of the readings spoiled and voided, some preceded by one with a slip of the finger."""
    last_day = max(reading.business_day for reading in readings)
    of_shift = {(reading.barista, reading.business_day): i for i, reading in reversed([*enumerate(readings)])}
    usable = [
        i
        for i in of_shift.values()
        if readings[i].business_day < last_day - timedelta(days=1)
        and readings[i].beverage_g is not None
        and readings[i].entered_by == readings[i].barista
    ]
    chosen = [int(i) for i in rng.choice(usable, len(REASONS) + TYPOS, replace=False)]
    result = list(readings)
    for i, reason in zip(chosen, REASONS, strict=False):
        result[i] = _voided(readings[i], reason, rng)
    for number, i in enumerate(chosen[len(REASONS) :]):
        wrong, right = _typo(readings[i], number, rng)
        result[i] = right
        result.append(wrong)
    return sorted(result, key=lambda reading: (reading.brewed_at, reading.entered_at, reading.key))


def _voided(reading: Reading, reason: _Reason, rng: np.random.Generator) -> Reading:
    beverage_g = None if reading.beverage_g is None else round(reading.beverage_g + reason.beverage_g, 1)
    cafe = next(row.cafe for row in REFRACTOMETERS if row.key == reading.refractometer)
    return replace(
        reading,
        drops_tds=tuple(round(drop + reason.tds, 2) for drop in reading.drops_tds),
        beverage_g=beverage_g,
        void=Void(
            reading.entered_at + timedelta(minutes=int(rng.integers(15, 240))), head_of(cafe), reason.why
        ),
    )


def _typo(reading: Reading, number: int, rng: np.random.Generator) -> tuple[Reading, Reading]:
    """The reading with two digits swapped or the minutes mistyped, and the one that puts it right."""
    wrong = replace(reading, key=f"{reading.key}-typo", uuid=UUID(bytes=rng.bytes(16), version=4))
    if number % 2:
        wrong = replace(wrong, brew_time_s=reading.brew_time_s - 60)
    else:
        wrong = replace(wrong, drops_tds=(round(reading.drops_tds[0] - 0.27, 2), *reading.drops_tds[1:]))
    mended_at = reading.entered_at + timedelta(seconds=int(rng.integers(40, 420)))
    return wrong, replace(reading, corrects=wrong.key, entered_at=mended_at)
