"""A value as a cell of a CSV file, and back again: the same on every database.

An empty cell is NULL, or the empty text in a column that is never NULL. Text that a spreadsheet would take for a
formula has an apostrophe before it, and so has text that begins with one; where NULL may stand, the empty text is one.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import models

from brewbar.web.cells import FORMULA_STARTS

Write = Callable[[Any], str]
Read = Callable[[str], Any]

GUARD = "'"
GUARDED = (*FORMULA_STARTS, GUARD)
WHOLE = re.compile(r"-?[0-9]{1,19}")
EXACT = re.compile(r"-?[0-9]{1,30}(\.[0-9]{1,30})?")
DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
MOMENT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:.]{15}Z")


class NotRead(ValueError):
    """A cell that nothing of ours would have written; says what was expected there."""


# --- writing


def guarded(text: str) -> str:
    return GUARD + text if text.startswith(GUARDED) else text


def canonical(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def moment(value: datetime) -> str:
    if value.tzinfo is not UTC:
        value = value.astimezone(UTC)
    return value.isoformat(timespec="microseconds")[:-6] + "Z"


def _exact(places: int) -> Write:
    form = f".{places}f"
    return lambda value: format(Decimal(value), form) if type(value) is not Decimal else format(value, form)


def writer(field: models.Field[Any, Any]) -> Write:
    """What makes a cell of a value that is not NULL. References are numbers by now."""
    if isinstance(field, models.ForeignKey) or field.primary_key:
        return str
    if isinstance(field, models.BooleanField):
        return lambda value: "true" if value else "false"
    if isinstance(field, models.DecimalField):
        return _exact(field.decimal_places)
    if isinstance(field, models.FloatField):
        return lambda value: repr(float(value))
    if isinstance(field, models.IntegerField | models.UUIDField):
        return str
    if isinstance(field, models.DateTimeField):
        return moment
    if isinstance(field, models.DateField):
        return lambda value: value.isoformat()
    if isinstance(field, models.JSONField):
        return lambda value: guarded(canonical(value))
    if isinstance(field, models.CharField | models.TextField):
        if field.null:
            return lambda value: guarded(value) or GUARD
        return guarded
    raise TypeError(f"An export knows no way to write {field}.")


# --- reading


def bare(cell: str) -> str:
    return cell.removeprefix(GUARD)


def reader(field: models.Field[Any, Any]) -> Read:
    """What makes a value of a cell, and raises NotRead for one that does not fit the column."""
    inner = _reader(field)
    if field.null:
        return lambda cell: None if cell == "" else inner(cell)
    return inner


def _reader(field: models.Field[Any, Any]) -> Read:
    if isinstance(field, models.ForeignKey) or field.primary_key:
        return _number
    if isinstance(field, models.BooleanField):
        return _truth
    if isinstance(field, models.DecimalField):
        return _decimal(field)
    if isinstance(field, models.FloatField):
        return _float
    if isinstance(field, models.IntegerField):
        return _whole(field)
    if isinstance(field, models.UUIDField):
        return _uuid
    if isinstance(field, models.DateTimeField):
        return _read_moment
    if isinstance(field, models.DateField):
        return _day
    if isinstance(field, models.JSONField):
        return _json
    return _text(field)


def _number(cell: str) -> int:
    if not WHOLE.fullmatch(cell) or not 0 < int(cell) < 2**63:
        raise NotRead("the number of a row, from 1")
    return int(cell)


def _truth(cell: str) -> bool:
    if cell not in ("true", "false"):
        raise NotRead("true or false")
    return cell == "true"


def _decimal(field: models.DecimalField[Any, Any]) -> Read:
    whole, places = field.max_digits - field.decimal_places, field.decimal_places

    def read(cell: str) -> Decimal:
        if not EXACT.fullmatch(cell):
            raise NotRead("a number with a point")
        before, _point, after = cell.lstrip("-").partition(".")
        if len(before.lstrip("0")) > whole or len(after.rstrip("0")) > places:
            raise NotRead(f"a number of at most {whole} digits before the point and {places} after it")
        return Decimal(cell)

    return read


def _float(cell: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or "_" in cell:
        raise NotRead("a number")
    return value


SIZES = {
    "PositiveSmallIntegerField": (0, 32767),
    "SmallIntegerField": (-32768, 32767),
    "PositiveIntegerField": (0, 2147483647),
    "IntegerField": (-2147483648, 2147483647),
}
"""What every database of ours can hold; one alone would take more."""


def _whole(field: models.Field[Any, Any]) -> Read:
    low, high = SIZES[field.get_internal_type()]

    def read(cell: str) -> int:
        if not WHOLE.fullmatch(cell) or not low <= int(cell) <= high:
            raise NotRead(f"a whole number from {low} to {high}")
        return int(cell)

    return read


def _uuid(cell: str) -> UUID:
    try:
        return UUID(cell)
    except ValueError:
        raise NotRead("a UUID") from None


def _day(cell: str) -> date:
    try:
        if DAY.fullmatch(cell):
            return date.fromisoformat(cell)
    except ValueError:
        pass
    raise NotRead("a day such as 2026-10-31")


def _read_moment(cell: str) -> datetime:
    try:
        if MOMENT.fullmatch(cell):
            return datetime.fromisoformat(cell)
    except ValueError:
        pass
    raise NotRead("a moment such as 2026-10-31T07:30:00.000000Z")


def _json(cell: str) -> Any:
    try:
        value = json.loads(bare(cell), parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise NotRead("JSON") from None
    if "\\u0000" in cell:
        raise NotRead("JSON without the character 0")
    return value


def _no_number(name: str) -> Any:
    raise ValueError(name)


def _text(field: models.Field[Any, Any]) -> Read:
    choices = {value for value, _label in field.flatchoices}
    longest = field.max_length

    def read(cell: str) -> str:
        value = bare(cell)
        if "\0" in value:
            raise NotRead("text without the character 0")
        if longest is not None and len(value) > longest:
            raise NotRead(f"text of at most {longest} characters")
        if choices and value not in choices and not (value == "" and field.blank):
            raise NotRead("one of " + ", ".join(str(choice) or "nothing" for choice in sorted(choices)))
        return value

    return read
