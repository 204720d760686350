"""Limits of agreement against Bland and Altman 1986 and 1999; bias and linearity against AIAG's worked example."""

from math import log

import pytest

from calibration.statistics.agreement import agreement, bias_of, linearity
from tests.published.cases import holds, numbers

PEFR, PLVOL = "agreement_pefr.csv", "agreement_plvol.csv"


def test_peak_flow_1986():
    wright, mini = numbers(PEFR, "wright1"), numbers(PEFR, "mini1")
    two, usual = agreement(wright, mini, multiplier=2), agreement(wright, mini)
    repeated = agreement(
        list(zip(wright, numbers(PEFR, "wright2"), strict=True)),
        list(zip(mini, numbers(PEFR, "mini2"), strict=True)),
        multiplier=2,
    )
    computed = {
        "mean difference": two.bias,
        "SD of differences": two.sd,
        "lower limit (mean - 2 SD)": two.low,
        "upper limit (mean + 2 SD)": two.high,
        "lower limit, 1.96 SD": usual.low,
        "upper limit, 1.96 SD": usual.high,
        "correlation": two.correlation,
        "repeatability coefficient Wright": repeated.repeatability_a,
        "repeatability coefficient mini": repeated.repeatability_b,
    }
    holds("agreement_pefr", computed)


def test_peak_flow_intervals_1986():
    # the paper's 95 % intervals (from memory): bias -22.0 to 17.8, low -114.3 to -45.1, high 40.9 to 110.1. Its limits
    # take a symmetric approximation; the exact ones reach further out and less far in
    found = agreement(numbers(PEFR, "wright1"), numbers(PEFR, "mini1"), multiplier=2)
    assert (found.bias_interval.low, found.bias_interval.high) == (
        pytest.approx(-22.0, abs=0.1),
        pytest.approx(17.8, abs=0.1),
    )
    assert found.high_interval.low == pytest.approx(40.9, abs=12)
    assert found.high_interval.high == pytest.approx(110.1, abs=16)
    assert found.high_interval.high > 110.1
    assert found.high_interval.low > 40.9


def test_plasma_volume_1999():
    found = agreement(numbers(PLVOL, "nadler"), numbers(PLVOL, "hurley"), ratio=True)
    computed = {
        "mean log difference": log(found.bias),
        "ratio lower limit": found.low,
        "ratio upper limit": found.high,
        "SD of log differences": found.sd,
    }
    holds("agreement_plvol", computed)


def test_linearity_aiag():
    path = "msa_linearity_aiag.csv"
    found = linearity(numbers(path, "y"), numbers(path, "reference"))
    computed = {
        "slope": found.slope.value,
        "intercept": found.intercept.value,
        "t slope": found.slope.t,
        "t intercept": found.intercept.t,
        "R-squared": found.r_squared,
        **{f"mean bias at {one.reference:g}": one.bias for one in found.standards},
    }
    holds("msa_linearity_aiag", computed)


def test_bias_aiag():
    found = bias_of(6.021, 0.2048, 100, 6.01)
    holds("msa_bias_aiag", {"t": found.t, "CI low": found.interval.low, "CI high": found.interval.high})
