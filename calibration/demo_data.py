"""The demo's invented company: made anew in one go, and new passwords for its crew."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.contrib.auth.hashers import make_password
from django.db import router, transaction
from django.utils import timezone

from brewbar.crew.models import Company, Membership, Role, User
from calibration import loading, scenario
from calibration.belongings import BELONGINGS

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
    for one in BELONGINGS:
        rows = one.model._default_manager.filter(**{f"{one.way}__is_invented": True})
        # Named one by one: PostgreSQL, which has no statistics of rows this new, else compares all with all.
        keys = list(rows.order_by().values_list("pk", flat=True))
        one.model._default_manager.filter(pk__in=keys)._raw_delete(router.db_for_write(one.model))
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
