"""Repeatability and reproducibility: a naive way beside the fast one, invariances, and what cannot be told."""

from statistics import mean, stdev, variance

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.statistics.precision import h_limit, k_limit, precision

cells = st.lists(
    st.lists(st.integers(-500, 500).map(lambda x: x / 100), min_size=1, max_size=5), min_size=2, max_size=6
)


def spread(study):
    return [value for lab in study for value in lab], [i for i, lab in enumerate(study) for _ in lab]


def naive(study):
    """Sums of squares by hand, ISO 5725-2:1994, 7.4.5."""
    p, n = len(study), sum(len(lab) for lab in study)
    s_r2 = sum((len(lab) - 1) * variance(lab) for lab in study if len(lab) > 1) / (n - p)
    total = mean(value for lab in study for value in lab)
    s_d2 = (sum(len(lab) * mean(lab) ** 2 for lab in study) - n * total**2) / (p - 1)
    n_bar = (n - sum(len(lab) ** 2 for lab in study) / n) / (p - 1)
    return s_r2, max((s_d2 - s_r2) / n_bar, 0)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(cells, st.integers(0, 10**6))
def test_against_sums_by_hand(study, seed):
    if all(len(lab) == 1 for lab in study):
        study = [[*study[0], 1.0], *study[1:]]
    values, labs = spread(study)
    order = np.random.default_rng(seed).permutation(len(values))
    (found,) = precision(np.array(values)[order] + 1000, [labs[i] for i in order])
    s_r2, s_L2 = naive(study)
    assert found.s_r**2 == pytest.approx(s_r2, abs=1e-9)
    assert found.s_L**2 == pytest.approx(s_L2, abs=1e-8)
    assert found.s_R**2 == pytest.approx(s_r2 + s_L2, abs=1e-8)
    assert found.mean == pytest.approx(1000 + mean(values))


def test_mandels_k_of_equal_cells_averages_to_one_in_squares():
    rng = np.random.default_rng(3)
    (found,) = precision(rng.normal(0, 1, 24), np.repeat(np.arange(6), 4))
    assert mean(k * k for k in found.k) == pytest.approx(1)
    assert sum(found.h) == pytest.approx(0, abs=1e-12)
    assert stdev(found.h) == pytest.approx(1)


def test_a_wilder_laboratory_has_a_larger_k():
    calm = [0.0, 0.1, 0.0, 0.1]
    ks = [precision([*calm, 0.0, width], [1, 1, 2, 2, 3, 3])[0].k[2] for width in (0.1, 0.2, 0.5, 1.0)]
    assert ks == sorted(ks)


def test_limits_hold_for_honest_laboratories():
    rng = np.random.default_rng(8)
    draws = rng.normal(0, 1, (20_000, 6, 3))
    k = draws.std(axis=2, ddof=1) / np.sqrt(draws.var(axis=2, ddof=1).mean(axis=1, keepdims=True))
    means = draws.mean(axis=2)
    h = (means - means.mean(axis=1, keepdims=True)) / means.std(axis=1, ddof=1, keepdims=True)
    # four standard errors of 120 000 draws at 1 %
    assert np.mean(k > k_limit(6, 3)) == pytest.approx(0.01, abs=0.0012)
    assert np.mean(np.abs(h) > h_limit(6)) == pytest.approx(0.01, abs=0.0012)


def test_levels_keep_their_order_and_laboratories_theirs():
    found = precision([1, 2, 3, 4, 5, 6.5], ["b", "a", "b", "a", "a", "b"], [2, 2, 1, 1, 2, 2])
    assert [level.level for level in found] == [2, 1]
    assert [[one.name for one in level.laboratories] for level in found] == [["b", "a"], ["b", "a"]]


def test_one_laboratory_says_nothing_between():
    (found,) = precision([1.0, 1.2], ["a", "a"])
    assert found.s_r == pytest.approx(0.1414213562)
    assert (found.s_L, found.s_R, found.R) == (None, None, None)
    assert found.h == (None,)
    assert "One laboratory alone" in found.notes[0]


def test_without_a_second_result_nothing_is_told_apart():
    (found,) = precision([1.0, 1.2, 1.1], ["a", "b", "c"])
    assert (found.s_r, found.s_R, found.r) == (None, None, None)
    assert found.k == (None, None, None)
    assert "second result" in found.notes[0]
    assert found.sd_of_means == pytest.approx(0.1)


def test_one_reading():
    (found,) = precision([1.4], ["a"])
    assert (found.mean, found.s_r, found.notes != ()) == (1.4, None, True)


def test_all_equal():
    (found,) = precision([1.4] * 6, [1, 1, 2, 2, 3, 3])
    assert (found.s_r, found.s_L, found.s_R, found.r) == (0.0, 0.0, 0.0, 0.0)
    assert found.h == found.k == (None, None, None)


def test_means_that_are_equal_but_for_rounding():
    (found,) = precision([0.3, 0.1, 0.2, 0.2, 0.3, 0.1, 0.7, -0.3, 0.2], [1, 1, 1, 2, 2, 2, 3, 3, 3])
    assert found.h == (None, None, None)
    assert None not in found.k
    assert found.s_L == 0.0


@pytest.mark.parametrize(
    ("values", "labs", "says"),
    [
        ([], [], "at least one"),
        ([1.0, float("nan")], ["a", "a"], "row 2"),
        ([1.0, 2.0, float("inf")], ["a", "a", "b"], "row 3"),
        ([1.0, 2.0], ["a"], "needs its laboratory"),
        ([1.0, 2.0], ["a", ""], "Row 2 has no laboratory"),
        (["x", 2.0], ["a", "b"], "number"),
    ],
)
def test_refuses(values, labs, says):
    with pytest.raises(ValueError, match=says):
        precision(values, labs)


@pytest.mark.parametrize(("labs", "risk"), [(2, 0.01), (8, 0.0), (8, 1.0)])
def test_no_limit_of_h(labs, risk):
    with pytest.raises(ValueError, match=r"from three|between 0 and 1"):
        h_limit(labs, risk)


def test_no_limit_of_k():
    with pytest.raises(ValueError, match="two results"):
        k_limit(4, 1)
