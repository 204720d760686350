"""The mass balance against itself, and the budgets against naive ones: perturbed inputs and random draws."""

from math import hypot

import numpy as np
import pytest

from recipes.brewing import extraction as ex


def test_the_two_sides_of_the_balance_agree():
    for dose, water, bypass, ice, tds in [
        (15, 250, 0, 0, 1.4),
        (20, 320, 40, 0, 1.2),
        (30, 250, 0, 150, 1.5),
    ]:
        beverage = ex.estimated_beverage(dose, water, tds, bypass, ice).value_g
        ey = ex.percolation_yield_pct(tds, beverage, dose)
        assert ey == pytest.approx(ex.yield_on_line_pct(tds, dose, water, bypass, ice))
        assert tds == pytest.approx(ex.tds_on_line_pct(ey, dose, water, bypass, ice))
        assert beverage == pytest.approx(ex.forecast_beverage_g(ey, dose, water, bypass, ice))
        assert tds == pytest.approx(ex.tds_for_yield_pct(ey, beverage, dose))
        kept = ex.water_retained_g_per_g(dose, water, beverage, tds, bypass, ice)
        assert kept == pytest.approx(ex.RETAINED_WATER_G_PER_G)


def test_bypass_and_ice_pass_straight_to_the_server():
    plain = ex.estimated_beverage(15, 250, 0.0)
    assert ex.estimated_beverage(15, 250, 0.0, bypass_g=40).value_g == plain.value_g + 40
    assert ex.estimated_beverage(15, 250, 0.0, ice_g=100).value_g == plain.value_g + 100
    assert ex.liquid_retained_g_per_g(15, 250, 320, ice_g=100) == ex.liquid_retained_g_per_g(15, 250, 220)


def test_solids_in_all_the_liquid_return_the_immersion_tds():
    ey = ex.immersion_yield_pct(1.24, 250, 15)
    solids_g = ey / 100 * 15
    assert solids_g / (250 + solids_g) * 100 == pytest.approx(1.24)


def test_an_unweighed_beverage_carries_the_spread_of_what_beds_keep():
    estimate = ex.estimated_beverage(15, 250, 1.4)
    # half-width 0.4 g/g, rectangular (JCGM 100:2008, 4.3.7), on 15 g: 3.5 g, and the water's own 0.5 g
    assert estimate.value_g == pytest.approx(220.1, abs=0.05)
    assert estimate.u_g == pytest.approx(hypot(15 * 0.4 / 3**0.5, 0.5) / 0.986)
    assert estimate.u_g > 5 * ex.U_BEVERAGE_G


def test_a_bed_that_keeps_everything_has_no_beverage():
    with pytest.raises(ValueError, match="weigh the beverage"):
        ex.estimated_beverage(100, 200, 1.4)
    with pytest.raises(ValueError, match="no beverage"):
        ex.tds_on_line_pct(0.0, 100, 220)


def test_weighed_budget_against_random_draws():
    rng = np.random.default_rng(5)
    tds, beverage, dose = (rng.normal(m, u, 400_000) for m, u in [(1.4, 0.03), (220, 0.8), (15, 0.1)])
    budget = ex.yield_budget(1.4, 220, 15, 0.03, 0.8, 0.1)
    # 400 000 draws know a standard deviation to 0.11 %; the linear formula adds as much again
    assert budget.u == pytest.approx(np.std(tds * beverage / dose), rel=0.005)


def test_unweighed_budget_against_random_draws():
    rng = np.random.default_rng(6)
    half = (ex.RETAINED_WATER_MAX_G_PER_G - ex.RETAINED_WATER_MIN_G_PER_G) / 2
    tds, water, dose = (rng.normal(m, u, 400_000) for m, u in [(1.4, 0.03), (250, 0.5), (15, 0.1)])
    kept = rng.uniform(ex.RETAINED_WATER_G_PER_G - half, ex.RETAINED_WATER_G_PER_G + half, 400_000)
    beverage = (water - kept * dose) / (1 - tds / 100)
    budget = ex.estimated_yield_budget(1.4, 15, 250, u_tds_pct=0.03, u_water_g=0.5, u_dose_g=0.1)
    assert budget.u == pytest.approx(np.std(tds * beverage / dose), rel=0.005)
    assert budget.ey_pct == pytest.approx(ex.percolation_yield_pct(1.4, 220.08, 15), abs=0.01)


def test_sensitivities_against_perturbed_inputs():
    lines = {line.name: line for line in ex.estimated_yield_budget(1.3, 18, 300, bypass_g=20, ice_g=50).lines}

    def ey(tds=1.3, dose=18, water=300, kept=ex.RETAINED_WATER_G_PER_G):
        return ex.yield_on_line_pct(tds, dose, water, 20, 50, kept)

    h = 1e-5
    for name, up, down in [
        ("TDS", ey(tds=1.3 + h), ey(tds=1.3 - h)),
        ("liquid retained", ey(kept=2.2 + h), ey(kept=2.2 - h)),
        ("water", ey(water=300 + h), ey(water=300 - h)),
        ("dose", ey(dose=18 + h), ey(dose=18 - h)),
    ]:
        assert lines[name].sensitivity == pytest.approx((up - down) / (2 * h), rel=1e-6)


def test_shares_make_a_whole():
    budget = ex.yield_budget(1.4, 220, 15)
    assert sum(line.share for line in budget.lines) == pytest.approx(1)
    assert 2 * budget.u == budget.U


def test_a_budget_without_uncertainty_is_zero():
    budget = ex.yield_budget(1.4, 220, 15, 0, 0, 0)
    assert budget.u == 0
    assert {line.share for line in budget.lines} == {0}


def test_an_unweighed_brew_is_known_less_well():
    assert ex.estimated_yield_budget(1.4, 15, 250).u > ex.yield_budget(1.4, 220, 15).u


def test_rinse_water_is_asked_about_only_when_the_bed_cannot_have_let_it_through():
    # 250 g on 15 g: a bed that keeps 1.8 g/g and gives up 30 % lets through 227.5 g
    assert not ex.implausibly_heavy(220, 250, 15)
    assert not ex.implausibly_heavy(227.4, 250, 15)
    assert ex.implausibly_heavy(227.6, 250, 15)
    assert not ex.implausibly_heavy(320, 250, 15, ice_g=100)
    assert not ex.implausibly_heavy(260, 250, 15, bypass_g=40)
    assert ex.implausibly_heavy(270, 250, 15, bypass_g=40)


def test_the_dose_and_the_water_for_a_strength_lie_on_the_line():
    for tds, ey, water, bypass in [(1.3, 20, 250, 0), (1.45, 19, 320, 40), (1.2, 21.5, 500, 0)]:
        dose = ex.dose_for_tds_g(tds, ey, water, bypass)
        assert ex.tds_on_line_pct(ey, dose, water, bypass) == pytest.approx(tds)
        assert ex.water_for_tds_g(tds, ey, dose) == pytest.approx(water + bypass)
    assert ex.dose_for_tds_g(1.4, 20, 250) > ex.dose_for_tds_g(1.3, 20, 250) > ex.dose_for_tds_g(1.3, 21, 250)


def test_a_dry_basis_reads_higher():
    assert ex.dry_basis_yield_pct(20, 0, 0) == 20
    assert ex.dry_basis_yield_pct(20, 0.02, 0.01) - 20 == pytest.approx(0.62, abs=0.01)


def test_immersion_budget_against_random_draws():
    rng = np.random.default_rng(7)
    tds, water, dose = (rng.normal(m, u, 400_000) for m, u in [(1.24, 0.03), (250, 0.8), (15, 0.1)])
    budget = ex.immersion_budget(1.24, 250, 15, 0.03, 0.8, 0.1)
    assert budget.ey_pct == pytest.approx(ex.immersion_yield_pct(1.24, 250, 15))
    assert budget.u == pytest.approx(np.std(tds / (1 - tds / 100) * water / dose), rel=0.005)
    assert sum(line.share for line in budget.lines) == pytest.approx(1)
    assert {line.name for line in budget.lines} == {"TDS", "water", "dose"}
