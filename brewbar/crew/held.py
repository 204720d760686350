"""What is held about a person: every room registers its kinds of rows, and from that come a page and a download.

A kind says which model, which ways lead to the person, what it is for, and every column that the person is given. A
column that is not given says why. Other people in a row are "somebody else", unless the person reads their name on the
pages anyway.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from django.apps import apps
from django.core.exceptions import FieldDoesNotExist
from django.db import models
from django.db.models import Q
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from brewbar.crew.models import User

Text = str | Promise
Show = Callable[[User, Mapping[str, Any]], Any]

AT_ONCE = 500
NUMBER = gettext_lazy("A number of the database that says nothing.")
KEPT = gettext_lazy(
    "Kept as long as the company keeps its books here: what it rests on must not change afterwards."
)


@dataclass(frozen=True)
class Kind:
    """One kind of rows. model: its label; ways: fields that lead to the person, whichever; where: another way to them.

    columns: {way to a value: what it means}, in order; left_out: {field: why it is not given}; rest: why all other
    fields are not given, None where there are none; names: columns of people whose names are shown; shows: {column:
    what is written there instead}, from the person and the row.
    """

    key: str
    room: Text
    model: str
    title: Text
    purpose: Text
    columns: Mapping[str, Text]
    ways: tuple[str, ...] = ()
    where: Callable[[User], Q] | None = None
    left_out: Mapping[str, Text] = field(default_factory=dict)
    rest: Text | None = None
    keeps: Text = KEPT
    names: frozenset[str] = frozenset()
    shows: Mapping[str, Show] = field(default_factory=dict)

    @property
    def table(self) -> type[models.Model]:
        return apps.get_model(self.model)

    @property
    def file(self) -> str:
        return f"{self.key}.csv"

    @property
    def keeps_otherwise(self) -> bool:
        return self.keeps is not KEPT

    @property
    def head(self) -> list[str]:
        return [heading(way) for way in self.columns]

    def rows_of(self, user: User) -> models.QuerySet[Any]:
        wanted = self.where(user) if self.where else Q()
        for way in self.ways:
            wanted |= Q(**{way: user})
        return self.table._base_manager.filter(wanted).order_by("pk")


_kinds: dict[str, Kind] = {}


def register(*kinds: Kind) -> None:
    """Called by each room once it is ready."""
    _kinds.update({kind.key: kind for kind in kinds})


def kinds() -> tuple[Kind, ...]:
    return tuple(_kinds.values())


@dataclass(frozen=True)
class Held:
    kind: Kind
    number: int


def about(user: User) -> list[Held]:
    """How many rows of each kind are about ``user``, or by them. One query each."""
    return [Held(kind, kind.rows_of(user).count()) for kind in kinds()]


def heading(way: str) -> str:
    """What a column is called in its file: "version recipe" for version__recipe__name."""
    return way.removesuffix("__name").replace("__", " ").replace("_", " ")


# --- the rows themselves


def cells_of(kind: Kind, user: User) -> Iterator[list[Any]]:
    """The rows of a kind that are the person's, as written into its file; never more than a few in memory."""
    ways = list(kind.columns)
    writers = [_writer(kind, way, user) for way in ways]
    for values in kind.rows_of(user).values_list(*ways).iterator(chunk_size=AT_ONCE):
        cells = [write(value) for write, value in zip(writers, values, strict=True)]
        if kind.shows:
            row = dict(zip(ways, values, strict=True))
            for way, show in kind.shows.items():
                cells[ways.index(way)] = show(user, row)
        yield cells


def resolved(model: type[models.Model], way: str) -> models.Field[Any, Any]:
    """The field that ``way`` ends at. Raises FieldDoesNotExist."""
    first, _sep, rest = way.partition("__")
    found = model._meta.get_field(first)
    if not isinstance(found, models.Field):
        raise FieldDoesNotExist(way)
    if not rest:
        return found
    if not isinstance(found.related_model, type):
        raise FieldDoesNotExist(way)
    return resolved(found.related_model, rest)


def _writer(kind: Kind, way: str, user: User) -> Callable[[Any], Any]:
    """What makes a cell of a value of this column: chosen once, since there are many rows."""
    found = resolved(kind.table, way)
    if found.related_model is User:
        return _people(user, way in kind.names)
    if found.choices:
        words = {value: str(word) for value, word in found.flatchoices}
        return lambda value: "" if value is None else words.get(value, value)
    return _written


def _people(user: User, is_named: bool) -> Callable[[Any], str]:
    known, nameless = {user.pk: _("you")}, _("somebody else")

    def write(pk: int | None) -> str:
        if pk is None:
            return ""
        if pk not in known:
            known[pk] = User.objects.get(pk=pk).name if is_named else nameless
        return known[pk]

    return write


def _written(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="seconds")
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, dict | list):
        return json.dumps(value, ensure_ascii=False) if value else ""
    return value
