"""Straight lines and the steadiness of a flow; rows H name source and tolerance."""

import pytest

from calibration.statistics import steadiness
from tests.published.checks import agrees, computed, keys


def norris(given):
    return steadiness.straight_line(given["x"], given["y"])


def flows(given):
    return steadiness.window_flows_g_s(given["t_s"], given["m_g"], given["window_s"])


TABLE = {
    "H-Norris-slope": lambda given: norris(given).slope,
    "H-Norris-intercept": lambda given: norris(given).intercept,
    "H-Norris-se_slope": lambda given: norris(given).se_slope,
    "H-Norris-se_intercept": lambda given: norris(given).se_intercept,
    "H-Norris-sd": lambda given: norris(given).residual_sd,
    "H-slopeSE-": lambda given: steadiness.slope_u(given["sigma_g"], given["n"], given["dt_s"]),
    "H-quant-": lambda given: steadiness.rounding_u_g_s(given["q_g"], given["dt_s"]),
    "H-slope-": lambda given: steadiness.straight_line(given["t_s"], given["m_g"]).slope,
    "H-cv-": lambda given: steadiness.variation(flows(given)),
    "H-cvcorr-": lambda given: steadiness.without_rounding(
        given["CV_obs"], given["mean_g_s"], given["q_g"], given["window_s"]
    ),
}
CLAIMED = keys(*TABLE)


@pytest.mark.parametrize("key", CLAIMED)
def test_published_value(key):
    agrees(key, computed(TABLE, key))
