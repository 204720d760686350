"""Gauge studies. See `calibration.statistics.gauge`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from brewbar.units import fixed
from calibration.statistics.gauge import gauge_study
from calibration.statistics.gauge_result import Gauge
from calibration.studies.answer import Answer, figure, share, table
from calibration.studies.columns import picked
from calibration.studies.sheet import Sheet


def study(sheet: Sheet, given: Mapping[str, Any]) -> Answer:
    with picked(sheet, 2, "A gauge study") as columns:
        y = columns.numbers(given["value"])
        parts, operators = columns.labels(given["part"]), columns.labels(given["operator"])
    found = gauge_study(y, parts, operators, given["pool_above"])
    keys = {
        "mean_squares": {
            row: found.mean_squares.get(row) for row in ("part", "operator", "interaction", "error")
        },
        "f": {
            "part": found.f_over_error.get("part"),
            "operator": found.f_over_error.get("operator"),
            "interaction": found.f.get("interaction"),
            "part_over_interaction": _over_interaction(found, "part"),
            "operator_over_interaction": _over_interaction(found, "operator"),
        },
        "components": found.components,
        "interaction_pooled": found.interaction_pooled,
        "grr_contribution_pct": found.grr_contribution_pct,
        "grr_variation_pct": found.grr_variation_pct,
        "distinct_categories": found.distinct_categories,
    }
    return Answer(keys, _table(found, keys["f"]), _sentences(found), _notes(found))


def _over_interaction(found: Gauge, row: str) -> float | None:
    return found.f.get(row) if "interaction" in found.mean_squares else None


def _table(found: Gauge, f: Any) -> list[str]:
    total = None if found.total is None else found.total**2
    rows = []
    for row in ("part", "operator", "interaction", "residual"):
        variance = found.components[row]
        part = None if variance is None or not total else variance / total
        square = "error" if row == "residual" else row
        rows.append(
            (
                "repeats" if row == "residual" else row,
                figure(found.mean_squares.get(square)),
                "" if row == "residual" else figure(f[row]),
                figure(variance),
                share(part),
            )
        )
    return table(("source", "mean square", "F", "variance", "share"), rows)


def _sentences(found: Gauge) -> list[str]:
    if found.grr_variation_pct is None or found.grr_contribution_pct is None:
        return [
            f"{found.n} readings of {found.parts} parts by {found.operators} operators.",
            "How much of their spread is the gauge cannot be told.",
        ]
    groups = "any number of" if found.distinct_categories is None else found.distinct_categories
    return [
        f"Repeats and operators make {fixed(found.grr_contribution_pct, 2)} % of the variance and "
        f"{fixed(found.grr_variation_pct, 2)} % of the standard deviation, so the gauge tells {groups} groups of "
        "parts apart.",
        "By the usual rule (AIAG 2010) under 10 % of the standard deviation is good, over 30 % is not enough, and 5 "
        "groups or more are wanted.",
    ]


def _notes(found: Gauge) -> list[str]:
    notes = list(found.notes)
    if found.interaction_pooled:
        notes.insert(
            0, f"The interaction (p = {fixed(found.p['interaction'], 3)}) is taken together with the repeats."
        )
    if found.method != "mean squares":
        notes.insert(
            0, "Parts were not all measured equally often, so the components are by restricted likelihood."
        )
    return notes
