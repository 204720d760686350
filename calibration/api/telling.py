"""Rows -> what is told of them."""

from __future__ import annotations

from typing import Any

from django.urls import reverse

from brewbar.crew.access import Member
from brewbar.crew.api.fields import at, plain
from calibration import judging
from calibration.models import InstrumentCheck, Reading
from calibration.statistics.uncertainty import COVERAGE_K
from recipes.aims import OwnAims
from recipes.api.answers import named

MASSES = ("dose_g", "water_g", "bypass_g", "ice_g", "gross_g", "tare_g", "beverage_g", "slurry_temperature_C")
AS_IT_IS = (
    *("kind", "attempt", "source", "grind_setting", "beverage_source", "rinse_left_in", "brew_time_s"),
    *("taste", "was_served", "tds_rule", "void_reason"),
)
KEYS = (
    "cafe",
    "slot",
    "version",
    "entered_by",
    "roast_batch",
    "grinder",
    "kettle",
    "server",
    "refractometer",
)
QUANTITIES = ("tds", "ey", "brew_time_s")


def with_all(rows: Any) -> Any:
    """With every row that is told of a reading: two queries however many there are."""
    return rows.select_related(
        "barista", "station", "version__recipe", "corrects", "correction"
    ).prefetch_related("drops")


def _number(value: Any, decimals: int) -> Any:
    return None if value is None else plain(value, decimals)


def readings(rows: list[Reading], request: Any, member: Member) -> list[dict[str, Any]]:
    own = judging.own_aims(rows)
    return [_reading(row, request, member, own) for row in rows]


def _reading(row: Reading, request: Any, member: Member, own: OwnAims) -> dict[str, Any]:
    correction = getattr(row, "correction", None)
    verdicts = judging.against_recipe(row, judging.aims_of(row, own))
    told: dict[str, Any] = {
        "uuid": str(row.uuid),
        "url": request.build_absolute_uri(reverse("calibration:api_reading", args=[row.uuid])),
        "station": named(row.station),
        "recipe": named(row.version.recipe),
        "barista": named(row.barista),
        "entered_at": at(row.entered_at, member),
        "brewed_at": at(row.brewed_at, member),
        "business_day": row.business_day.isoformat(),
        "drops": [
            {"tds": plain(drop.tds, 2), "sample_temperature_C": _number(drop.sample_temperature_C, 1)}
            for drop in row.drops.all()
        ],
        "tds": plain(row.tds, 4),
        "U_tds_relative": plain(COVERAGE_K * row.u_tds_relative, 4),
        "U_tds_absolute": plain(COVERAGE_K * row.u_tds_absolute, 4),
        "ey": plain(row.ey, 2),
        "U_ey_relative": plain(COVERAGE_K * row.u_ey_relative, 2),
        "U_ey_absolute": plain(COVERAGE_K * row.u_ey_absolute, 2),
        "verdicts": [
            {"of": of, "state": verdict.state, "says": verdict.says}
            for of, verdict in zip(QUANTITIES, verdicts, strict=True)
        ],
        "corrects": str(row.corrects.uuid) if row.corrects else None,
        "corrected_by": str(correction.uuid) if correction else None,
        "voided_at": at(row.voided_at, member) if row.voided_at else None,
    }
    return (
        told
        | {name: getattr(row, name) for name in AS_IT_IS}
        | {name: getattr(row, f"{name}_id") for name in KEYS}
        | {name: _number(getattr(row, name), 1) for name in MASSES}
    )


def check(row: InstrumentCheck, member: Member) -> dict[str, Any]:
    return {
        "id": row.pk,
        "refractometer": named(row.refractometer),
        "kind": row.kind,
        "expected_tds": plain(row.expected_tds, 3),
        "read_tds": plain(row.read_tds, 2),
        "verdict": "passed" if row.passed else "unclear" if row.unclear else "failed",
        "was_zeroed": not row.as_found,
        "starts_over": row.starts_over,
        "sucrose_g": _number(row.sucrose_g, 2),
        "solution_g": _number(row.solution_g, 2),
        "checked_at": at(row.checked_at, member),
        "checked_by": named(row.checked_by),
        "note": row.note,
    }
