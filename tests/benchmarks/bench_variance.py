"""How long a fit of variance components takes, and what its intervals and predictions add.

`python3 manage.py test tests/benchmarks --benchmark-only`. Crossed designs of 500 to 1,000,000 readings, 60 % of whose
cells were brewed, true SDs 0.03 staff, 0.02 day, 0.015 staff × day, 0.025 repeat. Beside each stands R's lme4: timed in
the same run where Rscript and lme4 are installed, and as it was timed on another machine of this kind where not.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from calibration.statistics.variance import fit

TERMS = ("staff", "day", "staff:day")
DESIGNS = {500: (5, 60), 5_000: (20, 180), 50_000: (60, 365), 500_000: (300, 730), 1_000_000: (300, 730)}
ROUNDS = {500: 100, 5_000: 100, 50_000: 30, 500_000: 10, 1_000_000: 5}
# R 4.2.2, lme4 1.1-31, two cores
LME4_MS = {500: 21.0, 5_000: 85.0, 50_000: 1_200.0, 500_000: 33_600.0}
# The first two slow numpy's own choice down; a second thread waits long where the machine has other work to do.
BLAS_SETTINGS = ("OPENBLAS_CORETYPE", "OPENBLAS_L2_SIZE", "OPENBLAS_NUM_THREADS")
TITLE = "variance components: ms, and how many times faster than lme4"


def design(readings: int) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    staff, days = DESIGNS[readings]
    rng = np.random.default_rng(readings)
    who, day = np.nonzero(rng.random((staff, days)) < 0.6)
    cell = rng.integers(0, len(who), readings)
    who, day = who[cell], day[cell]
    y = 1.35 + rng.normal(0, 0.03, staff)[who] + rng.normal(0, 0.02, days)[day]
    y += rng.normal(0, 0.015, (staff, days))[who, day] + rng.normal(0, 0.025, readings)
    return y, {"staff": who, "day": day}


@pytest.mark.parametrize("readings", DESIGNS)
def test_fit(benchmark, speed_table, tmp_path, readings):
    y, factors = design(readings)
    found = benchmark.pedantic(
        lambda: fit(y, factors, TERMS, intervals=False, predictions=False),
        rounds=ROUNDS[readings],
        warmup_rounds=1,
    )
    assert found.settled
    least = 1e3 * benchmark.stats.stats.min
    lines = speed_table.setdefault(TITLE, {0: _conditions()})
    here = lme4_ms(y, factors, tmp_path) if readings <= 50_000 else None
    beside = here or LME4_MS.get(readings)
    line = f"{readings:>9,} readings {least:8.1f} ms"
    if beside:
        line += f"{beside:10,.0f} ms lme4{'' if here else ' (then)':7}{beside / least:7.0f} ×"
    lines[readings] = line


@pytest.mark.parametrize("part", ["intervals", "predictions"])
@pytest.mark.parametrize("readings", [500, 50_000, 500_000])
def test_what_else_costs(benchmark, speed_table, readings, part):
    y, factors = design(readings)
    others = {"intervals": False, "predictions": False} | {part: True}
    benchmark.pedantic(lambda: fit(y, factors, TERMS, **others), rounds=3 if readings < 500_000 else 1)
    least = 1e3 * benchmark.stats.stats.min
    lines = speed_table.setdefault("a fit with more than its components", {})
    lines[readings + len(part)] = f"{readings:>9,} readings, with {part:<12}{least:10,.0f} ms"


def test_memory_of_a_million(benchmark, speed_table):
    y, factors = design(1_000_000)
    tracemalloc.start()
    benchmark.pedantic(lambda: fit(y, factors, TERMS, intervals=False, predictions=False), rounds=1)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    columns = y.nbytes + sum(column.nbytes for column in factors.values())
    lines = speed_table.setdefault("memory", {})
    lines[0] = f"1,000,000 readings: {columns / 1e6:.0f} MB of data and {peak / 1e6:.0f} MB at most beside"


def _conditions() -> str:
    named = [f"{name}={os.environ[name]}" for name in BLAS_SETTINGS if name in os.environ]
    blas = f"numpy with {', '.join(named)}" if named else "numpy as it comes"
    r = (
        "lme4 timed here"
        if has_lme4()
        else "R with lme4 is not installed: its times are those of another machine"
    )
    return f"{blas}; {r}"


def has_lme4() -> bool:
    program = shutil.which("Rscript")
    if program is None:
        return False
    return not subprocess.run([program, "-e", "library(lme4)"], capture_output=True, check=False).returncode


def lme4_ms(y: np.ndarray, factors: dict[str, np.ndarray], folder: Path) -> float | None:
    """The best of three fits by lme4, or None where it is not installed."""
    if not has_lme4():
        return None
    path = folder / "readings.csv"
    table = np.column_stack([factors["staff"], factors["day"], y])
    np.savetxt(path, table, delimiter=",", header="staff,day,y", comments="", fmt=("%d", "%d", "%.17g"))
    script = (
        "suppressMessages(library(lme4)); d <- read.csv(commandArgs(TRUE)[1]); "
        "d$staff <- factor(d$staff); d$day <- factor(d$day); d$both <- interaction(d$staff, d$day, drop = TRUE); "
        "f <- function() lmer(y ~ 1 + (1|staff) + (1|day) + (1|both), d); "
        "cat(1000 * min(replicate(3, system.time(f())[['elapsed']])))"
    )
    done = subprocess.run(["Rscript", "-e", script, path], capture_output=True, text=True, check=True)
    return float(done.stdout)
