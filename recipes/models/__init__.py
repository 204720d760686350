"""What to brew: coffees, equipment, recipes and the board."""

from recipes.models.at_cafe import CafeTarget, GrindNote
from recipes.models.board import Board, CardCode, CardPrint, Seen, Slot, SlotSetting
from recipes.models.coffee import Coffee, RoastBatch
from recipes.models.equipment import (
    BarEvent,
    Brewer,
    BrewWater,
    Grinder,
    GrinderMatch,
    Kettle,
    Paper,
    Server,
)
from recipes.models.measured import BedFit, BreakupPoint, InstrumentReach
from recipes.models.recipe import Pour, Recipe, RecipeVersion

__all__ = [
    "BarEvent",
    "BedFit",
    "Board",
    "BreakupPoint",
    "BrewWater",
    "Brewer",
    "CafeTarget",
    "CardCode",
    "CardPrint",
    "Coffee",
    "GrindNote",
    "Grinder",
    "GrinderMatch",
    "InstrumentReach",
    "Kettle",
    "Paper",
    "Pour",
    "Recipe",
    "RecipeVersion",
    "RoastBatch",
    "Seen",
    "Server",
    "Slot",
    "SlotSetting",
]
