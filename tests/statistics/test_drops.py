"""Drops that agree or do not: boundaries, and how often honest drops are questioned."""

from itertools import permutations
from math import ceil, floor
from statistics import NormalDist, median

import numpy as np
import pytest

from calibration.statistics.precision import allowed_range_units, settle_drops

STANDARD = NormalDist()


def questioned(n, sd_units, true_units, allowed_units):
    """P(range of n drops > allowed), each drawn from N(true, sd) and rounded by the display; exact.

    The range stays within a when the smallest is some k and none is above k + a.
    """
    if sd_units == 0:
        return 0.0

    def below(k):
        return STANDARD.cdf((k + 0.5 - true_units) / sd_units)

    smallest = range(floor(true_units - 9 * sd_units) - 1, ceil(true_units + 9 * sd_units) + 2)
    within = sum(
        (below(k + allowed_units) - below(k - 1)) ** n - (below(k + allowed_units) - below(k)) ** n
        for k in smallest
    )
    return 1 - within


@pytest.mark.parametrize("n", [2, 3, 4, 5])
def test_honest_drops_are_questioned_at_most_one_time_in_twenty(n):
    # repeatability 0 to 0.02 at a resolution of 0.01, wherever the true value lies between two marks
    worst = max(
        questioned(n, sd / 0.01, true / 10, allowed_range_units(n, sd, 0.01))
        for sd in np.arange(0, 0.0201, 0.0005)
        for true in range(10)
    )
    assert worst <= 0.0505
    # and the rule still bites: near its worst it questions about what a 95 % range should
    assert worst >= 0.04


def test_the_rounding_was_needed():
    # rounded down to whole units, the same critical range questions honest drops far more often
    assert questioned(2, 0.2, 0.5, 0) == pytest.approx(0.5, abs=1e-5)
    assert questioned(2, 0.2, 0.5, allowed_range_units(2, 0.002, 0.01)) < 1e-6


def test_exact_share_against_seeded_draws():
    rng = np.random.default_rng(11)
    drops = np.round(rng.normal(140.3, 1.0, (50_000, 2))) / 100
    asked = np.mean([settle_drops(pair, 0.01, 0.01).ask_another for pair in drops.tolist()])
    exact = questioned(2, 1.0, 140.3, allowed_range_units(2, 0.01, 0.01))
    # four standard errors of 50 000 draws
    assert asked == pytest.approx(exact, abs=4 * (exact / 50_000) ** 0.5)


def test_bad_drops_are_caught():
    # a drop 0.10 off (not stirred, not cooled) at a repeatability of 0.01
    assert settle_drops((1.40, 1.50), 0.01, 0.01).ask_another


@pytest.mark.parametrize(
    ("second", "ask_another"), [(1.43, False), (1.44, True), (1.37, False), (1.36, True)]
)
def test_compares_whole_display_units_not_floats(second, ask_another):
    # critical range 2.8 × √(0.01² + 0.01²/12) = 0.0291, three whole units; 1.43 - 1.40 is 0.03000000000000002
    verdict = settle_drops((1.40, second), 0.01, 0.01)
    assert verdict.allowed_range == 0.03
    assert verdict.ask_another is ask_another


def test_one_drop_asks_for_a_second():
    verdict = settle_drops((1.40,), 0.01, 0.01)
    assert (verdict.value, verdict.range, verdict.allowed_range, verdict.n) == (1.40, 0.0, None, 1)
    assert verdict.ask_another
    assert "second drop" in verdict.reason


@pytest.mark.parametrize("n", [2, 3, 4, 5])
def test_equal_drops_settle_even_without_any_spread(n):
    verdict = settle_drops((1.40,) * n, 0.0, 0.01)
    assert (verdict.value, verdict.range, verdict.rule, verdict.ask_another) == (1.40, 0.0, "mean", False)


def test_neighbouring_marks_settle_even_without_any_spread():
    # 1.405 may show as either
    assert not settle_drops((1.40, 1.41), 0.0, 0.01).ask_another
    assert settle_drops((1.40, 1.42), 0.0, 0.01).ask_another


def test_the_order_of_drops_does_not_matter():
    drops = (1.40, 1.46, 1.41, 1.52)
    assert len({settle_drops(order, 0.01, 0.01) for order in permutations(drops)}) == 1


def test_disagreeing_drops_give_the_median_of_all():
    drops = (1.40, 1.46, 1.41, 1.52)
    verdict = settle_drops(drops, 0.01, 0.01)
    assert verdict.rule == "median"
    assert verdict.value == median(drops)
    assert not verdict.ask_another
    assert "none is left out" in verdict.reason


def test_drops_that_disagree_are_credited_with_their_own_spread():
    assert settle_drops((1.40, 1.41), 0.01, 0.01).sd == 0.01
    assert settle_drops((1.40, 1.50), 0.01, 0.01).sd == pytest.approx(0.1 / 2**0.5)


def test_wider_drops_are_never_judged_better():
    asked = [settle_drops((1.40, 1.40 + step / 100), 0.01, 0.01).ask_another for step in range(20)]
    assert asked == sorted(asked)


def test_reasons_are_sentences_with_the_numbers():
    assert settle_drops((1.40, 1.41), 0.01, 0.01).reason == (
        "The 2 drops lie 0.01 % TDS apart, within the usual 0.03 %: their mean counts."
    )
    assert settle_drops((1.40, 1.45), 0.01, 0.01).reason == (
        "The 2 drops lie 0.05 % TDS apart, more than the usual 0.03 %: read one more drop of the same sample."
    )


@pytest.mark.parametrize(
    ("drops", "sd", "resolution", "says"),
    [
        ((), 0.01, 0.01, "at least one drop"),
        ((1.4, float("nan")), 0.01, 0.01, "must be a number"),
        ((1.4, 1.4), -0.01, 0.01, "0 or more"),
        ((1.4, 1.4), 0.01, 0.0, "above 0"),
    ],
)
def test_refuses_what_is_no_reading(drops, sd, resolution, says):
    with pytest.raises(ValueError, match=says):
        settle_drops(drops, sd, resolution)
