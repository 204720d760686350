"""Agreement of instruments: by hand, how often limits' intervals hold, symmetry, and what cannot be told."""

from math import log, sqrt
from statistics import mean, stdev

import numpy as np
import pytest
from scipy import stats

from calibration.statistics.agreement import agreement, bias_against, bias_of, linearity


def test_by_hand():
    a, b = [1.40, 1.35, 1.52, 1.28], [1.38, 1.36, 1.49, 1.25]
    found = agreement(a, b)
    d = [x - y for x, y in zip(a, b, strict=True)]
    assert (found.bias, found.sd) == (pytest.approx(mean(d)), pytest.approx(stdev(d)))
    assert found.high == pytest.approx(mean(d) + 1.96 * stdev(d))
    line = stats.linregress([(x + y) / 2 for x, y in zip(a, b, strict=True)], d)
    assert (found.slope.slope, found.slope.se, found.slope.p) == pytest.approx(
        (line.slope, line.stderr, line.pvalue)
    )


def test_swapping_the_instruments_turns_everything_round():
    rng = np.random.default_rng(1)
    a, b = rng.normal(1.4, 0.1, (12, 2)), rng.normal(1.4, 0.1, (12, 3))
    one, other = agreement(a, b), agreement(b, a)
    assert other.bias == pytest.approx(-one.bias)
    assert (other.low, other.high) == pytest.approx((-one.high, -one.low))
    assert other.low_interval.low == pytest.approx(-one.high_interval.high)
    assert other.within_sd_a == pytest.approx(one.within_sd_b)


def test_a_factor_is_the_exponential_of_a_difference():
    rng = np.random.default_rng(2)
    a, b = np.exp(rng.normal(0.1, 0.1, 15)), np.exp(rng.normal(0, 0.1, 15))
    logs, factor = agreement(np.log(a), np.log(b)), agreement(a, b, ratio=True)
    assert log(factor.high) == pytest.approx(logs.high)
    assert log(factor.low_interval.low) == pytest.approx(logs.low_interval.low)
    assert (factor.sd, factor.slope.slope) == pytest.approx((logs.sd, logs.slope.slope))


def test_averaging_repeats_gives_back_the_spread_of_single_readings():
    # Bland and Altman 1999, 5.2: the variance of means falls short by half of each within-variance
    rng = np.random.default_rng(3)
    item = rng.normal(1.4, 0.1, (4000, 1))
    a, b = item + rng.normal(0, 0.03, (4000, 2)), item + 0.02 + rng.normal(0, 0.04, (4000, 2))
    found = agreement(a, b)
    assert found.sd == pytest.approx(0.05, rel=0.05)
    assert (found.within_sd_a, found.within_sd_b) == (
        pytest.approx(0.03, rel=0.05),
        pytest.approx(0.04, rel=0.05),
    )
    assert found.bias == pytest.approx(-0.02, abs=0.003)


def test_unequal_numbers_of_repeats():
    found = agreement([[1.4, 1.42], [1.3], [1.5, 1.5, 1.53]], [1.39, 1.31, 1.48])
    squares = 2 * 0.01**2 + 2 * 0.01**2 + 0.02**2
    assert found.within_sd_a == pytest.approx(sqrt(squares / 3))
    lost = 1 - (1 / 2 + 1 + 1 / 3) / 3
    d = [1.41 - 1.39, 1.3 - 1.31, 1.51 - 1.48]
    assert found.sd == pytest.approx(sqrt(stdev(d) ** 2 + lost * squares / 3))
    assert found.within_sd_b is None


@pytest.mark.parametrize("n", [6, 20])
@pytest.mark.parametrize("repeats", [1, 3])
def test_how_often_the_intervals_hold(n, repeats):
    rng = np.random.default_rng(4)
    high = 0.3 + 1.96 * sqrt(0.5**2 + 0.4**2 + 0.6**2)
    held = {"bias": 0, "high": 0}
    for _ in range(400):
        item = rng.normal(0, 2, (n, 1))
        a = item + 0.3 + rng.normal(0, 0.5, (n, 1)) + rng.normal(0, 0.4, (n, repeats))
        found = agreement(a, item + rng.normal(0, 0.6, (n, repeats)))
        held["bias"] += found.bias_interval.low <= 0.3 <= found.bias_interval.high
        held["high"] += found.high_interval.low <= high <= found.high_interval.high
    # three standard errors of 400 draws; exact without repeats, to a hundredth with them
    assert held["bias"] / 400 == pytest.approx(0.95, abs=0.033)
    assert held["high"] / 400 == pytest.approx(0.95, abs=0.033 if repeats == 1 else 0.04)


def test_the_large_sample_interval_takes_over_smoothly():
    rng = np.random.default_rng(5)
    a = rng.normal(0, 1, 199)
    few, many = agreement(a, 0 * a), agreement(np.append(a, a.mean()), np.zeros(200))
    width = few.high_interval.high - few.high_interval.low
    assert many.high_interval.low == pytest.approx(few.high_interval.low, abs=0.02 * width)


def test_one_item_and_two():
    one = agreement([1.4], [1.3])
    assert one.bias == pytest.approx(0.1)
    assert (one.sd, one.low, one.high_interval, one.slope, one.correlation) == (None,) * 5
    assert any("One item alone" in note for note in one.notes)
    two = agreement([1.4, 1.5], [1.3, 1.45])
    assert two.high_interval.high > two.high
    assert two.slope is None


def test_all_equal():
    found = agreement([1.4] * 5, [1.4] * 5)
    assert (found.bias, found.sd, found.low, found.high) == (0.0, 0.0, 0.0, 0.0)
    assert (found.high_interval.low, found.high_interval.high) == (0.0, 0.0)
    assert found.correlation is None


@pytest.mark.parametrize(
    ("a", "b", "options", "says"),
    [
        ([1.0, float("nan")], [1.0, 2.0], {}, "row 2"),
        ([1.0, 2.0], [1.0, [2.0, float("inf")]], {}, "row 2"),
        ([1.0, []], [1.0, 2.0], {}, "Row 2 has no reading"),
        ([], [], {}, "at least one"),
        ([1.0], [1.0, 2.0], {}, "same items"),
        ([1.0, 0.0], [1.0, 2.0], {"ratio": True}, "Row 2 is not above 0"),
        ([1.0], [1.0], {"multiplier": 0}, "above 0"),
        ([1.0], [1.0], {"coverage": 1}, "between 0 and 1"),
        ([1.0, "x"], [1.0, 2.0], {}, "row 2"),
    ],
)
def test_refuses(a, b, options, says):
    with pytest.raises(ValueError, match=says):
        agreement(a, b, **options)


def test_bias_by_another_program():
    y = np.random.default_rng(6).normal(1.02, 0.05, 12)
    found, other = bias_against(y, 1.0), stats.ttest_1samp(y, 1.0)
    assert (found.t, found.p) == pytest.approx((other.statistic, other.pvalue))
    around = other.confidence_interval()
    assert (found.interval.low, found.interval.high) == pytest.approx((around.low - 1, around.high - 1))


def test_an_uncertain_standard_widens_the_interval():
    widths = [
        found.interval.high - found.interval.low
        for found in (bias_against([1.4, 1.42, 1.38], 1.4, u) for u in (0, 0.02, 0.2))
    ]
    # more degrees of freedom come with it, so that the least uncertainty may narrow a little
    assert widths[2] > 2 * 1.96 * 0.2
    assert widths[1] < widths[2]


def test_bias_of_one_reading_and_of_equal_ones():
    one = bias_against([1.4], 1.38)
    assert one.bias == pytest.approx(0.02)
    assert (one.sd, one.t, one.interval) == (None, None, None)
    equal = bias_against([1.4, 1.4], 1.38)
    assert (equal.sd, equal.t, equal.p) == (0.0, None, None)


def test_linearity_by_another_program():
    rng = np.random.default_rng(7)
    x = np.repeat([1.0, 1.2, 1.5, 2.0], 5)
    y = 0.03 + 0.98 * x + rng.normal(0, 0.01, 20)
    found, other = linearity(y, x), stats.linregress(x, y - x)
    assert (found.slope.value, found.slope.se, found.slope.p) == pytest.approx(
        (other.slope, other.stderr, other.pvalue)
    )
    assert (found.intercept.value, found.intercept.se) == pytest.approx(
        (other.intercept, other.intercept_stderr)
    )
    assert found.bend_p > 0.01


def test_a_bent_scale_is_noticed():
    x = np.repeat([1.0, 1.5, 2.0], 4)
    noise = np.tile([0.001, -0.001, 0.001, -0.001], 3)
    assert linearity(x + 0.02 * (x - 1.5) ** 2 + noise, x).bend_p < 0.01
    assert linearity(x + 0.02 * x + noise, x).bend_p == pytest.approx(1)


def test_linearity_without_repeats_or_residue():
    found = linearity([1.0, 1.5, 2.0], [1.0, 1.5, 2.0])
    assert (found.slope.value, found.slope.t, found.residual_sd, found.r_squared, found.bend_p) == (
        0.0,
        None,
        0.0,
        None,
        None,
    )


@pytest.mark.parametrize(
    ("readings", "references", "says"),
    [
        ([1.0, 2.0], [1.0, 2.0], "At least 3"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, float("nan")], "row 3"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0, 4.0], "value of its standard"),
        ([1.0, 2.0, 3.0], [1.0, 1.0, 1.0], "two standards"),
    ],
)
def test_linearity_refuses(readings, references, says):
    with pytest.raises(ValueError, match=says):
        linearity(readings, references)


@pytest.mark.parametrize(("sd", "n", "u"), [(-1.0, 3, 0.0), (1.0, 0, 0.0), (1.0, 3, -1.0)])
def test_bias_refuses(sd, n, u):
    with pytest.raises(ValueError, match="0 or more"):
        bias_of(1.0, sd, n, 1.0, u)
