"""An export takes no more memory for many readings than for few, but for a number of eight bytes each."""

from __future__ import annotations

import tracemalloc

import pytest
from django.db import DEFAULT_DB_ALIAS
from django.utils import timezone

from calibration import many_readings
from calibration.exporting import writing
from calibration.exporting.numbers import Numbers
from calibration.models import Reading


def peak(company) -> int:
    tracemalloc.start()
    try:
        writing.written(company, timezone.now()).close()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


@pytest.mark.django_db
def test_memory_does_not_grow_with_the_readings(monkeypatch):
    """A chunk of rows stands in memory, and no more of them for eight times as many."""
    monkeypatch.setattr("calibration.exporting.numbers.AT_ONCE", 100)
    monkeypatch.setattr("calibration.exporting.writing.MOST_REMEMBERED", 100)
    company = many_readings.make(8, 40, 4000, timezone.now().date()).cafe.company
    peak(company)
    many = peak(company)
    first = Reading.objects.order_by("pk")[500].pk
    Reading.objects.filter(pk__gte=first)._raw_delete(DEFAULT_DB_ALIAS)
    few = peak(company)
    assert many < few + 8 * 4000 + 200_000


def test_numbers_take_eight_bytes_a_row():
    numbers = Numbers(range(10, 10_010))
    assert numbers._keys.itemsize * len(numbers) == 80_000
    assert (numbers.of(10), numbers.of(10_009), numbers.of(9), numbers.of(10_010)) == (1, 10_000, None, None)
