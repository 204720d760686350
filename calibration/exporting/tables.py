"""Which tables and columns an export holds: all that the models have, but for what is named here with its reason."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

from django.contrib.auth.hashers import make_password
from django.db import models

from brewbar.crew import record
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
from calibration.belongings import BELONGINGS, COMPANY, Belonging
from calibration.models import BandChoice, CheckPlan, InstrumentCheck, Refractometer
from recipes.models import (
    BarEvent,
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
    Server,
    Slot,
    SlotSetting,
)

SECRET = "A secret, or what one could be guessed from."
WITH_THE_PIN = "Goes with the PIN, which is a secret."

Fill = Callable[[models.Model], Any]


def _opens_nothing(_row: models.Model) -> str:
    """In the place of a hash: it is the hash of nothing, and no two are alike."""
    return f"!{secrets.token_hex(16)}"


@dataclass(frozen=True)
class LeftOut:
    """why: a column is in no export; fill: what stands there once its row is taken in."""

    why: str
    fill: Fill


LEFT_OUT: Mapping[tuple[type[models.Model], str], LeftOut] = {
    (User, "password"): LeftOut(SECRET, lambda _row: make_password(None)),
    (User, "last_login"): LeftOut(
        "When somebody last signed in is theirs, and may have been elsewhere.", lambda _row: None
    ),
    (Membership, "pin_hash"): LeftOut(SECRET, lambda _row: ""),
    (Membership, "pin_set_at"): LeftOut(WITH_THE_PIN, lambda _row: None),
    (OneTimeLink, "key_hash"): LeftOut(SECRET, _opens_nothing),
    (Tablet, "key_hash"): LeftOut(SECRET, _opens_nothing),
    (Key, "key_hash"): LeftOut(SECRET, _opens_nothing),
    (Change, "words"): LeftOut(
        "The other columns in small letters, for searching: made anew.",
        lambda row: record.words_of(row),  # type: ignore[arg-type]
    ),
}

TABLES_LEFT_OUT: Mapping[type[models.Model], str] = {
    Answered: "What programs were answered, kept for a week in case they ask twice: of no use elsewhere.",
}

OF_THE_PERSON = ("email", "decimal_mark", "temperature_unit", "date_order")
"""Columns of people that a company sees nothing of; blank for whoever belongs to another one too."""


OF_THE_BAR = frozenset(
    {
        *(Company, Cafe, Station, NamingChange),
        *(Coffee, RoastBatch, Recipe, RecipeVersion, Pour, Board, Slot, SlotSetting, CardCode, CardPrint),
        *(Brewer, Paper, Kettle, Grinder, Server, BrewWater, BreakupPoint, GrinderMatch, GrindNote, BarEvent),
        *(CafeTarget, BandChoice, CheckPlan, Refractometer, InstrumentCheck, InstrumentReach),
    }
)
"""What an owner may have without anybody's results: of these, all but the columns that lead elsewhere."""


@dataclass(frozen=True)
class Table:
    """What an export holds of one model. whole: with people, or only what the bar works with."""

    belonging: Belonging
    whole: bool = True

    @property
    def model(self) -> type[models.Model]:
        return self.belonging.model

    @property
    def name(self) -> str:
        return self.belonging.name

    @property
    def file(self) -> str:
        return self.belonging.file

    @cached_property
    def fields(self) -> tuple[models.Field[Any, Any], ...]:
        """The number of the row first, then the columns as the model has them."""
        key = self.model._meta.pk
        rest = (one for one in self.model._meta.concrete_fields if not one.primary_key)
        found = (one for one in rest if (self.model, one.name) not in LEFT_OUT)
        return (key, *(one for one in found if self.whole or not one.is_relation or leads_to_the_bar(one)))

    @cached_property
    def left_out(self) -> dict[models.Field[Any, Any], LeftOut]:
        found = self.model._meta.concrete_fields
        return {one: LEFT_OUT[self.model, one.name] for one in found if (self.model, one.name) in LEFT_OUT}

    @cached_property
    def head(self) -> tuple[str, ...]:
        return tuple(one.name for one in self.fields)


def leads_to_the_bar(field: models.Field[Any, Any]) -> bool:
    return field.related_model in OF_THE_BAR


@cache
def tables(whole: bool = True) -> tuple[Table, ...]:
    """In the order of the file: what others refer to first."""
    wanted = (one for one in (COMPANY, *reversed(BELONGINGS)) if one.model not in TABLES_LEFT_OUT)
    return tuple(Table(one, whole) for one in wanted if whole or one.model in OF_THE_BAR)


@cache
def table_of(model: type[models.Model]) -> Table:
    return next(one for one in tables() if one.model is model)


def as_taken_in() -> list[Table]:
    """In the order in which rows are written: pours before the versions that freeze them.

    References are looked at when the transaction ends, so that nothing else hangs on the order.
    """
    order = [one for one in tables() if one.model is not Pour]
    order.insert([one.model for one in order].index(RecipeVersion), table_of(Pour))
    return order
