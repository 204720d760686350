"""Recipes with their versions and pours as JSON: to be read by people and other programs.

An export is taken in from its tables alone; this file says the same again, with names in the place of numbers.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django.db import models
from django.db.models import Prefetch

from brewbar.crew.models import Company
from calibration.exporting.cells import moment
from recipes.models import Pour, Recipe, RecipeVersion

AT_ONCE = 50
OF_A_VERSION = (
    *("what_changed", "why", "reference_grind", "dose_g", "water_g", "at_the_boil", "water_temperature_C"),
    *("rinse_paper", "bypass_g", "ice_g", "tds_target", "tds_tolerance", "ey_target", "ey_tolerance"),
    *("brew_time_s", "brew_time_tolerance_s", "intended_cup", "note"),
)
OF_A_POUR = (
    *("starts_at_s", "to_g", "pattern", "spout_height_mm", "flow_g_s", "temperature_C", "after", "note"),
)
EXPLAINED = (
    "A list of recipes, oldest first. Each has a name, its coffee and its versions, oldest first. A version has what "
    "recipe_versions.csv says of it under the same names, so that the name of a number says its unit, and its pours in "
    "order, with what pours.csv says; tds is in % by mass, ey in %. null is what is not said; published_at null is a "
    "draft. Names stand in the place of numbers of rows."
)


def written(company: Company) -> Iterator[str]:
    """The file, a piece for each recipe."""
    versions = RecipeVersion.objects.order_by("pk").select_related("based_on", "brewer", "paper", "kettle")
    found = (
        Recipe.objects.filter(company=company)
        .order_by("pk")
        .select_related("coffee")
        .prefetch_related(
            Prefetch("versions", versions), Prefetch("versions__pours", Pour.objects.order_by("order", "pk"))
        )
    )
    between = "[\n"
    for recipe in found.iterator(chunk_size=AT_ONCE):
        yield between + json.dumps(_recipe(recipe), ensure_ascii=False, indent=1)
        between = ",\n"
    yield "[]\n" if between == "[\n" else "\n]\n"


def _recipe(recipe: Recipe) -> dict[str, Any]:
    return {
        "name": recipe.name,
        "coffee": recipe.coffee.name,
        "retired_at": _plain(recipe.retired_at),
        "versions": [_version(version) for version in recipe.versions.all()],
    }


def _version(version: RecipeVersion) -> dict[str, Any]:
    return {
        "version": version.number,
        "based_on_version": version.based_on.number if version.based_on else None,
        "published_at": _plain(version.published_at),
        "retired_at": _plain(version.retired_at),
        "brewer": _name(version.brewer),
        "paper": _name(version.paper),
        "kettle": _name(version.kettle),
        **{name: _plain(getattr(version, name)) for name in OF_A_VERSION},
        "pours": [{name: _plain(getattr(pour, name)) for name in OF_A_POUR} for pour in version.pours.all()],
    }


def _name(row: models.Model | None) -> str | None:
    return None if row is None else str(row)


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return int(value) if value == value.to_integral_value() else float(value)
    return moment(value) if hasattr(value, "astimezone") else value
