"""The published statistics cases in tests/data/statistics: one JSON of expected values each, with its data beside it.

A tolerance is absolute unless it starts with rel. Every expected value of a case must be computed: `holds` fails
when one is missing or one is computed that the case does not list.
"""

import csv
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

DATA = Path(__file__).parents[1] / "data" / "statistics"


def case(name: str) -> dict[str, Any]:
    return json.loads((DATA / f"{name}.json").read_text())


def expected(name: str) -> dict[str, float]:
    return {check["statistic"]: check["expected"] for check in case(name)["checks"]}


def columns(path: str) -> dict[str, list[str]]:
    """A data file's columns by their heading, as text; lines that start with # name the source."""
    lines = [line for line in (DATA / path).read_text().splitlines() if line and not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    return {name: [row[name] for row in rows] for name in rows[0]}


def numbers(path: str, name: str) -> list[float]:
    return [float(text) for text in columns(path)[name]]


def tolerance(text: object) -> dict[str, float]:
    """As `pytest.approx` takes it, the other kind shut off."""
    said = str(text)
    return (
        {"rel": float(said[3:]), "abs": 0.0} if said.startswith("rel") else {"rel": 0.0, "abs": float(said)}
    )


def holds(name: str, computed: Mapping[str, float]) -> None:
    checks = {check["statistic"]: check for check in case(name)["checks"]}
    assert set(computed) == set(checks), set(computed) ^ set(checks)
    for statistic, check in checks.items():
        assert computed[statistic] == pytest.approx(check["expected"], **tolerance(check["tolerance"])), (
            name,
            statistic,
            check["from"],
        )
