"""Which recipe each invented café checks itself with: one that stood on its board for all of the ten weeks."""

from __future__ import annotations

from collections.abc import Mapping

from .boards import PLACES, Place
from .calendar import Calendar
from .rows import CheckPlan

CHECK_RECIPES: Mapping[str, str] = {"netloft": "window", "candle": "house", "upper": "cablecar"}
_PRICES = {"upper": (38.0, "CHF")}
"""A kilogram of coffee, where somebody typed it in."""


def check_plans(calendar: Calendar) -> tuple[CheckPlan, ...]:
    return tuple(
        CheckPlan(cafe, recipe, calendar.day(0), *_PRICES.get(cafe, ()))
        for cafe, recipe in CHECK_RECIPES.items()
    )


def check_place(cafe: str) -> Place:
    """Where the check is brewed: the check recipe's station."""
    return next(place for place in PLACES if (place.cafe, place.recipe) == (cafe, CHECK_RECIPES[cafe]))
