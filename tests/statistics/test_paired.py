"""Pairs, and before and after: another program beside it, what the words promise, and boundaries."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from calibration.statistics.paired import Repair, Sameness, before_after, paired, pairs

figures = st.lists(st.integers(100, 180).map(lambda x: x / 100), min_size=3, max_size=12)


@settings(derandomize=True, deadline=None, max_examples=40)
@given(figures, st.integers(0, 10**6))
def test_against_another_program(a, seed):
    b = np.random.default_rng(seed).normal(1.4, 0.1, len(a))
    found, other = paired(a, b, 0.05), stats.ttest_rel(a, b)
    assert found.p == pytest.approx(other.pvalue)
    around = other.confidence_interval()
    assert (found.interval.low, found.interval.high) == pytest.approx((around.low, around.high))
    inner = other.confidence_interval(0.90)
    assert (found.equivalence.low, found.equivalence.high) == pytest.approx((inner.low, inner.high))


def test_welch_against_another_program():
    rng = np.random.default_rng(1)
    before, after = rng.normal(1.3, 0.1, 9), rng.normal(1.4, 0.03, 14)
    found, other = before_after(before, after, 1.4, 0.05), stats.ttest_ind(after, before, equal_var=False)
    assert found.p == pytest.approx(other.pvalue)
    around = other.confidence_interval()
    assert (found.change_interval.low, found.change_interval.high) == pytest.approx((around.low, around.high))


def test_swapping_turns_the_difference_round():
    rng = np.random.default_rng(2)
    a, b = rng.normal(1.4, 0.05, 8), rng.normal(1.38, 0.05, 8)
    one, other = paired(a, b, 0.05), paired(b, a, 0.05)
    assert (other.difference, other.p, other.word) == (
        pytest.approx(-one.difference),
        pytest.approx(one.p),
        one.word,
    )


@pytest.mark.parametrize("n", [5, 20])
def test_sameness_is_said_wrongly_one_time_in_twenty_at_most(n):
    # true difference at the margin itself: Schuirmann 1987 promises 5 % at most
    rng = np.random.default_rng(3)
    words = [paired(rng.normal(0.05, 0.03, n), np.zeros(n), 0.05).word for _ in range(2000)]
    # three standard errors of 2000 draws
    assert np.mean([word is Sameness.SAME for word in words]) <= 0.065
    assert np.mean([word is Sameness.DIFFERENT for word in words]) <= 0.065


def test_few_readings_never_show_sameness_by_finding_nothing():
    found = paired([1.40, 1.30, 1.52], [1.38, 1.42, 1.40], 0.05)
    assert found.p > 0.5
    assert found.word is Sameness.TOO_EARLY
    assert "both remain likely" in found.reason


def test_more_of_the_same_readings_settle_it():
    some = [0.01, -0.02, 0.015, -0.01, 0.0]
    words = [paired(some * times, [0.0] * 5 * times, 0.012).word for times in (1, 2, 8)]
    assert words == [Sameness.TOO_EARLY, Sameness.SAME, Sameness.SAME]


def test_the_margin_itself_is_within():
    assert paired([1.45, 1.45], [1.40, 1.40], 0.05).word is Sameness.SAME
    assert paired([1.46, 1.46], [1.40, 1.40], 0.05).word is Sameness.DIFFERENT


def test_a_wider_margin_never_unsettles_sameness():
    rng = np.random.default_rng(4)
    a, b = rng.normal(0, 0.05, 10), np.zeros(10)
    same = [paired(a, b, margin).word is Sameness.SAME for margin in (0.01, 0.03, 0.06, 0.2)]
    assert same == sorted(same)
    assert same[-1]


def test_fixed_not_fixed_and_too_early():
    rng = np.random.default_rng(5)
    before = rng.normal(1.30, 0.02, 15)
    fixed = before_after(before, rng.normal(1.40, 0.02, 15), 1.40, 0.03)
    assert (fixed.word, fixed.p < 0.001) == (Repair.FIXED, True)
    assert fixed.before.word is Sameness.DIFFERENT
    # it moved, and still is not where it should be
    half = before_after(before, rng.normal(1.35, 0.005, 15), 1.40, 0.03)
    assert (half.word, half.p < 0.001) == (Repair.NOT_FIXED, True)
    assert before_after(before, [1.40, 1.36], 1.40, 0.03).word is Repair.TOO_EARLY
    always = before_after(rng.normal(1.40, 0.02, 15), rng.normal(1.40, 0.02, 15), 1.40, 0.03)
    assert "before as well" in always.reason


def test_readings_of_one_session_count_once():
    # twelve readings of three sessions, alike within each: no more is known than three tell
    sessions = np.repeat([1, 2, 3], 4)
    after = np.repeat([1.42, 1.37, 1.44], 4)
    found = before_after([1.3, 1.31], after, 1.40, 0.05, after_sessions=sessions)
    assert found.after.n == 3
    assert found.word is Repair.TOO_EARLY
    assert before_after([1.3, 1.31], after, 1.40, 0.05).word is Repair.FIXED


def test_one_after_is_too_early():
    found = before_after([1.3, 1.32], [1.40], 1.40, 0.05)
    assert (found.word, found.change_interval, found.p) == (Repair.TOO_EARLY, None, None)
    assert "One alone" in found.after.reason


def test_all_equal():
    found = paired([1.4] * 4, [1.4] * 4, 0.01)
    assert (found.difference, found.sd, found.p, found.word) == (0.0, 0.0, 1.0, Sameness.SAME)
    assert paired([1.5] * 4, [1.4] * 4, 0.01).p == 0.0


def test_pairs_by_session():
    found = pairs(
        [1.40, 1.42, 1.30, 1.50, 1.60, 1.70, 9.9],
        ["ada", "ada", "ben", "ada", "ben", "ben", "cyd"],
        ["mon", "mon", "mon", "tue", "wed", "thu", "mon"],
        "ada",
        "ben",
    )
    assert found.sessions == ("mon",)
    assert found.a == (pytest.approx(1.41),)
    assert found.b == (pytest.approx(1.30),)
    assert found.left_out == 3


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: paired([1.0], [1.0, 2.0], 0.1), "Pairs are needed"),
        (lambda: paired([1.0, float("nan")], [1.0, 2.0], 0.1), "row 2"),
        (lambda: paired([], [], 0.1), "at least one"),
        (lambda: paired([1.0, 2.0], [1.0, 2.0], 0), "above 0"),
        (lambda: paired([1.0, 2.0], [1.0, 2.0], 0.1, 0.4), "above 0.5"),
        (lambda: before_after([1.0], [1.0], float("inf"), 0.1), "target must be"),
        (lambda: before_after([1.0], [1.0, 1.1], 1.0, 0.1, after_sessions=[1]), "needs its session"),
        (lambda: pairs([1.0, 2.0], ["ada", "ben"], [1, 1], "ada", "ada"), "Two different people"),
        (lambda: pairs([1.0, 2.0], ["ada", "ben"], [1, 1], "ada", "cyd"), "Two different people"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(ValueError, match=says):
        call()
