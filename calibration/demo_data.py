"""The demo's invented company: made anew in one go, and new passwords for its crew."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.contrib.auth.hashers import make_password
from django.db import models, router, transaction
from django.utils import timezone

from brewbar.crew.models import (
    Answered,
    Cafe,
    Change,
    Company,
    Key,
    Membership,
    NamingChange,
    OneTimeLink,
    Role,
    Station,
    Tablet,
    User,
)
from calibration import loading, scenario
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

SEED = 33
"""A draw whose spread between people is close to the one it was drawn from, and with few mishaps."""

_SHORT_WORDS = """
    amber anchor apron arrow autumn basket beacon birch breeze bridge bucket button candle canvas cedar chalk
    cherry clover cobalt copper cotton cradle crayon cricket dahlia daisy drizzle ember fabric falcon feather
    fern fiddle flint garnet ginger glacier harbour hazel heather hollow indigo ivory jacket juniper kernel
    ladder lantern lemon linen magpie maple marble meadow mitten nectar oatmeal ocean olive orchard otter
    paddle parcel pebble pigeon pillow plover pocket quartz quiver raven ribbon river rocket saddle saffron
    silver sparrow spruce summer thimble thistle timber trellis tulip velvet violet walnut willow winter
"""
WORDS = _SHORT_WORDS.split()

# Every table of a company with the way to it, those that refer to others first.
TABLES: tuple[tuple[type[models.Model], str], ...] = (
    (Answered, "key__membership__company"),
    (Change, "company"),
    (NamingChange, "company"),
    (OneTimeLink, "company"),
    (Tablet, "station__cafe__company"),
    (BandChoice, "company"),
    (FollowUp, "signal__cafe__company"),
    (SignalNote, "signal__cafe__company"),
    (Signal, "cafe__company"),
    (CheckRun, "cafe__company"),
    (OnDuty, "cafe__company"),
    (CheckPlan, "cafe__company"),
    (Drop, "reading__company"),
    (Reading, "company"),
    (Import, "cafe__company"),
    (Key, "membership__company"),
    (InstrumentCheck, "refractometer__cafe__company"),
    (CardPrint, "slot__board__cafe__company"),
    (Seen, "slot__board__cafe__company"),
    (SlotSetting, "slot__board__cafe__company"),
    (Slot, "board__cafe__company"),
    (CardCode, "recipe__company"),
    (Board, "cafe__company"),
    (GrindNote, "cafe__company"),
    (CafeTarget, "cafe__company"),
    (Pour, "version__recipe__company"),
    (RecipeVersion, "recipe__company"),
    (Recipe, "company"),
    (RoastBatch, "coffee__company"),
    (Coffee, "company"),
    (InstrumentReach, "cafe__company"),
    (BedFit, "cafe__company"),
    (BreakupPoint, "kettle__cafe__company"),
    (BarEvent, "cafe__company"),
    (GrinderMatch, "cafe__company"),
    (BrewWater, "cafe__company"),
    (Refractometer, "cafe__company"),
    (Server, "cafe__company"),
    (Grinder, "cafe__company"),
    (Kettle, "cafe__company"),
    (Paper, "company"),
    (Brewer, "company"),
    (User, "memberships__company"),
    (Membership, "company"),
    (Station, "cafe__company"),
    (Cafe, "company"),
)


@dataclass(frozen=True)
class DemoAccount:
    name: str
    username: str
    role: str
    cafe: str
    password: str


def built_on() -> date | None:
    """The day that the demo ends on; None where there is no demo."""
    return Company.objects.filter(is_invented=True).values_list("invented_on", flat=True).first()


@transaction.atomic
def rebuild(today: date) -> None:
    """Replace the invented company by one whose ten weeks end on the morning of ``today``.

    Other companies are left alone. What would lie in the future, early on the day itself, is left out.
    """
    _wipe()
    loading.load(scenario.build(today, np.random.default_rng(SEED)), timezone.now())


def _wipe() -> None:
    """Straight from the tables: history that is real is never deleted, so the models refuse to."""
    for model, way in TABLES:
        rows = model._default_manager.filter(**{f"{way}__is_invented": True})
        # Named one by one: PostgreSQL, which has no statistics of rows this new, else compares all with all.
        keys = list(rows.order_by().values_list("pk", flat=True))
        model._default_manager.filter(pk__in=keys)._raw_delete(router.db_for_write(model))
    Company.objects.filter(is_invented=True).delete()


@transaction.atomic
def fresh_passwords() -> list[DemoAccount]:
    """New passwords for all the crew of the demo; only their hashes are kept."""
    crew: dict[User, list[Membership]] = {}
    for membership in (
        Membership.objects.active().filter(company__is_invented=True).select_related("user", "cafe")
    ):
        crew.setdefault(membership.user, []).append(membership)
    accounts = []
    for user, memberships in crew.items():
        password = _password()
        user.password = make_password(password)
        accounts.append(
            DemoAccount(
                name=user.name,
                username=user.username,
                role=str(Role(memberships[0].role).label),
                cafe=", ".join(
                    membership.cafe.name if membership.cafe else "all" for membership in memberships
                ),
                password=password,
            )
        )
    User.objects.bulk_update(crew, ["password"])
    order = [str(role.label) for role in (Role.OWNER, Role.HEAD, Role.BARISTA)]
    return sorted(accounts, key=lambda account: (order.index(account.role), account.cafe, account.name))


def _password() -> str:
    words = [secrets.choice(WORDS) for _ in range(3)]
    return f"{'-'.join(words)}-{secrets.randbelow(90) + 10}"
