"""One change point and a straight line against published analyses.

The Nile, 1871 to 1970: Cobb 1978; Zeileis, Kleiber, Krämer and Hornik 2003. NIST StRD, Linear Regression, Norris. Each
case's source and tolerance stands in its file in tests/data/statistics.
"""

import pytest

from calibration.statistics import trend
from calibration.statistics.change_chance import chance_of_sup_f
from tests.published.cases import holds, numbers


def test_sup_f_of_the_nile():
    found = trend.change_point(numbers("changepoint_nile.csv", "flow"))
    holds(
        "changepoint_nile",
        {
            "break after observation": found.after,
            "sup F": found.f,
            "RSS 0 breaks": found.rss_0,
            "RSS 1 break": found.rss_1,
            "BIC 0 breaks": found.bic_0,
            "BIC 1 break": found.bic_1,
            "mean 1871-1898": found.mean_before,
            "mean 1899-1970": found.mean_after,
        },
    )
    assert found.p < 1e-10


def test_other_tests_of_the_nile():
    found = trend.change_point(numbers("changepoint_nile.csv", "flow"))
    holds(
        "changepoint_nile_other",
        {
            "Pettitt K": found.pettitt.k,
            "Pettitt position": found.pettitt.after,
            "Pettitt p": found.pettitt.p,
            "OLS-CUSUM S0": found.cusum,
        },
    )


def test_norris():
    found = trend.slope(numbers("linreg_norris.csv", "x"), numbers("linreg_norris.csv", "y"))
    holds(
        "linreg_norris",
        {
            "B0": found.intercept,
            "B1": found.slope,
            "SE B0": found.se_intercept,
            "SE B1": found.se_slope,
            "residual SD": found.residual_sd,
            "R-squared": found.r_squared,
        },
    )


# Andrews 1993, Econometrica 61:821, table 1, one parameter, 15 % left out (from memory): limits for an endless series,
# simulated there with 3,600 steps and 10,000 draws, whose own error is near 0.1 in the limit
@pytest.mark.parametrize(("limit", "chance"), [(7.17, 0.10), (8.85, 0.05), (12.35, 0.01)])
def test_limits_for_a_long_series(limit, chance):
    assert chance_of_sup_f(limit, 3600, 540, 3060) == pytest.approx(chance, rel=0.06)
