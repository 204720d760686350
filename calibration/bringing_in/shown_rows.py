"""Rows as they are shown before they are brought in: a page of them, each with how it is read and its verdict."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from itertools import islice

from django.core.cache import cache
from django.utils.translation import get_language

from brewbar import dates, units
from brewbar.crew.models import Cafe
from calibration.bringing_in.known import Known
from calibration.bringing_in.uploads import Upload, sheet_of
from calibration.bringing_in.verdict_file import Line, lines
from calibration.importing import settling
from calibration.importing.answers import Value
from calibration.importing.fields import FIELDS, Field, Holds, Kind
from calibration.importing.raw import RawRow
from calibration.importing.reading import Sheet
from calibration.importing.settling import Settled
from calibration.importing.verdicts import Verdicts
from calibration.models import Reading
from recipes.models import Coffee

TOGETHER = 25
_KEPT_S = 3600


@dataclass(frozen=True)
class Shown:
    """parts: what is read in the row, (name of the field, value as it is written here)."""

    line: Line
    parts: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Rows:
    """Those of one verdict, for a paginator."""

    upload: Upload
    cafe: Cafe
    today: date
    which: str
    count: int

    def __len__(self) -> int:
        return self.count

    def __getitem__(self, part: slice) -> list[Shown]:
        among = (line for line in lines(self.upload) if line.is_among(self.which))
        return _with_values(self, list(islice(among, part.start, part.stop)))


def mark_of(upload: Upload) -> str:
    """Of what was answered: another once an answer is another."""
    said = json.dumps([upload.sheet, upload.mapping, upload.given, upload.names], sort_keys=True)
    return hashlib.sha256(said.encode()).hexdigest()[:16]


def settled(sheet: Sheet, upload: Upload, today: date) -> Settled:
    """What the columns tell as a whole; read from the sheet once and remembered, since that takes a while."""
    answers = f"{upload.sheet} {upload.mapping} {today} {units.style()} {get_language()}"
    key = f"settled:{upload.token}:{hashlib.sha256(answers.encode()).hexdigest()}"
    found: Settled | None = cache.get(key)
    if found is None:
        found = settling.settle(sheet, upload.columns, today)
        cache.set(key, found, _KEPT_S)
    return found


@dataclass(frozen=True)
class _Some:
    kept: list[RawRow]

    def rows(self) -> Iterator[RawRow]:
        return iter(self.kept)


def _with_values(asked: Rows, told: list[Line]) -> list[Shown]:
    wanted, upload = {line.number for line in told}, asked.upload
    last = max(wanted, default=0)
    with sheet_of(upload) as sheet:
        columns = settled(sheet, upload, asked.today)
        kept: list[RawRow] = []
        for raw in sheet.rows():
            if raw.number > last:
                break
            if raw.number in wanted:
                kept.append(raw)
    kind = Kind(upload.kind)
    names = Known(asked.cafe, upload.names).names(kind)
    rows = Verdicts(_Some(kept), upload.columns, columns, names, asked.today)  # type: ignore[arg-type]  # has rows
    values = {row.number: row.values for row in rows}
    return [Shown(line, tuple(_written(kind, values.get(line.number, {})))) for line in told]


def _written(kind: Kind, values: Mapping[str, Value]) -> Iterator[tuple[str, str]]:
    for field in FIELDS[kind].values():
        if (value := values.get(field.key)) is not None:
            yield field.says, _text(field, value)


def _text(field: Field, value: Value) -> str:
    match value:
        case tuple():
            return ", ".join(units.percent(one) for one in value)
        case datetime():
            return dates.moment(value, year=True)
        case date():
            return dates.day(value, year=True)
        case time():
            return f"{value:%H:%M}"
        case int():
            return units.clock(value)
        case Decimal():
            return _number(field, value)
    labels = {"kind": Reading.Kind.choices, "roast_level": Coffee.Roast.choices}.get(field.key, ())
    return str(dict(labels).get(value, value))


def _number(field: Field, value: Decimal) -> str:
    match field.holds:
        case Holds.MASS:
            return units.grams(value)
        case Holds.TEMPERATURE:
            return units.degrees(value)
        case Holds.STRENGTH:
            return units.percent(value)
    return f"{units.fixed(value, field.decimals)} g/l"
