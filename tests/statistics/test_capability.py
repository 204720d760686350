"""Capability: closed forms, how often intervals hold, and when indices mean nothing."""

from math import sqrt

import numpy as np
import pytest
from scipy import stats

from calibration.statistics.capability import capability, indices, share_within, wilson
from calibration.statistics.normality import anderson_darling


def test_wilson_solves_its_own_equation():
    # the limits are the shares p for which |x/n - p| = z √(p(1 - p)/n)
    found = wilson(37, 50)
    for p in (found.low, found.high):
        assert abs(0.74 - p) == pytest.approx(1.959964 * sqrt(p * (1 - p) / 50), rel=1e-6)


def test_wilson_at_the_ends_and_the_other_way_round():
    assert wilson(0, 20).low == 0.0
    assert wilson(20, 20).high == 1.0
    one, other = wilson(3, 20), wilson(17, 20)
    assert (one.low, one.high) == pytest.approx((1 - other.high, 1 - other.low))
    lows = [wilson(inside, 20).low for inside in range(21)]
    assert lows == sorted(lows)


def test_share_counts_the_limits_in():
    found = share_within([1.30, 1.50, 1.4, 1.51], 1.40 - 0.10, 1.40 + 0.10)
    assert (found.inside, found.n, found.share) == (3, 4, 0.75)
    assert share_within([1.0, 2.0], upper=1.5).inside == 1
    assert share_within([1.4], 1.3, 1.5).interval.high == 1.0


def test_overall_and_within_differ_by_the_spread_between_days():
    rng = np.random.default_rng(1)
    day = np.repeat(np.arange(40), 5)
    y = rng.normal(0, 1, 40)[day] + rng.normal(0, 0.5, 200)
    found = capability(y, -3, 3, groups=day)
    assert found.within_df == 160
    assert found.within_sd == pytest.approx(0.5, rel=0.15)
    assert found.overall.cpk < found.within.cpk
    assert any("resemble" in note for note in found.notes)


def test_neighbours_stand_in_for_groups():
    y = np.random.default_rng(2).normal(10, 2, 300)
    found = capability(y, 4, 16)
    assert found.within_sd == pytest.approx(np.abs(np.diff(y)).mean() * sqrt(np.pi) / 2)
    assert found.within_sd == pytest.approx(found.sd, rel=0.1)
    assert not found.meaningless


def test_how_well_a_moving_range_knows_a_spread():
    draws = np.random.default_rng(3).normal(0, 1, (20_000, 12))
    spreads = np.abs(np.diff(draws, axis=1)).mean(axis=1)
    df = capability(draws[0], -3, 3).within_df
    # a standard deviation with df degrees of freedom has a coefficient of variation of about 1/√(2 df)
    assert spreads.std() / spreads.mean() == pytest.approx(1 / sqrt(2 * df), rel=0.03)


@pytest.mark.parametrize("n", [15, 60])
def test_how_often_the_intervals_hold(n):
    rng = np.random.default_rng(4)
    held_cp = held_cpk = 0
    for _ in range(1500):
        y = rng.normal(0.5, 1, n)
        found = indices(y.mean(), y.std(ddof=1), -3, 4, n)
        held_cp += found.cp_interval.low <= 7 / 6 <= found.cp_interval.high
        held_cpk += found.cpk_interval.low <= 3.5 / 3 <= found.cpk_interval.high
    # three standard errors of 1500 draws; that of Cpk is an approximation with equal tails it does not have
    assert held_cp / 1500 == pytest.approx(0.95, abs=0.017)
    assert 0.93 <= held_cpk / 1500 <= 0.985


def test_what_is_not_normal_is_said():
    rng = np.random.default_rng(5)
    skew = capability(rng.exponential(1, 200), upper=5)
    assert skew.meaningless
    assert "read the share" in skew.notes[0]
    assert skew.within.cp is None
    assert skew.within.cpl is None


def test_a_coarse_display_is_not_another_shape():
    # TDS at a resolution of 0.01 with a spread of 0.02: ties everywhere
    rng = np.random.default_rng(6)
    refused = told = 0
    for _ in range(200):
        y = np.round(rng.normal(1.4, 0.02, 400), 2)
        refused += anderson_darling(y, resolution=0.01)[1] < 0.01
        told += anderson_darling(y)[1] < 0.01
    assert refused <= 8
    assert told > 150


@pytest.mark.parametrize("n", [10, 50])
def test_normal_values_are_refused_as_often_as_said(n):
    rng = np.random.default_rng(7)
    ps = np.array([anderson_darling(rng.normal(0, 1, n))[1] for _ in range(3000)])
    # three standard errors of 3000 draws
    assert np.mean(ps < 0.05) == pytest.approx(0.05, abs=0.012)
    assert np.mean(ps < 0.25) == pytest.approx(0.25, abs=0.025)


def test_anderson_darling_by_another_program():
    y = np.random.default_rng(8).normal(3, 2, 40)
    a, _p = anderson_darling(y)
    other = stats.goodness_of_fit(stats.norm, y, statistic="ad", n_mc_samples=1, rng=1).statistic
    # the other program takes the standard deviation with n below, this one with n - 1
    assert a / (1 + 0.75 / 40 + 2.25 / 1600) == pytest.approx(other, abs=0.02)


def test_further_off_the_middle_is_less_capable():
    cpks = [indices(mean, 1.0, -3, 3).cpk for mean in (0, 0.5, 1, 3, 4)]
    assert cpks == sorted(cpks, reverse=True)
    assert cpks[0] == 1.0
    assert cpks[-1] < 0


def test_one_reading_two_and_all_equal():
    one = capability([1.4], 1.3, 1.5)
    assert (one.sd, one.within, one.overall, one.normal_p) == (None,) * 4
    two = capability([1.4, 1.42], 1.3, 1.5)
    assert two.overall.cpk > 0
    equal = capability([1.4] * 10, 1.3, 1.5)
    assert (equal.overall, equal.share.share) == (None, 1.0)
    assert "do not scatter" in equal.notes[0]
    one_each = capability([1.4, 1.42], 1.3, 1.5, groups=["a", "b"])
    assert one_each.within is None
    assert any("Cp and Cpk cannot" in note for note in one_each.notes)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: capability([1.0, float("nan")], 0, 2), "row 2"),
        (lambda: capability([1.0, 2.0]), "Give a lower limit"),
        (lambda: capability([1.0, 2.0], 2, 1), "Give a lower limit"),
        (lambda: capability([], 0, 2), "at least one"),
        (lambda: capability([1.0, 2.0], 0, 2, groups=[1]), "needs its group"),
        (lambda: indices(1.0, 0.0, 0, 2), "above 0"),
        (lambda: indices(1.0, 1.0, float("nan"), 2), "Give a lower limit"),
        (lambda: wilson(3, 2), "no more lie inside"),
        (lambda: wilson(0, 0), "one value or more"),
        (lambda: anderson_darling([1.0] * 9, -1), "0 or more"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(ValueError, match=says):
        call()
