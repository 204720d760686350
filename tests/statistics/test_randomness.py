"""Order in time: by hand, and where nothing can be told."""

from itertools import groupby, pairwise
from statistics import mean, median

import numpy as np
import pytest

from calibration.statistics.randomness import lag_1, runs


def test_lag_1_by_hand():
    values = np.random.default_rng(1).normal(5, 1, 30).tolist()
    d = [value - mean(values) for value in values]
    assert lag_1(values) == pytest.approx(sum(a * b for a, b in pairwise(d)) / sum(a * a for a in d))


def test_runs_by_hand():
    values = np.random.default_rng(2).normal(5, 1, 31).tolist()
    sides = [value >= median(values) for value in values]
    assert runs(values).runs == len(list(groupby(sides)))


def test_runs_of_chance_keep_their_p():
    rng = np.random.default_rng(3)
    ps = [runs(rng.normal(0, 1, 60)).p for _ in range(2000)]
    # p comes in steps of one run, each some 0.02 wide here; four standard errors besides
    assert np.mean(np.array(ps) < 0.05) == pytest.approx(0.05, abs=0.02 + 0.02)


def test_drifting_values_have_few_runs():
    found = runs(range(20))
    assert found.runs == 2
    assert found.z < -3.5
    assert lag_1(range(20)) > 0.8


def test_all_equal():
    assert lag_1([1.4] * 5) is None
    found = runs([1.4] * 5)
    assert (found.runs, found.z, found.p) == (1, None, None)
    assert "too few" in found.reason


def test_refuses_by_row():
    with pytest.raises(ValueError, match="row 2"):
        lag_1([1.0, float("inf"), 2.0])
    with pytest.raises(ValueError, match="At least 2"):
        lag_1([1.0])
