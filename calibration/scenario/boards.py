"""What stood on the boards of the three cafés, from which batch and at which setting of the grinder."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from .calendar import DAYS, Calendar
from .cast import GRINDERS, STATIONS, head_of, published_at
from .coffees import batch_open_on, openings
from .recipes import EDITIONS, RECIPES, Edition, key_of, number_of
from .rows import Card, Slot, SlotSetting


@dataclass(frozen=True)
class Place:
    """A recipe at a station: since when, with what, and which share of the café's cups is brewed there.

    `settings` are where the grinder stands for each version, in the versions' order.
    """

    station: str
    recipe: str
    since: int
    share: float
    kettle: str
    server: str
    grinder: str
    settings: tuple[float, ...]

    @property
    def key(self) -> str:
        return f"{self.station}-{self.recipe}"

    @property
    def cafe(self) -> str:
        return next(row.cafe for row in STATIONS if row.key == self.station)


PLACES = (
    Place("netloft-window", "window", -7, 0.55, "heron", "netloft-a", "quern", (6.4, 6.4, 6.2)),
    Place("netloft-window", "ferry", 15, 0.15, "pelican", "netloft-big", "quern", (8.6, 8.4)),
    Place("netloft-quay", "umbrella", -5, 0.3, "heron", "netloft-a", "nutmeg", (22.0, 6.5)),
    Place("candle-front", "house", -8, 0.45, "duck", "candle-a", "gravel", (9.5, 9.4)),
    Place("candle-front", "lantern", -9, 0.25, "egret", "candle-b", "gravel", (10.2,)),
    Place("candle-bench", "window", 28, 0.15, "egret", "candle-b", "gravel", (8.2, 8.1, 7.9)),
    Place("candle-bench", "flight", 26, 0.15, "egret", "candle-b", "gravel", (8.3,)),
    Place("upper-hatch", "cablecar", -7, 0.6, "wren", "upper-a", "pepper", (17.0, 17.0, 16.0)),
    Place("upper-terrace", "cedar", -10, 0.4, "goose", "upper-a", "pepper", (19.0,)),
)

_CHANGES_A_DAY = 0.2
_FURTHEST_STEPS = 4
_FINER = ("running fast this morning", "damp air", "thin at opening")
_COARSER = ("running long this morning", "dry air", "heavy at opening")


def cards() -> tuple[Card, ...]:
    return tuple(Card(place.key, place.station, place.recipe) for place in PLACES)


def slots(calendar: Calendar) -> tuple[Slot, ...]:
    return tuple(_slot(calendar, place, edition) for place in PLACES for edition, _, _ in _stays(place))


def settings(calendar: Calendar, rng: np.random.Generator) -> tuple[SlotSetting, ...]:
    rows: list[SlotSetting] = []
    for place in PLACES:
        for edition, start, end in _stays(place):
            rows += _settings(calendar, place, edition, start, min(end, DAYS), rng)
    return tuple(rows)


def slot_on(place: Place, index: int) -> str:
    return next(_slot_key(place, edition) for edition, start, end in _stays(place) if start <= index < end)


def _stays(place: Place) -> list[tuple[Edition, int, int]]:
    """Each version that stood at a place, with its first day and the day it was replaced."""
    editions = [edition for edition in EDITIONS if edition.recipe == place.recipe]
    ends = [edition.out_on for edition in editions[1:]] + [DAYS + 1]
    stays = [
        (edition, max(edition.out_on, place.since), end) for edition, end in zip(editions, ends, strict=True)
    ]
    return [(edition, start, end) for edition, start, end in stays if start < end]


def _slot_key(place: Place, edition: Edition) -> str:
    return f"{place.station}-{key_of(edition)}"


def _slot(calendar: Calendar, place: Place, edition: Edition) -> Slot:
    _, start, end = next(stay for stay in _stays(place) if stay[0] is edition)
    replaced = end <= DAYS
    return Slot(
        key=_slot_key(place, edition),
        card=place.key,
        version=key_of(edition),
        kettle=place.kettle,
        published_at=published_at(calendar, place.cafe, start),
        published_by=head_of(place.cafe),
        withdrawn_at=published_at(calendar, place.cafe, end) if replaced else None,
        withdrawn_why=f"Replaced by version {number_of(edition) + 1}." if replaced else "",
    )


def _settings(
    calendar: Calendar, place: Place, edition: Edition, start: int, end: int, rng: np.random.Generator
) -> list[SlotSetting]:
    step = next(row.setting_step for row in GRINDERS if row.key == place.grinder)
    coffee = next(row.coffee for row in RECIPES if row.key == place.recipe)
    base = place.settings[number_of(edition) - 1]
    moved = 0
    rows = []
    for index in range(start, end):
        opened = index in openings(coffee)
        tapped = index > start and rng.random() < _CHANGES_A_DAY
        if not (index == start or opened or tapped):
            continue
        note = "" if index == start else "new batch"
        if tapped:
            by = int(rng.integers(1, 3)) * (-1 if rng.random() < 0.5 + moved / (2 * _FURTHEST_STEPS) else 1)
            moved = max(-_FURTHEST_STEPS, min(_FURTHEST_STEPS, moved + by))
            note = note or str(rng.choice(_FINER if by < 0 else _COARSER))
        rows.append(
            SlotSetting(
                slot=_slot_key(place, edition),
                roast_batch=batch_open_on(coffee, index),
                grinder=place.grinder,
                grind_setting=f"{base + moved * step:.1f}",
                set_at=published_at(calendar, place.cafe, index)
                + timedelta(minutes=0 if index == start else 9),
                set_by=head_of(place.cafe),
                note=note,
            )
        )
    return rows
