"""A company's export: one zip, written row by row, of one moment of the database.

The same rows give the same bytes, whichever database they stand in and whatever their keys are there; only the time in
export.json differs.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import IO, Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from django.db import models
from django.db.models import Min

import brewbar
from brewbar.crew.models import Company, Membership, User
from calibration.exporting import DICTIONARY, FORMAT, MANIFEST, README, RECIPES, recipe_file
from calibration.exporting.cells import moment, writer
from calibration.exporting.inside import Renumber, renumbering
from calibration.exporting.meanings import HEAD, dictionary
from calibration.exporting.numbers import Numbers, Rows
from calibration.exporting.readme import readme
from calibration.exporting.snapshot import one_moment
from calibration.exporting.tables import OF_THE_PERSON, Table, tables
from recipes.models import Recipe

ALWAYS = (1980, 1, 1, 0, 0, 0)
"""The time of every member: the earliest that a zip can say."""
LONG_AGO = datetime(1970, 1, 1, tzinfo=UTC)
BUFFER = 1 << 20
MOST_REMEMBERED = 20_000
"""Rows of a table whose numbers are kept as they are written, which is quicker and takes more memory."""


def written(company: Company, now: datetime, whole: bool = True) -> IO[bytes]:
    """The file, open at its beginning; it is gone once it is closed."""
    target = tempfile.TemporaryFile()  # noqa: SIM115 - whoever sends it closes it
    try:
        write(company, target, now, whole)
    except BaseException:
        target.close()
        raise
    target.seek(0)
    return target


def write(company: Company, target: IO[bytes], now: datetime, whole: bool = True) -> dict[str, int]:
    """Write the file into ``target``; tells how many rows each table has.

    Unless ``whole`` it holds what the bar works with, neither people nor results, and is not for taking in again.
    """
    sums: dict[str, str] = {}
    numbers: dict[str, int] = {}
    with one_moment(), ZipFile(target, "w", ZIP_DEFLATED) as archive:
        # Read anew, as it is at this moment.
        company = Company.objects.get(pk=company.pk)
        rows = Rows(company)
        inside = renumbering(rows)
        with _member(archive, README, sums) as text:
            text.write(readme(whole))
        with _member(archive, DICTIONARY, sums) as text:
            _sheet(text, HEAD, dictionary(tables(whole)))
        for table in tables(whole):
            with _member(archive, table.file, sums) as text:
                numbers[table.file] = _sheet(text, table.head, _cells(table, rows, inside))
        with _member(archive, RECIPES, sums) as text:
            text.writelines(recipe_file.written(company))
        numbers[RECIPES] = Recipe.objects.filter(company=company).count()
        manifest = {
            "format": FORMAT,
            "brewbar": brewbar.__version__,
            "made_at": moment(now),
            "company": company.name,
            "whole": whole,
            "rows": numbers,
            "sha256": sums,
        }
        with _member(archive, MANIFEST, {}) as text:
            text.write(json.dumps(manifest, ensure_ascii=False, indent=1) + "\n")
    return numbers


class _Summed(io.RawIOBase):
    """Writes on to a member of the zip and adds up what goes by."""

    def __init__(self, target: IO[bytes]) -> None:
        self._target = target
        self.sum = hashlib.sha256()

    def writable(self) -> bool:
        return True

    def write(self, piece: Any) -> int:
        self.sum.update(piece)
        return self._target.write(piece)


@contextmanager
def _member(archive: ZipFile, name: str, sums: dict[str, str]) -> Iterator[IO[str]]:
    entry = ZipInfo(name, ALWAYS)
    entry.compress_type, entry.create_system, entry.external_attr = ZIP_DEFLATED, 3, 0o600 << 16
    # Tables open in a spreadsheet, which takes a file for UTF-8 only by the mark at its start.
    encoding = "utf-8-sig" if name.endswith(".csv") else "utf-8"
    with archive.open(entry, "w", force_zip64=True) as raw:
        summed = _Summed(raw)
        with io.TextIOWrapper(io.BufferedWriter(summed, BUFFER), encoding, newline="") as text:
            yield text
    sums[name] = summed.sum.hexdigest()


def _sheet(text: IO[str], head: Iterable[str], lines: Iterable[Iterable[str]]) -> int:
    sheet = csv.writer(text)
    sheet.writerow(head)
    number = 0
    for line in lines:
        sheet.writerow(line)
        number += 1
    return number


# --- the rows of a table


def _cells(
    table: Table, rows: Rows, inside: dict[tuple[type[models.Model], str], Renumber]
) -> Iterator[list[str]]:
    write_one = [_writer(field, rows) for field in table.fields[1:]]
    renumbered = [
        (place, inside[table.model, field.name])
        for place, field in enumerate(table.fields)
        if (table.model, field.name) in inside
    ]
    found: Iterable[tuple[Any, ...]] = rows.of(table)
    if table.model is User:
        found = _as_seen_here(table, found, rows.company)
    for number, values in enumerate(found, start=1):
        if renumbered:
            changed = list(values)
            for place, renumber in renumbered:
                changed[place] = renumber(changed[place], number)
            values = tuple(changed)
        cells = [
            "" if value is None else one(value) for one, value in zip(write_one, values[1:], strict=True)
        ]
        yield [str(number), *cells]


def _writer(field: models.Field[Any, Any], rows: Rows) -> Callable[[Any], str]:
    if not isinstance(field, models.ForeignKey):
        return writer(field)
    numbers = rows.numbers(field.related_model)
    if len(numbers) > MOST_REMEMBERED:
        return lambda key: _number(field, numbers, key)
    known = {key: str(number) for number, key in enumerate(numbers, start=1)}
    return lambda key: known.get(key) or _number(field, numbers, key)


def _number(field: models.ForeignKey[Any, Any], numbers: Numbers, key: int) -> str:
    number = numbers.of(key)
    if number is None:
        raise LookupError(f"{field} names row {key}, which is not the company's.")
    return str(number)


def _as_seen_here(
    table: Table, found: Iterable[tuple[Any, ...]], company: Company
) -> Iterator[tuple[Any, ...]]:
    """People of other companies too, or no more of this one, only by their names here."""
    ways = [field.attname for field in table.fields]
    since: dict[int, datetime] = dict(
        Membership.objects.filter(company=company)
        .order_by()
        .values_list("user")
        .annotate(since=Min("started_at"))
    )
    elsewhere = set(Membership.objects.exclude(company=company).order_by().values_list("user", flat=True))
    blank = dict.fromkeys(OF_THE_PERSON, "")
    for values in found:
        row = dict(zip(ways, values, strict=True))
        if row["id"] in elsewhere or row["id"] not in since:
            row |= blank | {"created_at": since.get(row["id"], LONG_AGO)}
        yield tuple(row.values())
