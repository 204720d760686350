"""The numbers of rows in an export: 1, 2, 3 … in the order in which the database counts them.

A company that was taken in has these numbers as its keys, so that its own export has them again.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Iterable
from typing import Any

from django.db import models

from brewbar.crew.models import Company, Membership, User
from calibration.belongings import COMPANY
from calibration.exporting.tables import Table, table_of, tables

AT_ONCE = 2000


class Numbers:
    """Of one table: eight bytes a row, so that a million readings take eight megabytes."""

    def __init__(self, keys: Iterable[int]) -> None:
        self._keys = array("q", keys)

    def __len__(self) -> int:
        return len(self._keys)

    def __iter__(self) -> Any:
        return iter(self._keys)

    def of(self, key: int) -> int | None:
        """None for a row that is not the company's, or no longer there."""
        at = bisect_left(self._keys, key)
        return at + 1 if at < len(self._keys) and self._keys[at] == key else None


class Rows:
    """The rows of one company, and their numbers; those of a table are learnt when they are first asked for."""

    def __init__(self, company: Company) -> None:
        self.company = company
        self._numbers: dict[type[models.Model], Numbers] = {}

    def numbers(self, model: type[models.Model]) -> Numbers:
        if model not in self._numbers:
            keys: Iterable[int]
            if model is User:
                keys = sorted(self._people())
            else:
                found = table_of(model).belonging.rows_of(self.company).order_by("pk")
                keys = found.values_list("pk", flat=True).iterator(chunk_size=AT_ONCE)
            self._numbers[model] = Numbers(keys)
        return self._numbers[model]

    def of(self, table: Table) -> Iterable[tuple[Any, ...]]:
        """Every row as its values in the order of ``table.fields``, as the database has them."""
        ways = [field.attname for field in table.fields]
        if table.model is User:
            keys = list(self.numbers(User))
            for start in range(0, len(keys), AT_ONCE):
                found = User.objects.filter(pk__in=keys[start : start + AT_ONCE])
                yield from found.order_by("pk").values_list(*ways)
            return
        rows = table.belonging.rows_of(self.company).order_by("pk")
        yield from rows.values_list(*ways).iterator(chunk_size=AT_ONCE)

    def _people(self) -> set[int]:
        """Whoever has or had a role here, and whoever a row of the company names besides."""
        members = Membership.objects.filter(company=self.company)
        found = set(members.order_by().values_list("user", flat=True).distinct())
        for table in tables():
            if table.belonging is COMPANY or table.model is User:
                continue
            for field in table.fields:
                if field.is_relation and field.related_model is User:
                    rows = table.belonging.rows_of(self.company).order_by()
                    found.update(rows.values_list(field.attname, flat=True).distinct())
        return found - {None}
