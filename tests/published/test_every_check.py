"""No row of brewing_checks.json is without a test, and none is tested by accident of a name."""

from collections import Counter

from tests.published import (
    test_drawdown_checks,
    test_extraction_checks,
    test_refractometry_checks,
    test_scald_checks,
    test_slurry_checks,
    test_steadiness_checks,
    test_stream_checks,
    test_water_checks,
)
from tests.published.checks import ROWS

AREAS = (
    test_water_checks,
    test_stream_checks,
    test_extraction_checks,
    test_refractometry_checks,
    test_slurry_checks,
    test_drawdown_checks,
    test_scald_checks,
    test_steadiness_checks,
)


def test_every_row_is_held_against_something_once():
    assert Counter(key for area in AREAS for key in area.CLAIMED) == Counter(ROWS.keys())
    assert len(ROWS) == 180


def test_every_row_names_its_source():
    assert all(row["source"] and row["quantity"] for row in ROWS.values())
