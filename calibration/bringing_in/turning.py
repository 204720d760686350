"""One row of a sheet -> the entry that somebody would have typed, or what is missing for it in words.

What the row itself doesn't say comes from what was given for all rows, and then from the board as it stood at that
hour. With what it was brewed is looked up once for all rows that say the same.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, time
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe, Station, User
from calibration import checking
from calibration.bringing_in.known import Known
from calibration.bringing_in.moments import Clock, NoSuchMoment
from calibration.bringing_in.slots import Made, Slots
from calibration.entry import Entry
from calibration.importing.answers import Value
from calibration.importing.fields import FIELDS, Kind
from calibration.models import Reading
from recipes.models import Recipe, RecipeVersion, RoastBatch, Slot, SlotSetting

Beverage = Reading.Beverage
NAMED = ("barista", "recipe", "station", "batch", "grinder", "kettle", "server", "instrument")
"""What can be given for all rows by the key of a row."""
TYPED = ("time", "grind_setting", "dose_g", "water_g", "kind")
_TELL_WITH_WHAT = (
    *("recipe", "coffee", "station", "batch", "roasted_on", "grinder", "grind_setting", "kettle", "server"),
    *("instrument", "kind"),
)
_MOST_REMEMBERED = 2_000


class Missing(Exception):
    """What keeps a row from being an entry: ``field``, and the sentence."""

    def __init__(self, field: str, says: str) -> None:
        super().__init__(says)
        self.field, self.says = field, says


@dataclass(frozen=True)
class Given:
    """What holds for all rows that don't say otherwise. rows: by field; typed: as they are kept."""

    rows: Mapping[str, Any]
    typed: Mapping[str, Any]
    version: RecipeVersion | None = None

    @classmethod
    def of(cls, known: Known, said: Mapping[str, str]) -> Given:
        """``said``: keys of rows and typed values, as an `Upload` keeps them."""
        rows = {field: known.row(field, said[field]) for field in NAMED if said.get(field)}
        typed: dict[str, Any] = {field: said[field] for field in ("grind_setting", "kind") if said.get(field)}
        typed |= {field: Decimal(said[field]) for field in ("dose_g", "water_g") if said.get(field)}
        if said.get("time"):
            typed["time"] = time.fromisoformat(said["time"])
        versions = [one for rows_of in known.versions.values() for one in rows_of]
        version = next((one for one in versions if str(one.pk) == said.get("version")), None)
        return cls({field: row for field, row in rows.items() if row is not None}, typed, version)

    @property
    def fields(self) -> set[str]:
        return {*self.rows, *self.typed}


@dataclass(eq=False, slots=True)
class With:
    """What the rows of one kind were brewed with. entry: the first of them; problems: what keeps all of them from being
    entries; made: the slot that is to be made for them; columns: as they will be written, once somebody has asked."""

    entry: Entry
    problems: list[checking.Problem]
    made: Made | None = None
    columns: list[Any] = field(default_factory=list)


class Turner:
    """Turns the rows of one import, one after the other."""

    def __init__(self, cafe: Cafe, known: Known, slots: Slots, given: Given) -> None:
        self._clock = Clock(cafe.zone)
        self._known, self._slots, self._given = known, slots, given
        self._fields = FIELDS[Kind.READINGS]
        stations = [row for row in known.rows("station") if row.retired_at is None]
        self._only_station = stations[0] if len(stations) == 1 else None
        self._baristas: dict[Value | None, User] = {}
        self._places: dict[tuple[Value | None, ...], tuple[Recipe, Station]] = {}
        self._withs: dict[tuple[Any, ...], With] = {}
        self._ids = _ids()

    def entry(self, values: Mapping[str, Value]) -> tuple[Entry, str, With]:
        """The entry, a remark about its moment, and what it has in common with others. Raises Missing."""
        at, remark = self._moment(values)
        said = tuple(map(values.get, _TELL_WITH_WHAT))
        if said not in self._places:
            recipe = self._recipe(values)
            station = self._row("station", values) or self._only_station or self._missing("station")
            _remember(self._places, said, (recipe, station))
        recipe, station = self._places[said]
        slot, setting = self._slot(values, recipe, station, at)
        weight, source = _weighed(values)
        key = (said, id(slot), id(setting), source)
        cup = self._cup(values, at) | weight
        made_with = self._withs.get(key)
        if made_with is None:
            entry = self._first(values, recipe, slot, setting, cup | {"beverage_source": source})
            made = self._slots.made[station.pk, slot.version_id] if slot._state.adding else None
            made_with = With(entry, list(checking.of_places(entry)), made)
            _remember(self._withs, key, made_with)
        return made_with.entry.with_cup(cup), remark, made_with

    def _cup(self, values: Mapping[str, Value], at: datetime) -> dict[str, Any]:
        """What no two rows need have in common."""
        typed = values.get("barista")
        if typed not in self._baristas:
            _remember(self._baristas, typed, self._row("barista", values) or self._missing("barista"))
        return {
            "uuid": next(self._ids),
            "barista": self._baristas[typed],
            "drops": values.get("tds", ()),
            "brew_time_s": values.get("brew_time_s", 0),
            "dose_g": self._mass("dose_g", values),
            "water_g": self._mass("water_g", values),
            "bypass_g": values.get("bypass_g") or _NONE_G,
            "ice_g": values.get("ice_g") or _NONE_G,
            "brewed_at": at,
            "sample_temperature_C": values.get("sample_temperature_C"),
            "slurry_temperature_C": values.get("slurry_temperature_C"),
            "taste": values.get("taste") or "",
        }

    def _first(
        self,
        values: Mapping[str, Value],
        recipe: Recipe,
        slot: Slot,
        setting: SlotSetting | None,
        cup: Mapping[str, Any],
    ) -> Entry:
        server = self._row("server", values) if cup["beverage_source"] == Beverage.SERVER else None
        return Entry(
            slot=slot,
            kind=str(values.get("kind") or self._given.typed.get("kind") or Reading.Kind.CHECK),
            roast_batch=self._batch(values, recipe) or (setting.roast_batch if setting else None)
            or self._missing("batch"),
            grinder=self._row("grinder", values) or (setting.grinder if setting else None)
            or self._missing("grinder"),
            grind_setting=str(values.get("grind_setting") or self._given.typed.get("grind_setting") or "")
            or (setting.grind_setting if setting else "")
            or self._missing("grind_setting"),
            kettle=self._row("kettle", values) or slot.kettle,
            refractometer=self._row("instrument", values) or self._missing("instrument"),
            server=server,
            tare_g=server.tare_g if server else None,
            written_down=True,
            **cup,
        )  # fmt: skip

    def _missing(self, field: str) -> Any:
        says = _("Nothing says the %(field)s: choose its column, or one for all rows.")
        raise Missing(field, says % {"field": self._fields[field].says})

    def _row(self, field: str, values: Mapping[str, Value]) -> Any | None:
        typed = values.get(field)
        if typed is None:
            return self._given.rows.get(field)
        rows = self._known.tables[field].get(str(typed), [])
        if len(rows) > 1:
            in_use = [row for row in rows if getattr(row, "retired_at", None) is None]
            rows = in_use if len(in_use) == 1 else rows
        if len(rows) != 1:
            says = _(
                "More than one is called %(name)s. Rename one of them in brewbar, and look at the rows again."
            )
            raise Missing(field, says % {"name": typed})
        return rows[0]

    def _moment(self, values: Mapping[str, Value]) -> tuple[datetime, str]:
        told = values.get("moment")
        if isinstance(told, datetime):
            return told.astimezone(UTC), ""
        day, at = values["day"], values.get("time") or self._given.typed.get("time")
        if at is None:
            says = _("Nothing says at what time it was brewed: choose its column, or one time for all rows.")
            raise Missing("time", says)
        try:
            return self._clock.moment(day, at)  # type: ignore[arg-type]  # as the fields hold them
        except NoSuchMoment as error:
            raise Missing("time", str(error)) from error

    def _recipe(self, values: Mapping[str, Value]) -> Recipe:
        found: Recipe | None = self._row("recipe", values)
        coffee = self._row("coffee", values)
        if found is not None:
            if coffee is not None and coffee.pk != found.coffee_id:
                says = _("%(recipe)s is a recipe of another coffee than %(coffee)s.")
                raise Missing("coffee", says % {"recipe": found, "coffee": coffee})
            return found
        if coffee is None:
            coffee = self._missing("recipe")
        recipes = [one for one in self._known.rows("recipe") if one.coffee_id == coffee.pk]
        if len(recipes) != 1:
            says = _(
                "%(coffee)s has no recipe, or more than one: choose the recipe's column, or one for all."
            )
            raise Missing("coffee", says % {"coffee": coffee})
        only: Recipe = recipes[0]
        return only

    def _slot(
        self, values: Mapping[str, Value], recipe: Recipe, station: Station, at: datetime
    ) -> tuple[Slot, SlotSetting | None]:
        named = self._given.version
        version = named if named is not None and named.recipe_id == recipe.pk else None
        stood = self._slots.at(station, recipe.pk, at, version)
        if stood is not None:
            return stood, self._slots.setting(stood, at)
        published = self._known.versions.get(recipe.pk, [])
        if not published:
            raise Missing("recipe", _("No version of %(recipe)s was published yet.") % {"recipe": recipe})
        if version is None:
            before = [one for one in published if one.published_at is not None and one.published_at <= at]
            version = before[-1] if before else published[0]
        kettle = self._row("kettle", values) or self._missing("kettle")
        return self._slots.to_make(station, version, kettle, at), None

    def _batch(self, values: Mapping[str, Value], recipe: Recipe) -> RoastBatch | None:
        """By its label among those of the recipe's coffee, or by its day of roast where that tells."""
        typed, roasted = values.get("batch"), values.get("roasted_on")
        if typed is None and roasted is None:
            given: RoastBatch | None = self._given.rows.get("batch")
            return given
        if typed is not None:
            labelled = self._known.tables["batch"].get(str(typed), [])
            rows = [one for one in labelled if one.coffee_id == recipe.coffee_id]
            if not rows:
                says = _("%(batch)s is a batch of another coffee than %(coffee)s.")
                raise Missing("batch", says % {"batch": typed, "coffee": recipe.coffee})
            labelled_so: RoastBatch = rows[0]
            if roasted not in (None, labelled_so.roasted_on):
                says = _("%(batch)s of %(coffee)s was roasted on another day, %(day)s. Which batch was it?")
                told = {"batch": typed, "coffee": recipe.coffee, "day": labelled_so.roasted_on.isoformat()}
                raise Missing("roasted_on", says % told)
            return labelled_so
        rows = [
            one
            for one in self._known.rows("batch")
            if one.coffee_id == recipe.coffee_id and one.roasted_on == roasted
        ]
        if len(rows) != 1:
            says = _("No batch of %(coffee)s, or more than one, was roasted that day.")
            raise Missing("roasted_on", says % {"coffee": recipe.coffee})
        roasted_then: RoastBatch = rows[0]
        return roasted_then

    def _mass(self, field: str, values: Mapping[str, Value]) -> Any:
        found = values.get(field)
        return found if found is not None else self._given.typed.get(field) or self._missing(field)


_NONE_G = Decimal(0)


def _weighed(values: Mapping[str, Value]) -> tuple[dict[str, Value | None], str]:
    """What the scale showed, and of what."""
    alone, gross = values.get("beverage_g"), values.get("gross_g")
    if alone is not None:
        return {"weight_g": alone}, Beverage.ALONE.value
    return {"weight_g": gross}, (Beverage.ESTIMATED if gross is None else Beverage.SERVER).value


def _remember(table: dict[Any, Any], key: Any, found: Any) -> None:
    if len(table) >= _MOST_REMEMBERED:
        table.clear()
    table[key] = found


def _ids() -> Iterator[UUID]:
    """As `uuid4` makes them, without a call of the system for each."""
    while True:
        many = os.urandom(16 * 500)
        for at in range(0, len(many), 16):
            yield UUID(bytes=many[at : at + 16], version=4)
