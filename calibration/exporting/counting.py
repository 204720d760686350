"""How many rows of each kind a company has, for the page that tells how they are taken away."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from brewbar.crew.models import Cafe, Change, Company, Membership, Station
from calibration.exporting.tables import OF_THE_BAR, table_of
from calibration.models import Drop, InstrumentCheck, OnDuty, Reading, Refractometer, Signal
from recipes.models import BarEvent, Coffee, Recipe, RecipeVersion, RoastBatch, Slot

TOLD = {
    Recipe: _("Recipes"),
    RecipeVersion: _("Their versions"),
    Slot: _("What stood on the boards"),
    Coffee: _("Coffees"),
    RoastBatch: _("Roast batches"),
    BarEvent: _("What happened to the equipment"),
    Refractometer: _("Refractometers"),
    InstrumentCheck: _("Checks of refractometers"),
    Cafe: _("Cafés"),
    Station: _("Stations"),
    Reading: _("Readings"),
    Drop: _("Drops of these readings"),
    Signal: _("Signals"),
    OnDuty: _("Days that somebody was on"),
    Membership: _("Roles of people, past ones too"),
    Change: _("Changes on record"),
}
"""What people look for; the rest are small tables beside these."""


@dataclass(frozen=True)
class Counted:
    """is_of_the_bar: whether it says nothing of people."""

    title: str | Promise
    number: int
    is_of_the_bar: bool


def counted(company: Company) -> list[Counted]:
    return [
        Counted(title, table_of(model).belonging.rows_of(company).count(), model in OF_THE_BAR)
        for model, title in TOLD.items()
    ]
