"""Yield, retained water and their uncertainty against worked values; each row names its source."""

import json
from pathlib import Path

import pytest

from recipes.brewing import extraction

ROWS = {
    row["id"]: row
    for row in json.loads((Path(__file__).parents[1] / "data/brewing_checks.json").read_text())["rows"]
    if row["id"].startswith("C-")
}


def ids(prefix):
    found = [key for key in ROWS if key.startswith(prefix)]
    assert found, prefix
    return found


def agrees(row, computed):
    assert row["tolerance"]["type"] == "rel"
    assert computed == pytest.approx(row["expected"], rel=row["tolerance"]["value"])


@pytest.mark.parametrize("key", ids("C-EY-"))
def test_percolation_yield(key):
    given = ROWS[key]["inputs"]
    agrees(
        ROWS[key],
        extraction.percolation_yield_pct(given["TDS_pct"], given["beverage_g"], given["dose_g"]),
    )


def test_immersion_yield():
    given = ROWS["C-imm-15-250"]["inputs"]
    agrees(
        ROWS["C-imm-15-250"],
        extraction.immersion_yield_pct(given["TDS_pct"], given["water_g"], given["dose_g"]),
    )


@pytest.mark.parametrize("key", ids("C-LRRw-"))
def test_water_retained(key):
    given = ROWS[key]["inputs"]
    agrees(
        ROWS[key],
        extraction.water_retained_g_per_g(
            given["dose_g"], given["water_g"], given["beverage_g"], given["TDS_pct"]
        ),
    )


@pytest.mark.parametrize("key", ids("C-LRRs-"))
def test_liquid_retained(key):
    given = ROWS[key]["inputs"]
    agrees(
        ROWS[key],
        extraction.liquid_retained_g_per_g(given["dose_g"], given["water_g"], given["beverage_g"]),
    )


@pytest.mark.parametrize("key", ids("C-line-"))
def test_brew_ratio_line(key):
    given = ROWS[key]["inputs"]
    agrees(
        ROWS[key],
        extraction.tds_on_line_pct(given["EY_pct"], 1.0, given["R"], retained_g_per_g=given["r"]),
    )


def test_forecast_beverage():
    given = ROWS["C-plan-a"]["inputs"]
    agrees(
        ROWS["C-plan-a"],
        extraction.forecast_beverage_g(
            given["EY_pct"], given["dose_g"], given["water_g"], retained_g_per_g=given["r_g_per_g"]
        ),
    )


def budget(given):
    return extraction.yield_budget(
        given["TDS_pct"],
        given["beverage_g"],
        given["dose_g"],
        given["u_TDS_pct"],
        given["u_beverage_g"],
        given["u_dose_g"],
    )


@pytest.mark.parametrize("key", ids("C-u-"))
def test_uncertainty_of_yield(key):
    agrees(ROWS[key], budget(ROWS[key]["inputs"]).u)


@pytest.mark.parametrize("key", ids("C-share-"))
def test_share_of_tds(key):
    tds = next(line for line in budget(ROWS[key]["inputs"]).lines if line.name == "TDS")
    agrees(ROWS[key], tds.share)
