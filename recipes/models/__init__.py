"""What to brew: coffees, equipment, recipes and the board."""

from recipes.models.board import Board, CardCode, Slot, SlotSetting
from recipes.models.coffee import Coffee, RoastBatch
from recipes.models.equipment import Brewer, Grinder, InstrumentReach, Kettle, Paper, Server
from recipes.models.recipe import Pour, Recipe, RecipeVersion

__all__ = [
    "Board",
    "Brewer",
    "CardCode",
    "Coffee",
    "Grinder",
    "InstrumentReach",
    "Kettle",
    "Paper",
    "Pour",
    "Recipe",
    "RecipeVersion",
    "RoastBatch",
    "Server",
    "Slot",
    "SlotSetting",
]
