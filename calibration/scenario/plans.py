"""Which recipe each invented café checks itself with: one that stood on its board for all of the ten weeks."""

from __future__ import annotations

from .boards import PLACES, Place
from .rows import CheckPlan

CHECK_PLANS = (
    CheckPlan("netloft", "window"),
    CheckPlan("candle", "house"),
    CheckPlan("upper", "cablecar", coffee_price_kg=38.0, currency="CHF"),
)


def check_place(cafe: str) -> Place:
    """Where the check is brewed: the check recipe's station."""
    recipe = next(plan.recipe for plan in CHECK_PLANS if plan.cafe == cafe)
    return next(place for place in PLACES if (place.cafe, place.recipe) == (cafe, recipe))
