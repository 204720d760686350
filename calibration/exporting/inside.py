"""Keys of rows that stand inside text and JSON, where no foreign key says so: written as the numbers of an export.

Whatever was deleted since (a draft, say) has no number: the record calls it by the change that named it first.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from django.apps import apps
from django.core.exceptions import FieldDoesNotExist
from django.db import models

from brewbar.crew.models import Change, Station, User
from calibration.exporting.numbers import Rows
from calibration.exporting.tables import TABLES_LEFT_OUT
from calibration.models import CheckRun, Import, InstrumentCheck, Reading, Refractometer, Signal
from recipes.models import Coffee, Grinder, Kettle, Recipe, RecipeVersion, RoastBatch, Server

Renumber = Callable[[Any, int], Any]
"""From a value and the number of its own row."""

ROW_KEY = re.compile(r"([a-z]+\.[a-z]+) ([0-9]+)")
PART_OF_KEY = re.compile(r"\b(recipe|person|refractometer)-([0-9]+)\b")
NAMED: Mapping[str, type[models.Model]] = {
    "recipe": Recipe,
    "person": User,
    "refractometer": Refractometer,
}
MADE: Mapping[str, type[models.Model]] = {"coffees": Coffee, "batches": RoastBatch}
MEANT: Mapping[str, type[models.Model]] = {
    "barista": User,
    "recipe": Recipe,
    "version": RecipeVersion,
    "coffee": Coffee,
    "batch": RoastBatch,
    "station": Station,
    "grinder": Grinder,
    "kettle": Kettle,
    "server": Server,
    "instrument": Refractometer,
}
"""What a spreadsheet's rows and names may be said to mean."""


def renumbering(rows: Rows) -> dict[tuple[type[models.Model], str], Renumber]:
    """{column: how its values are written}."""
    return {
        (Change, "row"): _Record(rows),
        (Signal, "key"): lambda value, _own: _signal_key(rows, value),
        (Signal, "evidence"): lambda value, _own: _evidence(rows, value),
        (CheckRun, "typed"): lambda value, _own: _typed(rows, value),
        (Import, "made"): lambda value, _own: _made(rows, value),
        (Import, "mapping"): lambda value, _own: _mapping(rows, value),
    }


class _Record:
    """What the record calls a row; see `brewbar.crew.record.row_key`."""

    def __init__(self, rows: Rows) -> None:
        self._rows = rows
        self._gone: dict[str, int] = {}

    def __call__(self, value: str, own: int) -> str:
        parts = ROW_KEY.fullmatch(value)
        if parts is None:
            return value
        label, key = parts.groups()
        number = None
        model = _model(label)
        if model is not None and model not in TABLES_LEFT_OUT:
            number = self._rows.numbers(model).of(int(key))
        if number is None:
            return f"{label} gone-{self._gone.setdefault(value, own)}"
        return f"{label} {number}"


def _model(label: str) -> type[models.Model] | None:
    try:
        return apps.get_model(label)
    except (LookupError, ValueError):
        return None


def _signal_key(rows: Rows, value: str) -> str:
    def numbered(part: re.Match[str]) -> str:
        number = rows.numbers(NAMED[part[1]]).of(int(part[2]))
        return f"{part[1]}-{number or 'gone'}"

    return PART_OF_KEY.sub(numbered, value)


def _evidence(rows: Rows, value: dict[str, Any]) -> dict[str, Any]:
    value = dict(value)
    if "readings" in value:
        value["readings"] = _known(rows, Reading, value["readings"])
    if value.get("check") is not None:
        value["check"] = rows.numbers(InstrumentCheck).of(value["check"])
    return value


def _typed(rows: Rows, value: dict[str, Any]) -> dict[str, Any]:
    """A form kept as it was sent: its choices are keys as text, of fields called as those of a reading."""
    return _chosen(rows, {name: (_chosen_from(name), said) for name, said in value.items()})


def _mapping(rows: Rows, value: dict[str, Any]) -> dict[str, Any]:
    """What was answered about a spreadsheet: rows that hold for all of it, and those that its names mean."""
    value = dict(value)
    if "given" in value:
        value["given"] = _chosen(
            rows, {name: (MEANT.get(name), said) for name, said in value["given"].items()}
        )
    if "names" in value:
        value["names"] = {
            field: _chosen(rows, {typed: (MEANT.get(field), key) for typed, key in meant.items()})
            for field, meant in value["names"].items()
        }
    return value


def _chosen(rows: Rows, said: Mapping[str, tuple[type[models.Model] | None, Any]]) -> dict[str, Any]:
    """{name: (from which model it was chosen, key as text)}, where it was chosen from one; as numbers."""
    found = {}
    for name, (model, key) in said.items():
        if model is not None and str(key).isdecimal():
            number = rows.numbers(model).of(int(key))
            if number is None:
                continue
            key = str(number)
        found[name] = key
    return found


def _chosen_from(name: str) -> type[models.Model] | None:
    try:
        related = Reading._meta.get_field(name).related_model
    except FieldDoesNotExist:
        return None
    return related if isinstance(related, type) else None


def _made(rows: Rows, value: dict[str, Any]) -> dict[str, Any]:
    return {name: _known(rows, MADE[name], said) if name in MADE else said for name, said in value.items()}


def _known(rows: Rows, model: type[models.Model], keys: list[int]) -> list[int]:
    numbers = (rows.numbers(model).of(key) for key in keys)
    return [number for number in numbers if number is not None]
