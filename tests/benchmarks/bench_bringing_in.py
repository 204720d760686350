"""How long a spreadsheet takes to be brought in beside a bare executemany of the very rows it brings, and its memory.

`python3 manage.py test tests/benchmarks/bench_bringing_in.py --benchmark-only`. Both write into the same tables of the
same database, each in one transaction; what is bare gets its rows ready made. Memory is what the work adds at its peak
to what the process held before (Linux). BREWBAR_BENCH_PROFILE names a file for a profile.
"""

from __future__ import annotations

import cProfile
import csv
import gc
import io
import os
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from django.core.files.base import File
from django.db import connection, transaction

from brewbar.crew.models import Role
from calibration import beds
from calibration.bringing_in import steps, undoing, writing
from calibration.models import Drop, Import, Reading
from recipes.models import Slot
from tests import factories as make
from tests.bringing_in.sheets import Bar

ROWS = [int(rows) for rows in os.environ.get("BREWBAR_BENCH_ROWS", "10000 100000").split()]
NOW = datetime(2026, 3, 20, 12, tzinfo=UTC)
TITLE = "a spreadsheet brought in, beside a bare executemany of its rows"
HEAD = ("Date", "Time", "Barista", "Recipe", "Batch", "Grinder", "Setting", "Dose", "Water", "Beverage", "Brew time",
        "TDS 1", "TDS 2", "Sample temperature", "Taste")  # fmt: skip
PEOPLE, ON, RECIPES, BATCHES, A_DAY = 40, 12, 6, 20, 60


@pytest.fixture
def bars(tmp_path: Path, settings: Any) -> tuple[Bar, list[Slot]]:
    """A café with a large crew and several recipes, whose board has stood as long as the sheet goes back."""
    settings.DATA_DIR = tmp_path
    cafe = make.cafe(time_zone="Europe/Lisbon")
    head = make.person(Role.HEAD, cafe, name="Ida Demo")
    crew = [make.person(cafe=cafe, name=f"Demo {n}") for n in range(PEOPLE)]
    station = make.station(cafe)
    slots = []
    for _n in range(RECIPES):
        version = make.version(make.recipe(cafe.company, by=head))
        slots.append(make.live_slot(cafe, version, station, by=head, at=NOW - timedelta(days=2500)))
        for _batch in range(BATCHES):
            make.batch(version.recipe.coffee, roasted_on=(NOW - timedelta(days=2500)).date())
    return Bar(cafe, head, crew, slots[0], make.refractometer(cafe)), slots


def written(path: Path, bar: Bar, slots: list[Slot], rows: int) -> File:
    """Masses to the tenth, times to the second and strengths to the hundredth, as scales and instruments show them."""
    batches = [[one.label for one in slot.card.recipe.coffee.batches.all()] for slot in slots]
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(HEAD)
        for n in range(rows):
            day, which = n // A_DAY, n % RECIPES
            slot, labels = slots[which], batches[which]
            dose, water = Decimal(146 + n * 7 % 9) / 10, Decimal(2480 + n * 13 % 41) / 10
            tds = Decimal(132 + n * 17 % 17) / 100
            writer.writerow((
                (date(2020, 1, 1) + timedelta(days=day)).isoformat(), f"{7 + n % A_DAY // 6:02d}:{n * 7 % 60:02d}",
                bar.crew[(n % ON + 5 * day) % PEOPLE].name, slot.card.recipe.name, labels[day // 30 % len(labels)],
                slot.setting.grinder.name, f"{22 + day % 5}", dose, water,
                water - Decimal(280 + n * 31 % 60) / 10, f"2:{25 + n * 11 % 35:02d}", tds, tds + Decimal(n % 2) / 100,
                Decimal(215 + n * 3 % 40) / 10, ("", "clear", "a little flat", "sweet, round")[n % 4],
            ))  # fmt: skip
    return File(io.BytesIO(path.read_bytes()), name=path.name)


def rows_of(model: Any, made: Import) -> list[tuple[Any, ...]]:
    """As the database keeps them."""
    rows = (
        Reading.objects.filter(brought_in=made)
        if model is Reading
        else Drop.objects.filter(reading__brought_in=made)
    )
    with connection.cursor() as cursor:
        cursor.execute(*rows.order_by("pk").query.sql_with_params())
        return list(cursor.fetchall())


def bare(kept: dict[Any, list[tuple[Any, ...]]]) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        for model, rows in kept.items():
            columns = ", ".join(
                connection.ops.quote_name(field.column) for field in model._meta.concrete_fields
            )
            places = ", ".join(["%s"] * len(model._meta.concrete_fields))
            cursor.executemany(f"INSERT INTO {model._meta.db_table} ({columns}) VALUES ({places})", rows)


def deleted(kept: dict[Any, list[tuple[Any, ...]]]) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        for model in reversed(kept):
            cursor.execute(f"DELETE FROM {model._meta.db_table}")


class Taken(NamedTuple):
    """wall: seconds by the clock; work: of this processor, which a busy machine makes no longer."""

    wall: float
    work: float

    def __str__(self) -> str:
        return f"{self.wall:6.2f} s ({self.work:6.2f} s of work)"


def timed(call: Callable[[], Any]) -> tuple[Any, Taken]:
    wall, work = time.perf_counter(), time.process_time()
    found = call()
    return found, Taken(time.perf_counter() - wall, time.process_time() - work)


def memory_mb(what: str) -> float:
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith(what))


@pytest.mark.parametrize("rows", ROWS)
@pytest.mark.django_db(transaction=True)
def test_beside_a_bare_executemany(benchmark, speed_table, monkeypatch, tmp_path, bars, rows):
    bar, slots = bars
    upload = bar.upload(written(tmp_path / f"{rows}.csv", bar, slots, rows))
    held: list[Taken] = []
    _watch_transaction(monkeypatch, held)
    gc.collect()
    Path("/proc/self/clear_refs").write_text("5")  # the peak begins anew
    before = memory_mb("VmRSS")
    summary, looked_s = timed(lambda: steps.look_at(upload, bar.cafe, NOW))
    assert (summary.good, summary.doubtful) == (rows, 0), summary
    profile = cProfile.Profile()
    if told := os.environ.get("BREWBAR_BENCH_PROFILE"):
        profile.enable()
    made, taken_s = timed(lambda: steps.bring_in(upload, bar.cafe, bar.head, NOW))
    if told:
        profile.disable()
        profile.dump_stats(told)
    grown = memory_mb("VmHWM") - before
    kept = {model: rows_of(model, made) for model in (Reading, Drop)}
    assert (len(kept[Reading]), len(kept[Drop])) == (rows, 2 * rows)
    deleted(kept)
    bare_s = timed(lambda: bare(kept))[1]
    undone, undone_s = timed(lambda: undoing.undo(made, bar.head, "measured", NOW))
    assert undone.voided == rows
    benchmark.pedantic(lambda: None, rounds=1)
    lines = speed_table.setdefault(f"{TITLE} ({connection.vendor})", {})
    lines[10 * rows] = (
        f"{rows:7,} rows: bare {bare_s}, brought in {taken_s}: {taken_s.wall / bare_s.wall:4.1f} × that "
        f"({taken_s.work / bare_s.work:4.1f} × the work)"
    )
    lines[10 * rows + 1] = f"    its transaction {held[0]}, at most {grown:.0f} MB more than before"
    lines[10 * rows + 2] = f"    looked at {looked_s}, undone {undone_s}"


def _watch_transaction(monkeypatch: pytest.MonkeyPatch, held: list[Taken]) -> None:
    """``held`` is told how long the transaction took: what is fitted of its readings comes after it."""
    write, refit, begun = writing.write, beds.refit_beds, []

    def written(*args: Any) -> Any:
        begun.append(Taken(time.perf_counter(), time.process_time()))
        return write(*args)

    def committed(found: Any) -> None:
        if begun and not held:
            held.append(Taken(time.perf_counter() - begun[0].wall, time.process_time() - begun[0].work))
        refit(found)

    monkeypatch.setattr(writing, "write", written)
    monkeypatch.setattr(beds, "refit_beds", committed)
