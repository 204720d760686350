"""Straight lines and flows at their limits; published values are in tests/published."""

from random import Random

import numpy as np
import pytest

from calibration.statistics import steadiness


def test_a_line_against_numpy():
    rng = np.random.default_rng(8)
    x = rng.uniform(0, 60, 40)
    y = 3 + 4.5 * x + rng.normal(0, 0.4, 40)
    line = steadiness.straight_line(x.tolist(), y.tolist())
    (slope, intercept), covariance = np.polyfit(x, y, 1, cov=True)
    assert (line.slope, line.intercept) == pytest.approx((slope, intercept))
    assert (line.se_slope, line.se_intercept) == pytest.approx(tuple(np.sqrt(np.diag(covariance))))


def test_leading_digits_cost_nothing():
    x = [float(i) for i in range(10)]
    plain = steadiness.straight_line(x, [2 * value + (-1) ** int(value) for value in x])
    far = steadiness.straight_line(
        [1e9 + value for value in x], [1e9 + 2 * value + (-1) ** int(value) for value in x]
    )
    assert far.slope == pytest.approx(plain.slope, rel=1e-9)
    assert far.residual_sd == pytest.approx(plain.residual_sd, rel=1e-6)


@pytest.mark.parametrize(("x", "y"), [([0, 1], [0, 1]), ([1, 1, 1], [1, 2, 3]), ([0, 1, 2], [0, 1])])
def test_a_line_needs_three_points(x, y):
    with pytest.raises(ValueError, match="three points"):
        steadiness.straight_line(x, y)


def test_rounding_is_taken_off():
    rng, resolution = Random(5), 0.1
    true = [5.0 * (1 + rng.gauss(0, 0.03)) for _second in range(4000)]
    weights, weight = [0.0], 0.0
    for flow in true:
        weight += flow
        weights.append(round(weight / resolution) * resolution)
    flows = steadiness.window_flows_g_s(range(len(weights)), weights)
    observed = steadiness.variation(flows)
    own = steadiness.without_rounding(observed, 5.0, resolution)
    assert own < observed
    assert own == pytest.approx(steadiness.variation(true), rel=0.01)


def test_a_flow_no_steadier_than_the_scale_shows_is_steady():
    assert steadiness.without_rounding(0.005, 5.0, 0.1) == 0


def test_a_window_is_a_whole_number_of_readings():
    with pytest.raises(ValueError, match="whole number"):
        steadiness.window_flows_g_s([0, 0.3, 0.6, 0.9], [0, 1, 2, 3], 1.0)
    with pytest.raises(ValueError, match="whole number"):
        steadiness.window_flows_g_s([0, 2, 4], [0, 10, 20], 1.0)
