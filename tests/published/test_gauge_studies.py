"""Gauge studies against AIAG's worked example, by mean squares."""

import pytest

from calibration.statistics.chart_constants import constants
from calibration.statistics.gauge import gauge_study
from calibration.statistics.gauge_ranges import nested_study, range_study, single_range
from tests.published.cases import columns, holds, numbers

PATH = "grr_aiag.csv"


def aiag(**options):
    table = columns(PATH)
    return gauge_study(numbers(PATH, "y"), table["part"], table["appraiser"], **options)


def test_aiag_by_mean_squares():
    found, apart = aiag(pool_above=0.25, coverage=0.90), aiag(pool_above=None)
    assert found.interaction_pooled
    assert not apart.interaction_pooled
    assert apart.components["interaction"] == 0.0
    computed = {
        "SS appraiser": found.sums_of_squares["operator"],
        "SS part": found.sums_of_squares["part"],
        "SS appraiser x part": found.sums_of_squares["interaction"],
        "SS equipment": found.sums_of_squares["error"],
        "F appraiser (error MS below)": found.f_over_error["operator"],
        "F part (error MS below)": found.f_over_error["part"],
        "F appraiser (interaction MS below)": found.f["operator"],
        "F part (interaction MS below)": found.f["part"],
        "F interaction": found.f["interaction"],
        "p interaction": found.p["interaction"],
        "pooled var repeatability": found.components["residual"],
        "pooled var appraiser": found.components["operator"],
        "pooled var part": found.components["part"],
        "EV (sd)": found.repeatability,
        "AV (sd)": found.reproducibility,
        "GRR (sd)": found.grr,
        "PV (sd)": found.part_sd,
        "TV (sd)": found.total,
        "% contribution GRR": found.grr_contribution_pct,
        "% study variation GRR": found.grr_variation_pct,
        "ndc before truncation (truncates to 4)": found.categories,
        "unpooled var interaction (negative, report 0)": apart.raw["interaction"],
        "90% CI EV low": found.intervals["repeatability"].low,
        "90% CI EV high": found.intervals["repeatability"].high,
    }
    holds("grr_aiag_anova", computed)
    assert found.distinct_categories == 4
    assert found.components["interaction"] == 0.0


def test_aiag_limits_of_operators_and_gauge():
    # AIAG 2010 prints these 90 % limits; other intervals than its own come within 2 % of them
    found = aiag(coverage=0.90).intervals
    assert (found["reproducibility"].low, found["reproducibility"].high) == (
        pytest.approx(0.129, rel=0.02),
        pytest.approx(1.001, rel=0.02),
    )
    assert (found["grr"].low, found["grr"].high) == (
        pytest.approx(0.237, rel=0.02),
        pytest.approx(1.033, rel=0.02),
    )


def test_aiag_by_ranges():
    table = columns(PATH)
    found = range_study(numbers(PATH, "y"), table["part"], table["appraiser"])
    computed = {
        "EV": found.repeatability,
        "AV": found.reproducibility,
        "GRR": found.grr,
        "PV": found.part_sd,
        "TV": found.total,
        "%EV": found.repeatability_pct,
        "%AV": found.reproducibility_pct,
        "%GRR": found.grr_pct,
        "%PV": found.part_pct,
        "ndc before truncation (5)": found.categories,
    }
    holds("grr_aiag_range", computed)
    assert found.distinct_categories == 5


def test_constants_of_the_range_method():
    path = "gauge_rr_K_constants.csv"
    for m, K1, K2 in zip(numbers(path, "m"), numbers(path, "K1"), numbers(path, "K2_K3"), strict=True):
        # six decimals in the table
        assert 1 / constants(int(m)).d2 == pytest.approx(K1, abs=6e-7)
        assert single_range(int(m)) == pytest.approx(K2, abs=6e-7)
    # AIAG 2010 prints four decimals of these (from memory)
    assert [round(single_range(m), 4) for m in (2, 3, 10)] == [0.7071, 0.5231, 0.3146]


def test_nist_nested_study():
    path = "gauge_nist_mpc61_probe2362.csv"
    table = columns(path)
    found = nested_study(numbers(path, "average"), numbers(path, "stddev"), 6, table["wafer"], table["run"])
    assert (found.df1, found.df2, found.df3) == (300, 50, 5)
    holds(
        "gauge_nist_mpc61_probe2362",
        {"s1 level 1, 300 df": found.s1, "s2 level 2, 50 df": found.s2, "s3 level 3, 5 df": found.s3},
    )
