"""Many rows of one table, written as fast as the database takes them: no object is made of any.

What a model's `save` would send is sent here: the same columns, each prepared as its own field prepares it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from operator import attrgetter
from typing import Any

from django.db import connection, models

_MOST_REMEMBERED = 20_000

Prepare = Callable[[Any], Any]


class Table:
    """One model, ready to be written. Rows are lists of values without their key, as `new` begins them."""

    def __init__(self, model: type[models.Model]) -> None:
        fields = [field for field in model._meta.concrete_fields if not field.primary_key]
        key = model._meta.pk
        assert key is not None
        quoted = connection.ops.quote_name
        self._table = model._meta.db_table
        self._key = str(key.column)
        columns = ", ".join(quoted(str(field.column)) for field in (key, *fields))
        places = ", ".join(["%s"] * (len(fields) + 1))
        self._insert = f"INSERT INTO {quoted(self._table)} ({columns}) VALUES ({places})"
        self._fields = {field.name: (place, _preparer(field)) for place, field in enumerate(fields)}
        self._new: list[Any] = [None] * len(fields)
        self.fill(self._new, {field.name: field.get_default() for field in fields})

    def new(self, said: Mapping[str, Any] | Iterable[tuple[str, Any]]) -> list[Any]:
        """A row that says this, and what a new one says otherwise."""
        row = self._new.copy()
        self.fill(row, dict(said))
        return row

    def fill(self, row: list[Any], said: Mapping[str, Any]) -> None:
        """Put values into a row, as the database's driver takes them."""
        fields = self._fields
        for name, value in said.items():
            place, prepare = fields[name]
            row[place] = value if value is None or prepare is None else prepare(value)

    def place(self, name: str) -> int:
        return self._fields[name][0]

    def keys(self, count: int) -> Sequence[int]:
        """So many new keys, nobody else's. Inside the transaction that writes them."""
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                cursor.execute(
                    "SELECT nextval(pg_get_serial_sequence(%s, %s)) FROM generate_series(1, %s)",
                    [self._table, self._key, count],
                )
                return sorted(key for (key,) in cursor.fetchall())
            # A key is never used twice there either, and the one writer is us.
            cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [self._table])
            last = cursor.fetchone()
            first = last[0] + 1 if last else 1
            return range(first, first + count)

    def write(self, rows: Iterable[Sequence[Any]], or_leave: bool = False) -> None:
        """Rows begin with their key. or_leave: those that are there already stay as they are."""
        with connection.cursor() as cursor:
            insert = self._insert + (" ON CONFLICT DO NOTHING" if or_leave else "")
            cursor.executemany(insert, rows)  # type: ignore[arg-type]  # any iterable will do


def _preparer(field: models.Field[Any, Any]) -> Prepare | None:
    """None for numbers and words, which go as they are; PostgreSQL's driver knows all the others too."""
    if field.is_relation:
        return lambda value: value.pk if isinstance(value, models.Model) else value
    if connection.vendor == "postgresql" and not isinstance(field, models.JSONField):
        return None
    if isinstance(field, models.UUIDField):
        return attrgetter("hex")
    if isinstance(field, models.DateTimeField):
        return connection.ops.adapt_datetimefield_value
    if isinstance(field, models.DecimalField | models.DateField | models.JSONField):
        return remembered(lambda value: field.get_db_prep_save(value, connection))
    return None


def remembered(prepare: Prepare) -> Prepare:
    """The same, done once for each of so many values."""
    found: dict[Any, Any] = {}

    def prepared(value: Any) -> Any:
        try:
            return found[value]
        except KeyError:
            if len(found) >= _MOST_REMEMBERED:
                found.clear()
            made = found[value] = prepare(value)
            return made

    return prepared
