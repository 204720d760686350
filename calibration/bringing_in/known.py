"""What brewbar has under which name, for a café's spreadsheet: its people, its equipment, its company's recipes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.db.models import Model

from brewbar.crew.models import Cafe, Membership, Role, Station, User
from calibration.importing.answers import Names
from calibration.importing.fields import FIELDS, Holds, Kind
from calibration.importing.mapping import Mapping as Columns
from calibration.importing.raw import Trouble
from calibration.importing.reading import Sheet
from calibration.models import Refractometer
from recipes.models import Coffee, Grinder, Kettle, Recipe, RecipeVersion, RoastBatch, Server

MOST_UNKNOWN = 50
"""Names that are asked about; in a column with more, something else is wrong."""


class Known:
    """tables: field -> name -> the rows that have it. Past members of the crew are there too: a spreadsheet is older
    than they are gone. Those in use come first."""

    def __init__(self, cafe: Cafe, names: Mapping[str, Mapping[str, str]] | None = None) -> None:
        self.cafe = cafe
        recipes = Recipe.objects.filter(company=cafe.company_id).select_related("coffee")
        self.tables: dict[str, dict[str, list[Any]]] = {
            "barista": _named(self._crew(), "name"),
            "recipe": _named(recipes, "name"),
            "coffee": _named(Coffee.objects.filter(company=cafe.company_id), "name"),
            "batch": _named(RoastBatch.objects.filter(coffee__company=cafe.company_id), "label"),
            "station": _named(Station.objects.filter(cafe=cafe), "name"),
            "grinder": _named(Grinder.objects.filter(cafe=cafe), "name"),
            "kettle": _named(Kettle.objects.filter(cafe=cafe), "name"),
            "server": _named(Server.objects.filter(cafe=cafe), "name"),
            "instrument": _named(Refractometer.objects.filter(cafe=cafe), "name"),
        }
        self.versions: dict[int, list[RecipeVersion]] = defaultdict(list)
        """Of each recipe those that were published, oldest first."""
        published = RecipeVersion.objects.filter(recipe__company=cafe.company_id).published()
        for version in published.select_related("recipe__coffee").order_by("published_at", "number"):
            self.versions[version.recipe_id].append(version)
        for field, meant in (names or {}).items():
            for typed, key in meant.items():
                if (row := self.row(field, key)) is not None:
                    self.tables[field][typed] = [row]

    def _crew(self) -> Iterable[User]:
        """Whoever brews here, and then whoever did."""
        rows = Membership.objects.filter(cafe=self.cafe).exclude(role=Role.OWNER).select_related("user")
        found = sorted(rows, key=lambda row: (row.ended_at is not None, row.user.name, row.pk))
        self.left: dict[int, datetime] = {}
        """When whoever brews here no more was last of the crew."""
        active = {row.user_id for row in found if row.ended_at is None}
        for row in found:
            if row.ended_at is not None and row.user_id not in active:
                self.left[row.user_id] = max(row.ended_at, self.left.get(row.user_id, row.ended_at))
        return dict.fromkeys(row.user for row in found)

    def rows(self, field: str) -> list[Any]:
        found = {row.pk: row for rows in self.tables[field].values() for row in rows}
        return sorted(found.values(), key=str)

    def row(self, field: str, key: str) -> Any | None:
        return next((row for row in self.rows(field) if str(row.pk) == key), None)

    def names(self, kind: Kind) -> dict[str, list[str]]:
        """What `Verdicts` are told. A spreadsheet of batches brings names of its own."""
        if kind is Kind.LOTS:
            return {}
        return {field: list(table) for field, table in self.tables.items()}

    def unknown(self, sheet: Sheet, columns: Columns) -> dict[str, dict[str, tuple[str, ...]]]:
        """{field: {name that isn't known: what was perhaps meant}}; the first of each column."""
        found: dict[str, dict[str, tuple[str, ...]]] = {}
        if columns.kind is Kind.LOTS:
            return found
        fields = FIELDS[columns.kind]
        chosen = [one for one in columns.columns if fields[one.field].holds is Holds.NAME]
        names = {one.field: Names(fields[one.field], tuple(self.tables[one.field])) for one in chosen}
        seen: set[tuple[int, object]] = set()
        for raw in sheet.rows():
            if raw.number <= columns.head_row:
                continue
            for one in chosen:
                cell = raw.cells[one.place] if one.place < len(raw.cells) else None
                if isinstance(cell, Trouble) or cell is None or (one.place, cell) in seen:
                    continue
                if len(seen) < 20_000:
                    seen.add((one.place, cell))
                typed = " ".join(str(cell).split())
                answer = names[one.field].find(typed)
                told = found.setdefault(one.field, {})
                if answer.problem and len(told) < MOST_UNKNOWN:
                    told[typed] = answer.offers
        return {field: told for field, told in found.items() if told}


def _named(rows: Iterable[Model], by: str) -> dict[str, list[Any]]:
    table: dict[str, list[Any]] = defaultdict(list)
    in_use = sorted(rows, key=lambda row: getattr(row, "retired_at", None) is not None)
    for row in in_use:
        table[str(getattr(row, by))].append(row)
    return dict(table)
