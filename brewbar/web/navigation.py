"""The ways through the application that a role is shown: names of addresses only, the rooms are elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Way:
    label: str | Promise
    address: str
    shape: str
    also: tuple[str, ...] = ()
    """Beginnings of further paths that belong to this room."""


BOARD = Way(_("Board"), "recipes:board", "board", ("/cards/",))
CODE = Way(_("Enter a code"), "calibration:find_code", "code")
CHECK = Way(_("Check"), "calibration:check", "check")
MINE = Way(_("My results"), "calibration:mine", "mine", ("/readings/",))
TODAY = Way(_("Today"), "calibration:today", "today", ("/readings/", "/imports/"))
SIGNALS = Way(_("Signals"), "calibration:signals", "caution")
CHARTS = Way(_("Charts"), "calibration:days", "charts")
REPORT = Way(_("Report"), "calibration:report", "report")
RECIPES = Way(_("Recipes"), "recipes:recipes", "recipes", ("/versions/",))
COFFEES = Way(_("Coffees"), "recipes:coffees", "coffees")
EQUIPMENT = Way(_("Equipment"), "recipes:equipment", "equipment", ("/instruments/",))
CREW = Way(_("Crew"), "crew:people", "crew", ("/tablets/",))
COMPANY = Way(_("Company"), "crew:company", "company", ("/first-steps/",))
RECORD = Way(_("Record"), "crew:record", "record")

WAYS = {
    # A tablet with nobody signed in on.
    "station": (BOARD, CHECK, CODE),
    "barista": (BOARD, CHECK, MINE, CODE, RECIPES, COFFEES, EQUIPMENT),
    "head": (BOARD, CHECK, TODAY, SIGNALS, CHARTS, RECIPES, COFFEES, EQUIPMENT, CREW, RECORD),
    "owner": (BOARD, REPORT, CHARTS, SIGNALS, RECIPES, COFFEES, EQUIPMENT, CREW, COMPANY, RECORD),
}
IN_THE_BAR = 4
"""How many fit beside one another on a phone; of more, the last place opens the rest."""


@dataclass(frozen=True)
class Shown:
    label: str | Promise
    url: str
    shape: str
    current: str
    """The value of aria-current: "page" here, "true" somewhere in this room, "" elsewhere."""


def ways(role: str, path: str) -> Iterator[Shown]:
    for way in WAYS[role]:
        url = reverse(way.address)
        inside = path.startswith((url, *way.also))
        yield Shown(way.label, url, way.shape, "page" if path == url else "true" if inside else "")
