"""A cell says what the value was, whatever it is, and is no formula to any spreadsheet.

RFC 4180, section 2 (lines end in CRLF; cells with line breaks, quotes and commas are quoted; quotes are doubled), and
OWASP, CSV Injection (cells that begin with = + - @, tab, carriage return or line feed).
"""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from uuid import UUID

import pytest
from django.db import models
from hypothesis import given
from hypothesis import strategies as st

from calibration.exporting.cells import NotRead, canonical, reader, writer

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
TEXT = models.CharField(max_length=200, blank=True)
TEXT_OR_NULL = models.CharField(max_length=200, null=True)
EXACT = models.DecimalField(max_digits=6, decimal_places=2, null=True)
ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=60)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=False, allow_infinity=False)
    | ANY_TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(ANY_TEXT, inner, max_size=4),
    max_leaves=8,
)  # fmt: skip


def back(field, value):
    """Through a CSV file, as RFC 4180 has it."""
    text = io.StringIO(newline="")
    csv.writer(text).writerow([1, "" if value is None else writer(field)(value), 2])
    assert text.getvalue().endswith("\r\n")
    ((_first, cell, _last),) = csv.reader(io.StringIO(text.getvalue(), newline=""), strict=True)
    return reader(field)(cell)


@given(ANY_TEXT | st.sampled_from(FORMULA).flatmap(lambda start: ANY_TEXT.map(lambda rest: start + rest)))
def test_text_comes_back_and_is_never_a_formula(text):
    cell = writer(TEXT)(text)
    assert not cell.startswith(FORMULA)
    assert back(TEXT, text) == text


@given(st.none() | ANY_TEXT)
def test_null_and_the_empty_text_are_told_apart(value):
    assert back(TEXT_OR_NULL, value) == value


def test_how_they_are_told_apart():
    assert writer(TEXT)("") == ""
    assert reader(TEXT)("") == ""
    assert writer(TEXT_OR_NULL)("") == "'"
    assert reader(TEXT_OR_NULL)("") is None


@given(JSON.filter(lambda value: value is not None))
def test_json_comes_back(value):
    field = models.JSONField()
    assert canonical(back(field, value)) == canonical(value)
    assert not writer(field)(value).startswith(FORMULA)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_floats_come_back_to_the_last_bit(value):
    assert back(models.FloatField(), value).hex() == float(value).hex()


@given(st.decimals(min_value=-9999, max_value=9999, places=2, allow_nan=False))
def test_decimals_keep_their_places_and_stay_numbers(value):
    cell = writer(EXACT)(value)
    assert Decimal(cell) == value == back(EXACT, value)
    assert cell.partition(".")[2].isdigit()
    assert len(cell.partition(".")[2]) == 2


@given(st.integers(-(2**51), 2**52), st.integers(-14 * 60, 14 * 60))
def test_moments_are_kept_in_utc_to_the_microsecond(microseconds, minutes):
    value = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=microseconds)
    value = value.astimezone(timezone(timedelta(minutes=minutes)))
    read = back(models.DateTimeField(), value)
    assert read == value
    assert read.utcoffset() == timedelta(0)


@pytest.mark.parametrize(
    ("field", "value", "cell"),
    [
        (models.DateTimeField(), datetime(2026, 10, 31, 7, 30, tzinfo=UTC), "2026-10-31T07:30:00.000000Z"),
        (models.DateField(), date(2026, 10, 31), "2026-10-31"),
        (models.DecimalField(max_digits=5, decimal_places=1), Decimal("-0.5"), "-0.5"),
        (models.DecimalField(max_digits=5, decimal_places=1), Decimal("15"), "15.0"),
        (models.FloatField(), 0.1 + 0.2, "0.30000000000000004"),
        (models.FloatField(), 3, "3.0"),
        (models.BooleanField(), True, "true"),
        (models.SmallIntegerField(), -430, "-430"),
        (models.UUIDField(), UUID(int=5), "00000000-0000-0000-0000-000000000005"),
        (models.JSONField(), {"b": 1, "a": ["é", None]}, '{"a":["é",null],"b":1}'),
        (TEXT, "=1+1", "'=1+1"),
        (TEXT, "'tis", "''tis"),
        (TEXT, "a=b", "a=b"),
    ],
)
def test_what_stands_in_the_cell(field, value, cell):
    assert writer(field)(value) == cell
    assert reader(field)(cell) == value


@pytest.mark.parametrize(
    ("field", "cell"),
    [
        (models.BigAutoField(primary_key=True), "0"),
        (models.BigAutoField(primary_key=True), "1.0"),
        (models.BigAutoField(primary_key=True), "9223372036854775808"),
        (models.BooleanField(), "True"),
        (models.BooleanField(), ""),
        (models.PositiveSmallIntegerField(), "-1"),
        (models.PositiveSmallIntegerField(), "32768"),
        (models.IntegerField(), "٣"),
        (EXACT, "1,5"),
        (EXACT, "12345.00"),
        (EXACT, "1.234"),
        (EXACT, "1e3"),
        (EXACT, "NaN"),
        (models.FloatField(), "nan"),
        (models.FloatField(), "1_0"),
        (models.FloatField(), "inf"),
        (models.DateField(), "31/10/2026"),
        (models.DateField(), "2026-02-30"),
        (models.DateTimeField(), "2026-10-31T07:30:00.000000+02:00"),
        (models.DateTimeField(), "2026-10-31 07:30"),
        (models.UUIDField(), "5"),
        (models.JSONField(), "{"),
        (models.JSONField(), "NaN"),
        (models.JSONField(), '"\\u0000"'),
        (models.JSONField(), "[" * 100_000),
        (models.CharField(max_length=3), "four"),
        (models.CharField(max_length=3), "a\0"),
        (models.CharField(max_length=3, choices=[("a", "A")]), "b"),
        (models.CharField(max_length=3, choices=[("a", "A")]), ""),
    ],
)
def test_what_nothing_of_ours_would_have_written_is_refused(field, cell):
    with pytest.raises(NotRead):
        reader(field)(cell)
