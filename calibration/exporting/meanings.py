"""What a column is, in words: from the model's own names, docstrings and choices, so that nothing is said twice."""

from __future__ import annotations

import ast
import inspect
import re
import textwrap
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from django.db import models
from django.utils import translation

from brewbar.crew import held
from calibration.exporting.tables import Table, table_of
from calibration.exporting.words import ABOUT, WORDS

HEAD = ("table", "column", "type", "unit", "meaning", "may be empty")
NOT_KNOWN, NO_TEXT, NEVER = "yes: not known, or not so", "yes: nothing was written", "no"

# The longest ending that fits says the unit.
UNITS = {
    "conductance_m2_s": "m²/s",
    "_g_s": "g/s",
    "_mg_l": "mg/L",
    "_g_l": "g/L",
    "_g": "g",
    "_s": "s",
    "_mm": "mm",
    "_m": "m",
    "_deg": "°",
    "_C": "°C",
    "_h": "h",
    "_days": "days",
    "_months": "months",
    "tds": "% TDS",
    "tds_relative": "% TDS",
    "tds_absolute": "% TDS",
    "tds_target": "% TDS",
    "tds_tolerance": "% TDS",
    "relative_U_tds": "% TDS",
    "ey": "%",
    "ey_relative": "%",
    "ey_absolute": "%",
    "ey_target": "%",
    "ey_tolerance": "%",
    "price_kg": "the café's currency per kg",
    "a_check": "min",
    "turns_at": "hour of the day",
}
OTHERWISE = {
    ("bed_fits", "low"): "m²/s",
    ("bed_fits", "high"): "m²/s",
    ("bed_fits", "next_low"): "m²/s",
    ("bed_fits", "next_high"): "m²/s",
    ("follow_ups", "smallest"): "% TDS or s",
    ("check_runs", "brew_time_s"): "s",
}
BARE_NUMBERS = frozenset(
    {
        ("bed_fits", "brews"),
        ("bed_fits", "left_out"),
        ("bed_fits", "scatter"),
        ("bed_fits", "u_relative"),
        ("boards", "revision"),
        ("check_plans", "drops"),
        ("check_plans", "false_alarms_a_month"),
        ("check_plans", "twice_share"),
        ("drops", "order"),
        ("grinders", "setting_step"),
        ("imports", "brought_in"),
        ("imports", "left_out"),
        ("imports", "rows"),
        ("pours", "order"),
        ("recipe_versions", "number"),
        ("recipe_versions", "revision"),
        ("signals", "run_length"),
        ("stations", "position"),
    }
)
"""Counts, ranks and shares."""

ADDRESSED = re.compile(r"\b(you|your|yours|you're)\b", re.IGNORECASE)
CALLED = ("name", "label", "uuid")
NOTHING = re.compile(r"\bNone\b(?=[ :;])")
MARKUP = re.compile(r"``?([^`]*)`?`")


def dictionary(tables: Iterable[Table]) -> list[tuple[str, ...]]:
    """A row for each column of each table, in English whatever language is on."""
    with translation.override("en"):
        return [
            (
                table.name,
                field.name,
                kind(field),
                unit(table, field),
                meaning(table, field),
                may_be_empty(field),
            )
            for table in tables
            for field in table.fields
        ]


def about(table: Table) -> str:
    """What a row is: the first paragraph of the model's docstring, unless `words` has a better one."""
    said = inspect.cleandoc(table.model.__doc__ or "")
    if said.startswith(f"{table.model.__name__}("):
        return ABOUT.get(table.name, "")
    return ABOUT.get(table.name) or _plain(said.split("\n\n")[0])


def kind(field: models.Field[Any, Any]) -> str:
    if field.primary_key:
        return "number of the row"
    if isinstance(field, models.ForeignKey):
        return f"id in {table_of(field.related_model).file}"
    if isinstance(field, models.BooleanField):
        return "true or false"
    if isinstance(field, models.DecimalField):
        return f"number, {field.decimal_places} decimal place{'s' if field.decimal_places > 1 else ''}"
    if isinstance(field, models.FloatField):
        return "number"
    if isinstance(field, models.IntegerField):
        return "whole number"
    if isinstance(field, models.UUIDField):
        return "UUID"
    if isinstance(field, models.DateTimeField):
        return "moment, UTC"
    if isinstance(field, models.DateField):
        return "day"
    if isinstance(field, models.JSONField):
        return "JSON"
    return f"text, at most {field.max_length}" if field.max_length else "text"


def unit(table: Table, field: models.Field[Any, Any]) -> str:
    if not is_quantity(field):
        return ""
    place = (table.name, field.name)
    if place in OTHERWISE:
        return OTHERWISE[place]
    if place in BARE_NUMBERS:
        return ""
    fitting = [ending for ending in UNITS if field.name == ending or field.name.endswith(_ending(ending))]
    return UNITS[max(fitting, key=len)] if fitting else ""


def _ending(ending: str) -> str:
    return ending if ending.startswith("_") else f"_{ending}"


def is_quantity(field: models.Field[Any, Any]) -> bool:
    is_number = isinstance(field, models.DecimalField | models.FloatField | models.IntegerField)
    return is_number and not field.primary_key


def meaning(table: Table, field: models.Field[Any, Any]) -> str:
    """The column's name for people, what is said of it, and what may stand there."""
    if field.primary_key:
        return "1, 2, 3 … in this file; other files name the row by it."
    name = str(field.verbose_name)
    has_name = name != field.name.replace("_", " ")
    called = f"{name[:1].upper()}{name[1:]}."
    said = [
        called if has_name else "",
        WORDS.get(f"{table.name}.{field.name}", "")
        or docstrings(table.model).get(field.name, "")
        or _held(table.model, field.name)
        or ("" if has_name else WORDS.get(field.name, "")),
        str(field.help_text),
    ]
    if any(one.casefold().startswith(called[:-1].casefold()) for one in said[1:]):
        said[0] = ""
    if not any(said):
        said = [called]
    if field.flatchoices and not isinstance(field, models.ForeignKey):
        words = [
            str(value) if str(value) == str(label) else f"{value} ({label})"
            for value, label in field.flatchoices
            if value != ""
        ]
        said.append(f"One of: {', '.join(words)}.")
    return " ".join(dict.fromkeys(_plain(one) for one in said if one))


def may_be_empty(field: models.Field[Any, Any]) -> str:
    if field.null:
        return NOT_KNOWN
    is_text = isinstance(field, models.CharField | models.TextField)
    return NO_TEXT if is_text and field.blank else NEVER


@cache
def docstrings(model: type[models.Model]) -> Mapping[str, str]:
    """{name of a field: the string that stands below it in the source of the model or of what it is made from}."""
    found: dict[str, str] = {}
    for made_from in reversed(model.__mro__):
        if issubclass(made_from, models.Model) and not made_from.__module__.startswith("django."):
            found |= _below_fields(made_from)
    return found


def _below_fields(model: type[models.Model]) -> dict[str, str]:
    tree = ast.parse(textwrap.dedent(inspect.getsource(model))).body[0]
    assert isinstance(tree, ast.ClassDef)
    found = {}
    for one, following in zip(tree.body, tree.body[1:], strict=False):
        if not (isinstance(one, ast.Assign) and isinstance(one.targets[0], ast.Name)):
            continue
        if isinstance(following, ast.Expr) and isinstance(following.value, ast.Constant):
            found[one.targets[0].id] = inspect.cleandoc(str(following.value.value))
    return found


def _held(model: type[models.Model], name: str) -> str:
    """As people are told about what is held of them, where that is not said to them in person."""
    for one in held.kinds():
        if one.table is model:
            for way, said in one.columns.items():
                if way in (name, *(f"{name}__{called}" for called in CALLED)) and not ADDRESSED.search(
                    str(said)
                ):
                    return str(said)
    return ""


def _plain(text: str) -> str:
    plain = MARKUP.sub(r"\1", " ".join(text.split()))
    return NOTHING.sub(lambda found: "Empty" if found.start() == 0 else "empty", plain)
