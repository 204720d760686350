"""How long charts take to open over 1,000,000 readings, beside the bare query that adds the same rows up; and how long
those of a normal café take, beside a template alone.

`python3 manage.py test tests/benchmarks/bench_views.py --benchmark-only`. Making the readings takes a minute.
"""

from __future__ import annotations

import os
import sys
import time
from datetime import date, timedelta
from functools import partial
from types import ModuleType

import pytest
from django.core.cache import cache
from django.db import connection
from django.shortcuts import render
from django.urls import clear_url_caches, path, reverse
from django.utils import timezone

from brewbar import urls
from brewbar.crew.access import crew as gate
from calibration import many_readings, spread
from calibration.drift import MEASURES, Asked
from calibration.statistics.sums import parted
from recipes.models import Recipe
from tests import factories as make

READINGS = int(os.environ.get("BREWBAR_BENCH_READINGS", "1000000"))
PAGES = ("days", "staff", "people_share", "heat_map", "scatter")
SUMS = (
    "SELECT barista_id, business_day, COUNT(*), SUM(CAST(tds AS REAL)), SUM(CAST(tds AS REAL) * CAST(tds AS REAL)) "
    "FROM calibration_reading WHERE cafe_id = %s AND kind = 'check' AND voided_at IS NULL "
    "AND business_day BETWEEN %s AND %s GROUP BY business_day, barista_id"
)
MANY = f"charts over {READINGS:,} readings"
NORMAL = "charts of a normal café, remembered and not"
AS_OFTEN = 3
ROUNDS = 3


def least(run, rounds=ROUNDS, before=lambda: None):
    taken = []
    for _round in range(rounds):
        before()
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return min(taken)


@pytest.fixture
def span():
    last = timezone.now().date()
    return {"first": (last - timedelta(days=729)).isoformat(), "last": last.isoformat()}


@pytest.mark.django_db
def test_a_million_readings(benchmark, speed_table, span):
    start = time.perf_counter()
    made = many_readings.make(400, 730, READINGS, timezone.now().date())
    lines = speed_table.setdefault(MANY, {})
    lines[0] = f"made in {time.perf_counter() - start:.0f} s"

    def bare():
        with connection.cursor() as cursor:
            cursor.execute(SUMS, [made.cafe.pk, span["first"], span["last"]])
            return cursor.fetchall()

    client = make.signed_in(made.head)
    client.get(reverse("calibration:days"))
    adds_up = least(bare)
    member = make.member(made.head)
    recipe = Recipe.objects.get()
    asked = Asked(
        made.cafe,
        recipe,
        MEASURES["tds"],
        "check",
        *(date.fromisoformat(span[end]) for end in ("first", "last")),
    )
    sums = spread.brews(member, asked).sums
    fit = least(lambda: parted(sums, intervals=True, predictions=True))
    lines[1] = (
        f"bare GROUP BY {adds_up:6.2f} s, variance fit {fit:6.2f} s; allowed {AS_OFTEN * adds_up + fit:6.2f} s"
    )
    for place, name in enumerate(PAGES, start=2):
        for what, end in (("page", ""), ("figure", "_figure")):
            address = reverse(f"calibration:{name}{end}")
            taken = least(lambda address=address: client.get(address, span), before=cache.clear)
            lines[10 * place + len(end)] = (
                f"{name:<13}{what:<7}{taken:6.2f} s, {(taken - fit) / adds_up:5.1f} × the bare query and the fit"
            )
    benchmark.pedantic(bare, rounds=1)


def bare_view(template, context, request):
    return render(request, template, context)


@pytest.mark.django_db
def test_a_normal_cafe(benchmark, speed_table, settings, monkeypatch):
    bare_addresses = ModuleType("bare_addresses")
    bare_addresses.urlpatterns = urls.urlpatterns
    monkeypatch.setitem(sys.modules, "bare_addresses", bare_addresses)
    settings.ROOT_URLCONF = "bare_addresses"
    slot = make.live_slot(make.cafe(), at=timezone.now() - timedelta(days=40))
    crew = [make.person(cafe=slot.board.cafe) for _each in range(6)]
    for day in range(28):
        for place, person in enumerate(crew[day % 3 :]):
            tds = f"1.{38 + (place + day) % 6}"
            make.reading(slot, person, (tds, tds), brewed_at=timezone.now() - timedelta(days=day))
    head = make.person("head", slot.board.cafe)
    client = make.signed_in(head)
    lines = speed_table.setdefault(NORMAL, {})
    for place, name in enumerate(PAGES):
        address = reverse(f"calibration:{name}")
        answer = client.get(address)
        context = {
            key: value
            for layer in answer.context
            for key, value in layer.flatten().items()
            if key not in ("request", "csrf_token", "messages")
        }
        bare_addresses.urlpatterns = [
            path("bare/", gate("GET")(partial(bare_view, f"calibration/{name}.html", context))),
            *urls.urlpatterns,
        ]
        clear_url_caches()
        alone = least(lambda: client.get("/bare/"), rounds=20)
        warm = least(partial(client.get, address), rounds=20)
        cold = least(partial(client.get, address), rounds=5, before=cache.clear)
        lines[place] = (
            f"{name:<13}{1e3 * warm:7.1f} ms, {warm / alone:4.1f} × its template alone ({1e3 * alone:.1f} ms); "
            f"not remembered {1e3 * cold:.1f} ms"
        )
    benchmark.pedantic(lambda: client.get(reverse("calibration:days")), rounds=5)
