"""The rows of brewing_checks.json, and how a computed value is held against one.

A row names its own source and tolerance. Test files map the beginning of an id to what computes it; the longest
beginning that fits an id is its own.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

ROWS: dict[str, dict[str, Any]] = {
    row["id"]: row
    for row in json.loads((Path(__file__).parents[1] / "data/brewing_checks.json").read_text())["rows"]
}
Table = dict[str, Callable[[dict[str, Any]], float]]


def given(key: str) -> dict[str, Any]:
    """The inputs of a row; where they are those of another row, that one's."""
    return {
        name: given(value["as"])[name] if isinstance(value, dict) else value
        for name, value in ROWS[key]["inputs"].items()
    }


def keys(*beginnings: str) -> list[str]:
    found = [key for key in ROWS if key.startswith(beginnings)]
    for beginning in beginnings:
        assert any(key.startswith(beginning) for key in found), beginning
    return found


def computed(table: Table, key: str) -> float:
    own = max((beginning for beginning in table if key.startswith(beginning)), key=len)
    return table[own](given(key))


def agrees(key: str, value: float) -> None:
    tolerance = ROWS[key]["tolerance"]
    kind = {"rel": "rel", "abs": "abs"}[tolerance["type"]]
    limits = {"rel": 0.0, "abs": 0.0, kind: tolerance["value"]}
    assert value == pytest.approx(ROWS[key]["expected"], **limits), ROWS[key]["source"]
