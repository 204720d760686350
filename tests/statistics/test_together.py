"""The ellipse of TDS and yield against random draws and against an eigen-decomposition."""

from math import sqrt

import numpy as np
import pytest

from calibration.statistics.together import coverage, ellipse, mean_of, together
from recipes.brewing.extraction import RETAINED_WATER_G_PER_G, estimated_yield_budget, yield_budget

TDS, BEVERAGE, DOSE, WATER = 1.40, 220.0, 15.0, 250.0
U_TDS = 0.026


def weighed(tds=TDS, u_tds=U_TDS):
    budget = yield_budget(tds, BEVERAGE, DOSE, u_tds)
    return together(tds, budget.ey_pct, u_tds, budget.u, BEVERAGE / DOSE)


def not_weighed():
    budget = estimated_yield_budget(TDS, DOSE, WATER, u_tds_pct=U_TDS)
    return together(TDS, budget.ey_pct, U_TDS, budget.u, budget.lines[0].sensitivity)


def drawn_weighed(rng, n):
    tds, beverage, dose = rng.normal(TDS, U_TDS, n), rng.normal(BEVERAGE, 0.5, n), rng.normal(DOSE, 0.1, n)
    return tds, tds * beverage / dose


def drawn_not_weighed(rng, n):
    tds, water, dose = rng.normal(TDS, U_TDS, n), rng.normal(WATER, 0.5, n), rng.normal(DOSE, 0.1, n)
    # rectangular, 1.8 to 2.6 g/g
    kept = rng.uniform(RETAINED_WATER_G_PER_G - 0.4, RETAINED_WATER_G_PER_G + 0.4, n)
    beverage = (water - kept * dose) / (1 - tds / 100)
    return tds, tds * beverage / dose


@pytest.mark.parametrize(("known", "draw"), [(weighed, drawn_weighed), (not_weighed, drawn_not_weighed)])
def test_the_covariance_is_that_of_draws_carried_through_the_mass_balance(known, draw):
    drawn = np.cov(*draw(np.random.default_rng(11), 400_000))
    k = known()
    # 400 000 draws know a variance to 0.3 %; what is not linear in the balance adds less than 1 %
    assert drawn[0, 0] == pytest.approx(k.u_tds**2, rel=0.01)
    assert drawn[1, 1] == pytest.approx(k.u_ey**2, rel=0.02)
    assert drawn[0, 1] == pytest.approx(k.covariance, rel=0.02)


def test_it_holds_as_many_draws_as_it_says():
    rng = np.random.default_rng(12)
    tds, ey = drawn_weighed(rng, 200_000)
    k = weighed()
    matrix = [[k.u_tds**2, k.covariance], [k.covariance, k.u_ey**2]]
    away = np.stack([tds - k.tds_pct, ey - k.ey_pct])
    distance = np.einsum("in,ij,jn->n", away, np.linalg.inv(matrix), away)
    assert np.mean(distance <= 2**2) == pytest.approx(coverage(2), abs=0.005)
    assert coverage(2) == pytest.approx(0.8647, abs=5e-5)


def test_the_factor_for_95_percent_of_two_quantities_is_the_published_one():
    # JCGM 102:2011, 6.5.2: k = 2.45 for a bivariate Gaussian, p = 0.95 (value from memory); chi-square 5.991
    assert coverage(2.45) == pytest.approx(0.95, abs=0.001)
    assert coverage(sqrt(5.991)) == pytest.approx(0.95, abs=1e-4)


@pytest.mark.parametrize("known", [weighed, not_weighed])
@pytest.mark.parametrize("k", [1, 2])
def test_the_outline_is_the_one_of_the_eigenvectors(known, k):
    joint = known()
    matrix = np.array([[joint.u_tds**2, joint.covariance], [joint.covariance, joint.u_ey**2]])
    values, vectors = np.linalg.eigh(matrix)
    for ey, tds in ellipse(joint, k):
        along = vectors.T @ np.array([tds - joint.tds_pct, ey - joint.ey_pct])
        assert np.sum(along**2 / values) == pytest.approx(k**2)


def test_its_shadow_on_either_axis_is_the_expanded_uncertainty():
    joint = weighed()
    around = ellipse(joint, 2, points=3600)
    assert around[0] == pytest.approx(around[-1])
    assert max(tds for _ey, tds in around) - joint.tds_pct == pytest.approx(2 * joint.u_tds)
    assert max(ey for ey, _tds in around) - joint.ey_pct == pytest.approx(2 * joint.u_ey, rel=1e-5)


def test_a_brew_known_exactly_is_a_point_and_rounding_makes_no_hole():
    assert set(ellipse(together(1.4, 20.5, 0, 0, 14.7), 2)) == {(20.5, 1.4)}
    rounded = together(1.4, 20.5, 0.026, 0.38, 14.7)  # 14.7 × 0.026 is 0.3822
    assert rounded.u_rest == 0
    with pytest.raises(ValueError, match="0 or more"):
        together(1.4, 20.5, -0.01, 0.3, 14.7)


def test_a_mean_against_draws_with_one_instrument_error_for_all():
    rng = np.random.default_rng(13)
    bias_u, n, draws = 0.018, 5, 100_000
    strengths = [1.35, 1.38, 1.40, 1.42, 1.45]
    bias = rng.normal(0, bias_u, draws)
    own_u = sqrt(U_TDS**2 - bias_u**2)
    tds = [strength + bias + rng.normal(0, own_u, draws) for strength in strengths]
    ey = [t * rng.normal(BEVERAGE, 0.5, draws) / rng.normal(DOSE, 0.1, draws) for t in tds]
    drawn = np.cov(np.mean(tds, axis=0), np.mean(ey, axis=0))
    mean = mean_of([weighed(strength) for strength in strengths], [bias_u] * n)
    assert mean.tds_pct == pytest.approx(1.40)
    assert drawn[0, 0] == pytest.approx(mean.u_tds**2, rel=0.03)
    assert drawn[1, 1] == pytest.approx(mean.u_ey**2, rel=0.03)
    assert drawn[0, 1] == pytest.approx(mean.covariance, rel=0.03)


def test_a_mean_of_one_is_that_one_and_of_none_is_refused():
    one = weighed()
    same = mean_of([one], [0.01])
    assert (same.u_tds, same.u_ey, same.covariance) == pytest.approx((one.u_tds, one.u_ey, one.covariance))
    with pytest.raises(ValueError, match="at least one"):
        mean_of([], [])
