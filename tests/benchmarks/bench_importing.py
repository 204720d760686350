"""How long 100,000 rows of 15 columns take to be judged, and what they take of memory.

`python3 manage.py test tests/benchmarks/bench_importing.py --benchmark-only`. Beside each file stands the barest loop
over the same rows: the standard library's csv.reader, and calamine, which is written in Rust and holds the sheet whole.
Times are processor time of one round; each memory is the most a process of its own ever held (Linux), with what its
libraries take.
"""

from __future__ import annotations

import csv
import io
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from datetime import date, timedelta
from itertools import chain
from pathlib import Path

import openpyxl
import pytest
import python_calamine
from openpyxl.xml.constants import SHARED_STRINGS, SHEET_MAIN_NS

from calibration.importing import columns, reading, settling
from calibration.importing.fields import Kind
from calibration.importing.verdicts import Verdicts

ROWS = 100_000
SMALLER = 10_000
HEAD = ("Date", "Time", "Barista", "Recipe", "Batch", "Grinder", "Setting", "Dose", "Water", "Beverage", "Brew time",
        "TDS 1", "TDS 2", "Sample °C", "Notes")  # fmt: skip
PEOPLE = ("Mira Demo", "Jonas Demo", "Zoë Demo", "Ilse Demo")
SHEET, TEXTS = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"
TOLD = f'<Override PartName="/{TEXTS}" ContentType="{SHARED_STRINGS}"/>'.encode()
# of this program alone: getrusage would tell what the one that began it had held
PEAK = "print(next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')))"


def cells(n: int) -> tuple[object, ...]:
    """All but the minute and the second drop are seldom the same twice."""
    day = date(2020, 1, 1) + timedelta(days=n // 60)
    water, bed = 250 + n % 5 / 10, 28 + n % 37 / 10
    drops = round(1.3 + n % 23 / 100, 2), round(1.3 + n * 3 % 23 / 100, 2)
    return (day.isoformat(), f"{7 + n % 10}:{n % 60:02d}", PEOPLE[n % 4], "House filter", f"B{n // 700}", "Left", 22.5,
            15 + n % 3 / 10, water, round(water - bed, 1), f"{2 + n % 2}:{n * 7 % 60:02d}", *drops, 22 + n % 9 / 10,
            f"note {n % 5000}")  # fmt: skip


@pytest.fixture(scope="session")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, int], Path]:
    folder = tmp_path_factory.mktemp("sheets")
    found = {}
    for rows in (SMALLER, ROWS):
        path = found["csv", rows] = folder / f"{rows}.csv"
        with path.open("w", newline="") as file:
            csv.writer(file).writerows([HEAD, *(cells(n) for n in range(rows))])
        path = found["xlsx", rows] = folder / f"{rows}.xlsx"
        write_workbook(path, rows)
    return found


def write_workbook(path: Path, rows: int) -> None:
    """As spreadsheets write one: texts are shared among cells, and each row says how high it is."""
    made = io.BytesIO()
    openpyxl.Workbook().save(made)
    texts: dict[str, int] = {}

    def cell(value: object) -> str:
        if isinstance(value, str):
            return f'<c t="s"><v>{texts.setdefault(value, len(texts))}</v></c>'
        return f"<c><v>{value}</v></c>"

    with zipfile.ZipFile(made) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            if name not in (SHEET, TEXTS):
                new.writestr(name, old.read(name).replace(b"</Types>", TOLD + b"</Types>"))
        with new.open(SHEET, "w") as sheet:
            sheet.write(f'<worksheet xmlns="{SHEET_MAIN_NS}"><sheetData>'.encode())
            for number, row in enumerate(chain([HEAD], map(cells, range(rows))), 1):
                line = f'<row r="{number}" ht="12.8" hidden="false">{"".join(map(cell, row))}</row>'
                sheet.write(line.encode())
            sheet.write(b"</sheetData></worksheet>")
        shared = "".join(f"<si><t>{text}</t></si>" for text in texts)
        new.writestr(TEXTS, f'<sst xmlns="{SHEET_MAIN_NS}">{shared}</sst>')


def bare(path: Path) -> int:
    if path.suffix == ".csv":
        with path.open(newline="") as file:
            return sum(1 for _row in csv.reader(file))
    with path.open("rb") as file:
        return sum(
            1
            for _row in python_calamine.CalamineWorkbook.from_filelike(file).get_sheet_by_index(0).iter_rows()
        )


def judged(path: Path) -> int:
    with path.open("rb") as file, reading.open_sheet(file) as sheet:
        mapping = columns.guess(sheet, Kind.READINGS).mapping
        verdicts = Verdicts(sheet, mapping, settling.settle(sheet, mapping), {"barista": PEOPLE})
        return sum(row.is_good for row in verdicts)


def opened(path: Path) -> int:
    with path.open("rb") as file, reading.open_sheet(file) as sheet:
        return sheet.count


def seconds(call: Callable[[Path], int], path: Path) -> float:
    begun = time.process_time()
    call(path)
    return time.process_time() - begun


def most_mb(call: Callable[[Path], int], path: Path) -> int:
    told = f"from tests.benchmarks.bench_importing import {call.__name__}; from pathlib import Path\n"
    told += f"{call.__name__}(Path({str(path)!r}))\n{PEAK}"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    return int(done.stdout) // 1024


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_hundred_thousand_rows(benchmark, speed_table, files, kind):
    path = files[kind, ROWS]
    times = {call: seconds(call, path) for call in (bare, opened)}
    begun = time.process_time()
    assert benchmark.pedantic(judged, (path,), rounds=1) == ROWS
    times[judged] = time.process_time() - begun
    lines = speed_table.setdefault(f"{ROWS:,} rows of {len(HEAD)} columns, processor time", {})
    lines[len(lines)] = (
        f"{kind:<5} bare loop {times[bare]:6.2f} s   taken apart {times[opened]:6.2f} s   with its verdicts "
        f"{times[judged]:6.2f} s   {times[judged] / times[bare]:5.1f} times the bare loop"
    )


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_memory_does_not_grow_with_the_rows(benchmark, speed_table, files, kind):
    found = {
        (call, rows): most_mb(call, files[kind, rows])
        for call in (opened, judged)
        for rows in (SMALLER, ROWS)
    }
    benchmark.pedantic(opened, (files[kind, SMALLER],), rounds=1)
    lines = speed_table.setdefault(f"most memory, {SMALLER:,} and {ROWS:,} rows", {})
    lines[len(lines)] = (
        f"{kind:<5} taken apart {found[opened, SMALLER]:4d} and {found[opened, ROWS]:4d} MB   "
        f"with verdicts {found[judged, SMALLER]:4d} and {found[judged, ROWS]:4d} MB"
    )
