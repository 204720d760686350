"""An export taken in by a brewbar that has no company yet: all of it, or nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from django.core.management.color import no_style
from django.db import DatabaseError, connection, models, transaction

from brewbar.crew.models import Company, Membership, Role, User
from brewbar.refusal import Refusal
from calibration.belongings import COMPANY
from calibration.exporting.cells import NotRead, reader
from calibration.exporting.opening import Export, Manifest, opened
from calibration.exporting.tables import Table, as_taken_in

AT_ONCE = 500
DEPENDS = object()
"""In the place of a value that follows from the others of its row."""


@dataclass(frozen=True)
class TakenIn:
    """owners: the sign-in names of those who own the company, who have no password yet."""

    manifest: Manifest
    company: Company
    rows: int
    owners: list[str]


def take_in(path: Path) -> TakenIn:
    """Raises Refusal, and changes nothing, where there is a company already, or the file is not what it should be."""
    with opened(path) as export:
        try:
            with transaction.atomic():
                refuse_what_is_there()
                rows = sum(_take(export, table) for table in as_taken_in())
                _agree()
        except DatabaseError as error:
            said = str(error).strip().splitlines()[0]
            raise Refusal(f"{path} does not fit together: {said}. Nothing was taken in.") from error
        company = Company.objects.get()
        owners = Membership.objects.active().filter(company=company, role=Role.OWNER)
        names = owners.order_by("user__username").values_list("user__username", flat=True)
        return TakenIn(export.manifest, company, rows, list(names))


def refuse_what_is_there() -> None:
    """Numbers of rows become their keys, so none may be taken."""
    there = Company.objects.order_by("name").first()
    if there is not None:
        raise Refusal(
            f"{there.name} is here already. An export is taken in by an empty brewbar: set BREWBAR_DATA to another "
            "folder, or DATABASE_URL to another database."
        )
    if User.objects.exists():
        raise Refusal("There are people here already. An export is taken in by an empty brewbar.")


# --- one table


def _take(export: Export, table: Table) -> int:
    if not export.has(table.file):
        # Of a later brewbar than the one that wrote the file.
        return 0
    with export.lines(table.file) as lines:
        head = next(lines, [])
        rows = _rows(table, head, lines)
        if table.belonging is COMPANY:
            first = list(islice(rows, 2))
            if len(first) != 1:
                raise Refusal(f"{table.file} has {len(first) or 'no'} rows: an export is of one company.")
            rows = iter(first)
        written = 0
        statement = _insert(table.model)
        with connection.cursor() as cursor:
            while some := list(islice(rows, AT_ONCE)):
                cursor.executemany(statement, some)
                written += len(some)
    if export.manifest.rows.get(table.file) != written:
        raise Refusal(f"{table.file} has {written} rows, and the export says otherwise.")
    return written


def _insert(model: type[models.Model]) -> str:
    quote = connection.ops.quote_name
    columns = [str(field.column) for field in model._meta.concrete_fields]
    names = ", ".join(quote(column) for column in columns)
    places = ", ".join(["%s"] * len(columns))
    return f"INSERT INTO {quote(model._meta.db_table)} ({names}) VALUES ({places})"


def _rows(table: Table, head: list[str], lines: Iterator[list[str]]) -> Iterator[list[Any]]:
    """Every row as the database takes it, in the order of the model's columns."""
    _refuse_columns(table, head)
    fields = table.model._meta.concrete_fields
    key = table.model._meta.pk
    sources = [_source(table, field, head) for field in fields]
    for own, line in enumerate(lines, start=1):
        number = own + 1
        if len(line) != len(head):
            raise Refusal(
                f"{table.file}, row {number}: it has {len(line)} cells, and should have {len(head)}."
            )
        values = [_value(table, number, field, one, line) for field, one in zip(fields, sources, strict=True)]
        row = dict(zip((field.attname for field in fields), values, strict=True))
        if row[key.attname] != own:
            raise Refusal(f"{table.file}, row {number}: id should be {own}.")
        for field, left_out in table.left_out.items():
            known = {name: value for name, value in row.items() if value is not DEPENDS}
            row[field.attname] = left_out.fill(table.model(**known))
        yield [field.get_db_prep_save(row[field.attname], connection) for field in fields]


Source = Callable[[list[str]], Any]


def _source(table: Table, field: models.Field[Any, Any], head: list[str]) -> Source:
    """Where the value of a column comes from: its cell, what stands for a secret, or the default of a new column."""
    if field in table.left_out:
        return lambda _line: DEPENDS
    if field.name in head:
        read, place = reader(field), head.index(field.name)
        return lambda line: read(line[place])
    return lambda _line: field.get_default()


def _value(table: Table, number: int, field: models.Field[Any, Any], source: Source, line: list[str]) -> Any:
    try:
        return source(line)
    except NotRead as error:
        raise Refusal(f"{table.file}, row {number}, {field.name}: this should be {error}.") from error


def _refuse_columns(table: Table, head: list[str]) -> None:
    known = {field.name: field for field in table.fields}
    if unknown := [name for name in head if name not in known]:
        raise Refusal(
            f"{table.file} has {', '.join(unknown)}, which this brewbar does not know: update it first."
        )
    if len(set(head)) != len(head):
        raise Refusal(f"{table.file} names a column twice.")
    for name, field in known.items():
        can_be_left_out = field.null or field.has_default() or (field.blank and field.empty_strings_allowed)
        if name not in head and (field.primary_key or not can_be_left_out):
            raise Refusal(f"{table.file} has no column {name}.")


# --- all of them


def _agree() -> None:
    """Look along every reference now, and let the database count on from here."""
    connection.check_constraints()
    statements = connection.ops.sequence_reset_sql(no_style(), [table.model for table in as_taken_in()])
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
