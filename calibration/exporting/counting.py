"""What an export would hold, for the page that offers it: how many rows of each kind."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from brewbar.crew.models import Cafe, Change, Company, Membership, Station
from calibration.belongings import Belonging
from calibration.exporting.tables import tables
from calibration.models import Drop, InstrumentCheck, OnDuty, Reading, Refractometer, Signal
from recipes.models import BarEvent, Coffee, Recipe, RecipeVersion, RoastBatch, Slot

TOLD = {
    Reading: _("Readings"),
    Drop: _("Drops of these readings"),
    InstrumentCheck: _("Checks of refractometers"),
    Signal: _("Signals"),
    OnDuty: _("Days that somebody was on"),
    Recipe: _("Recipes"),
    RecipeVersion: _("Their versions"),
    Slot: _("What stood on the boards"),
    Coffee: _("Coffees"),
    RoastBatch: _("Roast batches"),
    Refractometer: _("Refractometers"),
    BarEvent: _("What happened to the equipment"),
    Cafe: _("Cafés"),
    Station: _("Stations"),
    Membership: _("Roles of people, past ones too"),
    Change: _("Changes on record"),
}
"""What people look for; the rest are small tables beside these."""


@dataclass(frozen=True)
class Counted:
    title: str | Promise
    number: int


def counted(company: Company) -> list[Counted]:
    known: Iterable[Belonging] = (table.belonging for table in tables())
    of_model = {one.model: one for one in known}
    return [Counted(title, of_model[model].rows_of(company).count()) for model, title in TOLD.items()]
