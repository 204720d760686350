"""One row of a sheet -> the entry that somebody would have typed, or what is missing for it in words.

What the row itself doesn't say comes from what was given for all rows, and then from the board as it stood at that
hour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, time
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe, Station
from calibration.bringing_in.known import Known
from calibration.bringing_in.moments import NoSuchMoment, moment
from calibration.bringing_in.slots import Slots
from calibration.entry import Entry
from calibration.importing.answers import Value
from calibration.importing.fields import FIELDS, Kind
from calibration.models import Reading
from recipes.models import Recipe, RecipeVersion, RoastBatch, Slot, SlotSetting

Beverage = Reading.Beverage
NAMED = ("barista", "recipe", "station", "batch", "grinder", "kettle", "server", "instrument")
"""What can be given for all rows by the key of a row."""
TYPED = ("time", "grind_setting", "dose_g", "water_g", "kind")


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


class Turner:
    """Turns the rows of one import, one after the other."""

    def __init__(self, cafe: Cafe, known: Known, slots: Slots, given: Given) -> None:
        self._cafe, self._zone = cafe, cafe.zone
        self._known, self._slots, self._given = known, slots, given
        self._fields = FIELDS[Kind.READINGS]
        stations = [row for row in known.rows("station") if row.retired_at is None]
        self._only_station = stations[0] if len(stations) == 1 else None

    def entry(self, values: Mapping[str, Value]) -> tuple[Entry, str]:
        """The entry, and a remark about its moment. Raises Missing."""
        at, remark = self._moment(values)
        recipe = self._recipe(values)
        slot, setting = self._slot(values, recipe, at)
        entry = Entry(
            uuid=uuid4(),
            slot=slot,
            barista=self._row("barista", values) or self._missing("barista"),
            kind=str(values.get("kind") or self._given.typed.get("kind") or Reading.Kind.CHECK),
            drops=_drops(values),
            brew_time_s=_int(values.get("brew_time_s")),
            dose_g=self._mass("dose_g", values),
            water_g=self._mass("water_g", values),
            bypass_g=_decimal(values.get("bypass_g")) or Decimal(0),
            ice_g=_decimal(values.get("ice_g")) or Decimal(0),
            roast_batch=self._batch(values, recipe) or (setting.roast_batch if setting else None)
            or self._missing("batch"),
            grinder=self._row("grinder", values) or (setting.grinder if setting else None)
            or self._missing("grinder"),
            grind_setting=str(values.get("grind_setting") or self._given.typed.get("grind_setting") or "")
            or (setting.grind_setting if setting else "")
            or self._missing("grind_setting"),
            kettle=self._row("kettle", values) or slot.kettle,
            refractometer=self._row("instrument", values) or self._missing("instrument"),
            brewed_at=at,
            sample_temperature_C=_decimal(values.get("sample_temperature_C")),
            slurry_temperature_C=_decimal(values.get("slurry_temperature_C")),
            taste=str(values.get("taste") or ""),
            **self._weighed(values),
        )  # fmt: skip
        return entry, remark

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
            raise Missing(field, _("More than one is called %(name)s.") % {"name": typed})
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
            return moment(day, at, self._zone)  # type: ignore[arg-type]  # as the fields hold them
        except NoSuchMoment as error:
            raise Missing("time", str(error)) from error

    def _recipe(self, values: Mapping[str, Value]) -> Recipe:
        found: Recipe | None = self._row("recipe", values)
        if found is not None:
            return found
        coffee = self._row("coffee", values) or self._missing("recipe")
        recipes = [one for one in self._known.rows("recipe") if one.coffee_id == coffee.pk]
        if len(recipes) != 1:
            says = _(
                "%(coffee)s has no recipe, or more than one: choose the recipe's column, or one for all."
            )
            raise Missing("coffee", says % {"coffee": coffee})
        only: Recipe = recipes[0]
        return only

    def _slot(
        self, values: Mapping[str, Value], recipe: Recipe, at: datetime
    ) -> tuple[Slot, SlotSetting | None]:
        station: Station = self._row("station", values) or self._only_station or self._missing("station")
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

    def _mass(self, field: str, values: Mapping[str, Value]) -> Decimal:
        found = _decimal(values.get(field))
        return found if found is not None else self._given.typed.get(field) or self._missing(field)

    def _weighed(self, values: Mapping[str, Value]) -> dict[str, Any]:
        alone, gross = _decimal(values.get("beverage_g")), _decimal(values.get("gross_g"))
        if alone is not None:
            return {"beverage_source": Beverage.ALONE.value, "weight_g": alone}
        if gross is None:
            return {"beverage_source": Beverage.ESTIMATED.value}
        server = self._row("server", values)
        tare_g = server.tare_g if server else None
        return {
            "beverage_source": Beverage.SERVER.value,
            "weight_g": gross,
            "server": server,
            "tare_g": tare_g,
        }


def _drops(values: Mapping[str, Value]) -> tuple[Decimal, ...]:
    found = values.get("tds", ())
    return found if isinstance(found, tuple) else ()


def _decimal(value: Value | None) -> Decimal | None:
    return value if isinstance(value, Decimal) else None


def _int(value: Value | None) -> int:
    return value if isinstance(value, int) else 0
