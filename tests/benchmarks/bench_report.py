"""How long the owner's report takes, of a café's month and of 1,000,000 readings, beside the bare query of its cells.

`python3 manage.py test tests/benchmarks/bench_report.py --benchmark-only`. Making the readings takes a minute.
"""

from __future__ import annotations

import os
import time
from datetime import timedelta

import pytest
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from calibration import many_readings
from calibration.report_print import report_pdf
from calibration.reporting import build

READINGS = int(os.environ.get("BREWBAR_BENCH_READINGS", "1000000"))
REPORT = "the owner's report"
ROUNDS = 3


def least(run, before=lambda: None):
    taken = []
    for _round in range(ROUNDS):
        before()
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return min(taken)


def bare_query_of(asked, now):
    """The query that fetches a report's cells, the one that adds most up, as the database is told it."""
    with CaptureQueriesContext(connection) as told:
        build.build(asked, now)
    groups = [query["sql"] for query in told.captured_queries if "GROUP BY" in query["sql"]]
    return max(groups, key=lambda sql: sql.count("SUM("))


def fetched(sql):
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return cursor.fetchall()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "people", "days", "readings"),
    [("a café's month", 8, 60, 1000), (f"{READINGS:,} readings", 400, 730, READINGS)],
)
def test_a_report(benchmark, speed_table, name, people, days, readings):
    now = timezone.now()
    made = many_readings.make(people, days, readings, now.date())
    first = now.date() - timedelta(days=days // 2 - 1 if days < 100 else days - 1)
    asked = build.asked_for(made.cafe.company, [made.cafe], first, now.date())
    sql = bare_query_of(asked, now)
    cells = len(fetched(sql))
    bare = least(lambda: fetched(sql))
    fresh = least(lambda: build.build(asked, now), before=cache.clear)
    remembered = least(lambda: build.build(asked, now))
    report = build.build(asked, now)
    paper = least(lambda: report_pdf(report))
    lines = speed_table.setdefault(REPORT, {})
    lines[readings] = (
        f"{name:<20} {cells:,} cells: bare query {bare:.3f} s; report {fresh:.2f} s, of which its fits "
        f"{fresh - remembered:.2f} s; without them {remembered / bare:.1f} × the query; on paper {paper:.2f} s more"
    )
    benchmark.pedantic(lambda: fetched(sql), rounds=1)
