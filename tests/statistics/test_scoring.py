"""Scores and Algorithm A: a slow way beside the fast one, invariances, verdicts at their edges, what cannot be told."""

from math import fsum, sqrt
from statistics import median

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.statistics import scoring
from calibration.statistics.robust import EXACT, PRINTED
from calibration.statistics.scoring import Word, algorithm_a, scores

results = st.lists(st.integers(-300, 300).map(lambda x: x / 10), min_size=2, max_size=15)


def naive(values, rounds=1500):
    """ISO 13528:2022, C.3.1, step by step, with as many rounds as it takes."""
    x = median(values)
    s = 1.483 * median(abs(v - x) for v in values)
    for _round in range(rounds):
        drawn = [min(max(v, x - 1.5 * s), x + 1.5 * s) for v in values]
        x = fsum(drawn) / len(drawn)
        s = 1.134 * sqrt(fsum((v - x) ** 2 for v in drawn) / (len(drawn) - 1))
    return x, s


@settings(derandomize=True, deadline=None, max_examples=25)
@given(results)
def test_algorithm_a_step_by_step(values):
    if len(set(values)) == 1 or median(abs(v - median(values)) for v in values) == 0:
        return
    found = algorithm_a(values)
    x, s = naive(values)
    assert (found.mean, found.sd) == pytest.approx((x, s), rel=1e-6, abs=1e-9)


def test_constants_are_what_they_stand_for():
    # 1.483 and 1.134 are 1.482602 and 1.133393 rounded up
    assert EXACT["mad"] == pytest.approx(1.482602, abs=5e-7)
    assert EXACT["sd"] == pytest.approx(1.133393, abs=1e-6)
    assert PRINTED["sd"] == pytest.approx(EXACT["sd"], abs=1e-3)
    x = np.random.default_rng(1).normal(5, 2, 200_000)
    found = algorithm_a(x, exact=True)
    # consistent for normal results: four standard errors
    assert found.mean == pytest.approx(5, abs=4 * 1.25 * 2 / sqrt(200_000))
    assert found.sd == pytest.approx(2, abs=4 * 2 * 1.1 / sqrt(400_000))


def test_order_place_and_scale_do_not_matter():
    x = np.random.default_rng(2).normal(0, 1, 25)
    x[3] = 40
    plain, mixed = algorithm_a(x), algorithm_a(np.random.default_rng(3).permutation(x))
    assert (mixed.mean, mixed.sd) == pytest.approx((plain.mean, plain.sd))
    moved = algorithm_a(1e6 + 8 * x)
    assert (moved.mean, moved.sd) == pytest.approx((1e6 + 8 * plain.mean, 8 * plain.sd))
    assert plain.drawn_in >= 1


def test_a_wild_result_pulls_only_so_far():
    base = [9.8, 9.9, 10.0, 10.1, 10.2, 10.0, 9.9]
    found = [algorithm_a([*base, wild]).mean for wild in (10.5, 12, 100, 1e6)]
    assert found == sorted(found)
    assert found[-1] == pytest.approx(found[1])
    assert found[-1] < 10.2


def test_equal_results_and_one_result():
    assert algorithm_a([0.1] * 5).mean == 0.1
    assert algorithm_a([0.1] * 5).sd == 0.0
    one = algorithm_a([1.4])
    assert (one.n, one.mean, one.sd) == (1, 1.4, None)
    assert scoring.assigned_value([1.4]).u is None
    assert "One result alone" in scoring.assigned_value([1.4]).reason
    found = scores([1.4] * 4)
    assert {score.verdict for score in found.scores} == {Word.UNKNOWN}
    assert {score.z for score in found.scores} == {None}
    assert any("do not differ" in note for note in found.notes)


def test_more_than_half_equal_does_not_stop_it():
    found = algorithm_a([1.4, 1.4, 1.4, 1.4, 1.4, 1.5, 1.3, 9.0])
    assert 1.3 < found.mean < 1.5
    assert found.sd >= 0


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (1.50, Word.ACCEPTABLE),
        (1.501, Word.WARNING),
        (1.549, Word.WARNING),
        (1.55, Word.ACTION),
        (1.30, Word.ACCEPTABLE),
        (1.25, Word.ACTION),
        (1.40, Word.ACCEPTABLE),
    ],
)
def test_edges_of_verdicts(value, verdict):
    # 2 and 3 standard deviations of 0.05 from 1.40, in decimals that doubles do not hold
    (score,) = scores([value], assigned=1.40, u_assigned=0.0, sigma=0.05).scores
    assert (score.verdict, score.by) == (verdict, "z")
    assert ("high" in score.words.lower()) is (verdict is not Word.ACCEPTABLE and value > 1.4)


def test_an_uncertain_assigned_value_is_allowed_for():
    exact, near, far = (scores([1.52], assigned=1.4, u_assigned=u, sigma=0.05) for u in (0.0, 0.015, 0.03))
    assert [found.scores[0].by for found in (exact, near, far)] == ["z", "z", "z'"]
    assert far.scores[0].z_prime == pytest.approx(0.12 / sqrt(0.05**2 + 0.03**2))
    assert any("not known well enough" in note for note in far.notes)


def test_scores_by_hand_with_columns():
    found = scores([1.5, 1.3], assigned=1.4, u_assigned=0.01, sigma=[0.05, 0.1], u=[0.02, 0.03], k=[2, 2.5])
    first, second = found.scores
    assert (first.z, second.z) == pytest.approx((2.0, -1.0))
    assert first.zeta == pytest.approx(0.1 / sqrt(0.02**2 + 0.01**2))
    assert second.En == pytest.approx(-0.1 / sqrt((2.5 * 0.03) ** 2 + 0.02**2))
    assert first.D_percent == pytest.approx(100 * 0.1 / 1.4)
    assert first.PA_percent == pytest.approx(100 * 2 / 3)
    assert "larger than the stated uncertainties" in first.words


def test_without_a_standard_deviation_zeta_judges():
    (score,) = scores([1.5], assigned=1.4, u_assigned=0.01, u=0.02).scores
    assert (score.z, score.by, score.verdict) == (None, "zeta", Word.ACTION)
    (score,) = scores([1.5], assigned=1.4).scores
    assert (score.z, score.zeta, score.En, score.verdict) == (None, None, None, Word.UNKNOWN)
    # nothing is known to be off by anything: no score, not an infinite one
    (score,) = scores([1.5], assigned=1.4, u_assigned=0.0, u=0.0).scores
    assert score.zeta is None


def test_a_consensus_is_said_to_be_one():
    x = [1.38, 1.40, 1.41, 1.39, 1.42, 1.60]
    found = scores(x)
    assert (found.assigned, found.robust.sd) == (algorithm_a(x).mean, found.sigma[0])
    assert found.u_assigned == pytest.approx(1.25 * found.robust.sd / sqrt(6))
    assert any("robust mean" in note for note in found.notes)
    assert found.scores[-1].verdict is Word.ACTION


def test_homogeneity_boundaries():
    same = scoring.homogeneity([(1.4, 1.4), (1.4, 1.4)])
    assert (same.mean, same.s_x, same.s_w, same.s_s) == (1.4, 0.0, 0.0, 0.0)
    # portions alike, readings not: nothing is left between portions, and no root of a negative number
    assert scoring.homogeneity([(1.3, 1.5), (1.5, 1.3)]).s_s == 0.0
    apart = scoring.homogeneity([(1.3, 1.3), (1.5, 1.5)])
    assert apart.s_s == pytest.approx(apart.s_x)
    assert not apart.alike_enough(0.1)
    assert not same.steady_enough([1.5, 1.5], 0.1)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: algorithm_a([1.4, float("nan")]), "row 2"),
        (lambda: algorithm_a([]), "at least one value"),
        (lambda: algorithm_a([1.4], sd=0), "above 0"),
        (lambda: scores([1.4, 1.5], 1.4, sigma=[0.1, 0.0]), "standard deviation in row 2"),
        (lambda: scores([1.4, 1.5], 1.4, sigma=[0.1]), "needs its standard deviation"),
        (lambda: scores([1.4, 1.5], 1.4, u=[0.1, -0.1]), "uncertainty in row 2"),
        (lambda: scores([1.4], 1.4, u_assigned=-1), "0 or more"),
        (lambda: scores([1.4], float("inf")), "must be numbers"),
        (lambda: scoring.homogeneity([(1.4, 1.5)]), "two portions"),
        (lambda: scoring.homogeneity([(1.4, 1.5), (1.4, 1.5, 1.6)]), "Portion 2"),
        (lambda: scoring.assigned_by_reference(1.4, -1, [0.1]), "uncertainty of 0 or more"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(ValueError, match=says):
        call()
