"""Yield, retained water, their uncertainty and published bands; rows C name source and tolerance."""

import pytest

from calibration.statistics.uncertainty import tds_budget
from recipes.brewing import extraction
from recipes.brewing.bands import PUBLISHED_BANDS, Extraction, Strength, zone
from tests.published.checks import ROWS, agrees, computed, given, keys

STANDARD = next(band for band in PUBLISHED_BANDS if band.key == "scaa-2015")


def budget(given):
    return extraction.yield_budget(
        given["TDS_pct"],
        given["beverage_g"],
        given["dose_g"],
        given["u_TDS_pct"],
        given["u_beverage_g"],
        given["u_dose_g"],
    )


def with_an_instruments_budget(given):
    tds = tds_budget(1, drop_sd=0.01, resolution=0.01, drift_u=0.0)
    return budget({**given, "u_TDS_pct": tds.u_absolute}).u


TABLE = {
    "C-EY-": lambda given: extraction.percolation_yield_pct(
        given["TDS_pct"], given["beverage_g"], given["dose_g"]
    ),
    "C-imm-": lambda given: extraction.immersion_yield_pct(
        given["TDS_pct"], given["water_g"], given["dose_g"]
    ),
    "C-LRRw-": lambda given: extraction.water_retained_g_per_g(
        given["dose_g"], given["water_g"], given["beverage_g"], given["TDS_pct"]
    ),
    "C-LRRs-": lambda given: extraction.liquid_retained_g_per_g(
        given["dose_g"], given["water_g"], given["beverage_g"]
    ),
    "C-line-": lambda given: extraction.tds_on_line_pct(
        given["EY_pct"], 1.0, given["R"], retained_g_per_g=given["r"]
    ),
    "C-plan-": lambda given: extraction.forecast_beverage_g(
        given["EY_pct"], given["dose_g"], given["water_g"], retained_g_per_g=given["r_g_per_g"]
    ),
    "C-dry": lambda given: extraction.dry_basis_yield_pct(given["EY_pct"], given["w_moist"], given["w_CO2"]),
    "C-u-": lambda given: budget(given).u,
    "C-share-": lambda given: next(line.share for line in budget(given).lines if line.name == "TDS"),
    "C-ubudget": with_an_instruments_budget,
}
BANDS = {
    "C-std-strength": STANDARD.tds_pct,
    "C-std-yield": STANDARD.ey_pct,
    "C-std-ratio_g_per_L": STANDARD.dose_g_L,
    "C-std-temperature_C": STANDARD.water_C,
}
CLAIMED = keys(*TABLE) + keys("C-std-", "C-zone-")


@pytest.mark.parametrize("key", keys(*TABLE))
def test_published_value(key):
    agrees(key, computed(TABLE, key))


@pytest.mark.parametrize("key", keys("C-std-"))
def test_published_band(key):
    assert list(BANDS[key]) == ROWS[key]["expected"]


@pytest.mark.parametrize("key", keys("C-zone-"))
def test_zone_of_the_published_box(key):
    strength, extracted = zone(STANDARD, given(key)["TDS_pct"], given(key)["EY_pct"])
    outside = {strength.value, extracted.value} - {"in"}
    assert outside == {ROWS[key]["expected"]} - {"in"}


def test_every_corner_of_a_band_has_a_name():
    low, high = STANDARD.tds_pct, STANDARD.ey_pct
    assert zone(STANDARD, low[0], high[0]) == (Strength.IN, Extraction.IN)
    assert zone(STANDARD, low[0] - 0.01, high[0] - 0.1) == (Strength.WEAK, Extraction.UNDER)
    assert zone(STANDARD, low[1] + 0.01, high[1] + 0.1) == (Strength.STRONG, Extraction.OVER)


def test_a_measured_fact_of_the_trade():
    """Common practice, no source: 15 g to 250 g, all in the centre after the bloom, reads about 1.25 %. With about
    2 g/g retained that is 18.3 %, inside the standard's 18 % to 22 %."""
    ey = extraction.percolation_yield_pct(1.25, 250 - 2 * 15, 15)
    assert ey == pytest.approx(18.33, abs=0.01)
    assert STANDARD.ey_pct[0] <= ey <= STANDARD.ey_pct[1]
    assert zone(STANDARD, 1.25, ey) == (Strength.IN, Extraction.IN)


def test_every_band_names_its_body_and_its_document():
    assert all(band.body and band.document for band in PUBLISHED_BANDS)
    assert len({band.key for band in PUBLISHED_BANDS}) == len(PUBLISHED_BANDS)
