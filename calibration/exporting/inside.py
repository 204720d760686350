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

from brewbar.crew.models import Change, User
from calibration.exporting.numbers import Rows
from calibration.exporting.tables import TABLES_LEFT_OUT
from calibration.models import CheckRun, Import, InstrumentCheck, Reading, Refractometer, Signal
from recipes.models import Coffee, Recipe, RoastBatch

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


def renumbering(rows: Rows) -> dict[tuple[type[models.Model], str], Renumber]:
    """{column: how its values are written}."""
    return {
        (Change, "row"): _Record(rows),
        (Signal, "key"): lambda value, _own: _signal_key(rows, value),
        (Signal, "evidence"): lambda value, _own: _evidence(rows, value),
        (CheckRun, "typed"): lambda value, _own: _typed(rows, value),
        (Import, "made"): lambda value, _own: _made(rows, value),
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
    found = {}
    for name, said in value.items():
        model = _chosen_from(name)
        if model is not None and str(said).isdecimal():
            number = rows.numbers(model).of(int(said))
            if number is None:
                continue
            said = str(number)
        found[name] = said
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
