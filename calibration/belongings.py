"""Every table of a company, and the way from a row to the company: for whatever concerns all of it.

The demo is wiped along this list, an export written and taken in. A new model belongs here, or into ``EXCUSED``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db import models
from django.db.models import Q

from brewbar.crew.models import (
    Answered,
    Cafe,
    Change,
    Company,
    Key,
    Membership,
    NamingChange,
    OneTimeLink,
    Station,
    Tablet,
    User,
)
from calibration.models import (
    BandChoice,
    CheckPlan,
    CheckRun,
    Drop,
    FollowUp,
    Import,
    InstrumentCheck,
    OnDuty,
    Reading,
    Refractometer,
    Signal,
    SignalNote,
)
from recipes.models import (
    BarEvent,
    BedFit,
    Board,
    BreakupPoint,
    Brewer,
    BrewWater,
    CafeTarget,
    CardCode,
    CardPrint,
    Coffee,
    Grinder,
    GrinderMatch,
    GrindNote,
    InstrumentReach,
    Kettle,
    Paper,
    Pour,
    Recipe,
    RecipeVersion,
    RoastBatch,
    Seen,
    Server,
    Slot,
    SlotSetting,
)


@dataclass(frozen=True)
class Belonging:
    """One table. way: fields that lead to the company; name: what its file is called in an export."""

    model: type[models.Model]
    way: str
    name: str

    @property
    def file(self) -> str:
        return f"{self.name}.csv"

    def rows_of(self, company: Company) -> models.QuerySet[Any]:
        """The company's rows in no order. Of people those that have, or had, a role in it."""
        found = self.model._base_manager.filter(Q(**{self.way: company.pk}))
        return found.distinct() if self.model is User else found


COMPANY = Belonging(Company, "pk", "company")

# Those that refer to others first.
BELONGINGS = (
    Belonging(Answered, "key__membership__company", "answered"),
    Belonging(Change, "company", "changes"),
    Belonging(NamingChange, "company", "naming_changes"),
    Belonging(OneTimeLink, "company", "links"),
    Belonging(Tablet, "station__cafe__company", "tablets"),
    Belonging(BandChoice, "company", "published_band"),
    Belonging(FollowUp, "signal__cafe__company", "follow_ups"),
    Belonging(SignalNote, "signal__cafe__company", "signal_notes"),
    Belonging(Signal, "cafe__company", "signals"),
    Belonging(CheckRun, "cafe__company", "check_runs"),
    Belonging(OnDuty, "cafe__company", "on_duty"),
    Belonging(CheckPlan, "cafe__company", "check_plans"),
    Belonging(Drop, "reading__company", "drops"),
    Belonging(Reading, "company", "readings"),
    Belonging(Import, "cafe__company", "imports"),
    Belonging(Key, "membership__company", "keys"),
    Belonging(InstrumentCheck, "refractometer__cafe__company", "instrument_checks"),
    Belonging(CardPrint, "slot__board__cafe__company", "card_prints"),
    Belonging(Seen, "slot__board__cafe__company", "seen"),
    Belonging(SlotSetting, "slot__board__cafe__company", "slot_settings"),
    Belonging(Slot, "board__cafe__company", "slots"),
    Belonging(CardCode, "recipe__company", "card_codes"),
    Belonging(Board, "cafe__company", "boards"),
    Belonging(GrindNote, "cafe__company", "grind_notes"),
    Belonging(CafeTarget, "cafe__company", "cafe_targets"),
    Belonging(Pour, "version__recipe__company", "pours"),
    Belonging(RecipeVersion, "recipe__company", "recipe_versions"),
    Belonging(Recipe, "company", "recipes"),
    Belonging(RoastBatch, "coffee__company", "roast_batches"),
    Belonging(Coffee, "company", "coffees"),
    Belonging(InstrumentReach, "cafe__company", "instrument_reaches"),
    Belonging(BedFit, "cafe__company", "bed_fits"),
    Belonging(BreakupPoint, "kettle__cafe__company", "breakup_points"),
    Belonging(BarEvent, "cafe__company", "bar_events"),
    Belonging(GrinderMatch, "cafe__company", "grinder_matches"),
    Belonging(BrewWater, "cafe__company", "brew_waters"),
    Belonging(Refractometer, "cafe__company", "refractometers"),
    Belonging(Server, "cafe__company", "servers"),
    Belonging(Grinder, "cafe__company", "grinders"),
    Belonging(Kettle, "cafe__company", "kettles"),
    Belonging(Paper, "company", "papers"),
    Belonging(Brewer, "company", "brewers"),
    Belonging(User, "memberships__company", "people"),
    Belonging(Membership, "company", "memberships"),
    Belonging(Station, "cafe__company", "stations"),
    Belonging(Cafe, "company", "cafes"),
)
"""All but the company's own row."""

ROOMS = ("crew", "recipes", "calibration")
EXCUSED: dict[type[models.Model], str] = {}
"""{model of a room: why it belongs to no company}."""
