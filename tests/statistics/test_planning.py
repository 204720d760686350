"""Planning: known tables, a library's noncentral t and simulation beside it; what must rise, and what cannot be had."""

from math import ceil, sqrt

import numpy as np
import pytest
from scipy import stats

from calibration.statistics.charts import Averages, Cusum, Ewma, Rules, average_run_length
from calibration.statistics.planning import brews_needed, chance_to_see, checks_to_see, smallest_shift

# Cohen 1988, Statistical power analysis for the behavioral sciences, 2nd edition, and programs after it (from memory):
# brews for a shift of so many standard deviations, two-sided 5 %, power 0.8, σ estimated from the brews
SAMPLES = {0.2: 199, 0.5: 34, 0.8: 15, 1.0: 10}


@pytest.mark.parametrize(("delta", "n"), SAMPLES.items())
def test_brews_of_known_tables(delta, n):
    plan = brews_needed(delta * 0.03, 0.03, power=0.8)
    assert plan.n == n
    assert chance_to_see(n - 1, delta, 1) < 0.8 <= plan.power


# Cohen 1988, table 2.3.5 (from memory): 64 in each of two groups for half a standard deviation, 26 for 0.8
@pytest.mark.parametrize(("delta", "n"), [(0.5, 64), (0.8, 26)])
def test_two_groups_of_known_tables(delta, n):
    assert chance_to_see(n, delta, 1, earlier=n) >= 0.8
    assert chance_to_see(n - 1, delta, 1, earlier=n - 1) < 0.8


@pytest.mark.parametrize(("delta", "power"), [(0.3, 0.9), (1.0, 0.9), (2.5, 0.8)])
def test_with_sigma_known_it_is_the_formula(delta, power):
    # NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.2.2: N = (z₁₋α + z₁₋β)² (σ/δ)², one-sided
    formula = ((stats.norm.isf(0.05) + stats.norm.isf(1 - power)) / delta) ** 2
    assert brews_needed(delta, 1, power, sides=1, known=True).n == ceil(formula)


@pytest.mark.parametrize("n", [2, 3, 10, 200])
@pytest.mark.parametrize("delta", [0.05, 0.5, 2.0])
def test_noncentral_t_of_a_library(n, delta):
    t = stats.t.isf(0.025, n - 1)
    away = delta * sqrt(n)
    expected = stats.nct.sf(t, n - 1, away) + stats.nct.sf(t, n - 1, -away)
    assert chance_to_see(n, delta, 1) == pytest.approx(expected, abs=2e-9)


def test_simulated():
    rng = np.random.default_rng(7)
    x, before = rng.normal(0.6, 1, (20_000, 12)), rng.normal(0, 1, (20_000, 8))
    alone = (stats.ttest_1samp(x, 0, axis=1).pvalue < 0.05).mean()
    beside = (stats.ttest_ind(x, before, axis=1).pvalue < 0.05).mean()
    # four standard errors of 20 000 draws
    assert alone == pytest.approx(chance_to_see(12, 0.6, 1), abs=4 * 0.5 / sqrt(20_000))
    assert beside == pytest.approx(chance_to_see(12, 0.6, 1, earlier=8), abs=4 * 0.5 / sqrt(20_000))


@pytest.mark.parametrize("known", [True, False])
def test_without_a_shift_only_false_alarms_are_left(known):
    for n in (2, 5, 50):
        assert chance_to_see(n, 0.0, 1, alpha=0.05, known=known) == pytest.approx(0.05, abs=1e-9)
    assert chance_to_see(1, 5.0, 1) == 0.0


def test_smaller_shifts_and_surer_sight_take_more():
    by_shift = [brews_needed(shift, 0.03).n for shift in (0.06, 0.03, 0.02, 0.01, 0.001)]
    by_power = [brews_needed(0.02, 0.03, power).n for power in (0.5, 0.8, 0.9, 0.99)]
    assert by_shift == sorted(by_shift)
    assert by_power == sorted(by_power)
    assert brews_needed(-0.02, 0.03).n == brews_needed(0.02, 0.03).n


def test_the_smallest_shift_goes_back():
    for known in (True, False):
        for earlier in (None, 6):
            shift = smallest_shift(9, 0.03, earlier=earlier, known=known)
            assert chance_to_see(9, shift, 0.03, earlier=earlier, known=known) == pytest.approx(0.9, abs=1e-7)
    assert smallest_shift(1, 0.03) is None


def test_what_no_number_of_brews_shows():
    few = brews_needed(0.01, 0.03, earlier=3)
    assert few.n is None
    assert "too few earlier ones" in few.reason
    assert brews_needed(0.0, 0.03).reason == "A shift of 0 is never seen."
    assert "million" in brews_needed(1e-6, 0.03).reason


def test_a_chart_of_single_limits_is_geometric():
    scheme = Rules((1,))
    seen = 1 / average_run_length(scheme, 2.0)
    found = checks_to_see(scheme, 2.0, 0.9)
    assert found.n == ceil(np.log(0.1) / np.log(1 - seen))
    assert found.median == ceil(np.log(0.5) / np.log(1 - seen))
    assert found.mean == pytest.approx(1 / seen)
    assert found.quiet_mean == pytest.approx(370.398, abs=1e-3)
    assert found.power >= 0.9


@pytest.mark.parametrize("scheme", [Ewma(0.2, 2.962), Cusum(), Averages(4), Rules()], ids=str)
def test_a_chart_sees_a_larger_shift_sooner(scheme):
    found = [checks_to_see(scheme, shift) for shift in (0.5, 1.0, 2.0, 3.0)]
    assert [s.n for s in found] == sorted((s.n for s in found), reverse=True)
    for sighting in found:
        assert sighting.median <= sighting.n
        assert sighting.median <= sighting.mean + 1


def test_a_chart_may_take_too_long_to_say():
    found = checks_to_see(Ewma(0.2, 5.0), 0.0)
    assert (found.n, found.median) == (None, None)
    assert found.reason == "The chart may take more than 20000 readings."
    assert checks_to_see(Rules((1,)), 0.0, 0.5).n == 257


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: brews_needed(float("nan"), 1), "shift must be a number"),
        (lambda: brews_needed(1, 0), "standard deviation"),
        (lambda: brews_needed(1, 1, power=0.01), "wanted power"),
        (lambda: brews_needed(1, 1, alpha=0.7), "false alarm"),
        (lambda: brews_needed(1, 1, sides=3), "one side or to two"),
        (lambda: chance_to_see(0, 1, 1), "one brew or more"),
        (lambda: chance_to_see(5, 1, 1, earlier=0), "one earlier brew"),
        (lambda: checks_to_see(Rules(), 1.0, 1.0), "between 0 and 1"),
        (lambda: checks_to_see(Rules(), float("inf")), "shift must be a number"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(ValueError, match=says):
        call()
