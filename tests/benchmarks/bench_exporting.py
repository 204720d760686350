"""How long the export of a large company takes, beside bare SELECTs of the same rows, and how much memory.

`python3 manage.py test tests/benchmarks/bench_exporting.py --benchmark-only`. BREWBAR_BENCH_READINGS says how many.
"""

from __future__ import annotations

import os
import resource
import time

import pytest
from django.db import connection
from django.utils import timezone

from calibration import many_readings
from calibration.exporting import writing
from calibration.exporting.tables import tables

READINGS = int(os.environ.get("BREWBAR_BENCH_READINGS", "1000000"))
TITLE = f"export of {READINGS:,} readings"
AT_ONCE = 2000


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


@pytest.mark.django_db
def test_a_large_company(benchmark, speed_table):
    start = time.perf_counter()
    made = many_readings.make(400, 730, READINGS, timezone.now().date())
    lines = speed_table.setdefault(TITLE, {})
    lines[0] = f"made in {time.perf_counter() - start:.0f} s"
    company = made.cafe.company

    def bare():
        number = 0
        for table in tables():
            rows = table.belonging.rows_of(company).order_by("pk").query
            with connection.cursor() as cursor:
                cursor.execute(*rows.sql_with_params())
                while some := cursor.fetchmany(AT_ONCE):
                    number += len(some)
        return number

    start = time.perf_counter()
    number = bare()
    selects, before = time.perf_counter() - start, peak_mb()
    start = time.perf_counter()
    with writing.written(company, timezone.now()) as file:
        size = file.seek(0, os.SEEK_END)
    taken = time.perf_counter() - start
    lines[1] = f"bare SELECTs of {number:,} rows {selects:7.1f} s"
    lines[2] = (
        f"the export                 {taken:7.1f} s, {taken / selects:4.1f} × that, {size / 1e6:,.0f} MB"
    )
    lines[3] = f"memory grew by {peak_mb() - before:,.0f} MB while it was written"
    benchmark.pedantic(lambda: None, rounds=1)
