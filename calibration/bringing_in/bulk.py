"""Many rows of one table, written as fast as the database takes them: no object is made of any.

What a model's `save` would send is sent here: the same columns, each prepared by its own field.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from django.db import connection, models


class Table:
    """One model, ready to be written. names: of the columns, in the order in which rows have them; the key is first."""

    def __init__(self, model: type[models.Model]) -> None:
        fields = [field for field in model._meta.concrete_fields if not field.primary_key]
        key = model._meta.pk
        assert key is not None
        quoted = connection.ops.quote_name
        self._table = model._meta.db_table
        self._key = str(key.column)
        self.names = [field.name for field in fields]
        columns = ", ".join(quoted(str(field.column)) for field in (key, *fields))
        places = ", ".join(["%s"] * (len(fields) + 1))
        self._insert = f"INSERT INTO {quoted(self._table)} ({columns}) VALUES ({places})"
        self._prepared = [
            (place, _preparer(field)) for place, field in enumerate(fields) if _is_prepared(field)
        ]

    def prepare(self, values: list[Any]) -> list[Any]:
        """The row as the database's driver takes it, still without its key."""
        for place, prepared in self._prepared:
            value = values[place]
            if value is not None:
                values[place] = prepared(value)
        return values

    def place(self, name: str) -> int:
        return self.names.index(name)

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

    def write(self, rows: Iterable[Sequence[Any]]) -> None:
        """Rows begin with their key."""
        with connection.cursor() as cursor:
            cursor.executemany(self._insert, rows)  # type: ignore[arg-type]  # any iterable will do


_PREPARED = (models.DecimalField, models.DateField, models.UUIDField, models.JSONField)
_MOST_REMEMBERED = 20_000


def _is_prepared(field: models.Field[Any, Any]) -> bool:
    """Numbers, words and keys go as they are; PostgreSQL's driver knows the others too."""
    return isinstance(field, _PREPARED) and connection.vendor != "postgresql"


def _preparer(field: models.Field[Any, Any]) -> Callable[[Any], Any]:
    remembered: dict[Any, Any] = {}

    def prepared(value: Any) -> Any:
        found = remembered.get(value)
        if found is None:
            if len(remembered) >= _MOST_REMEMBERED:
                remembered.clear()
            found = remembered[value] = field.get_db_prep_save(value, connection)
        return found

    if isinstance(field, models.UUIDField):
        return lambda value: field.get_db_prep_save(value, connection)
    return prepared
