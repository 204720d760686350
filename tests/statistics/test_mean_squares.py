"""Intervals of sums and differences of mean squares: how often they hold, and where they must be exact."""

import numpy as np
import pytest
from scipy import stats

from calibration.statistics.mean_squares import MeanSquare, combination_interval, variance_interval


def test_one_mean_square_is_exact():
    # χ² quantiles of 9 degrees of freedom, printed tables: 2.700 and 19.023
    found = variance_interval(4.0, 9)
    assert found.low == pytest.approx(36 / 19.023, rel=1e-4)
    assert found.high == pytest.approx(36 / 2.700, rel=2e-4)
    assert combination_interval([MeanSquare(1, 4.0, 9)]).low == pytest.approx(found.low)
    assert combination_interval([MeanSquare(1, 4.0, 9)]).high == pytest.approx(found.high)


def test_a_difference_is_refused_where_f_is():
    # the limits of a difference meet 0 exactly where the F test turns: the reason for the shared term
    F = stats.f.ppf(0.975, 4, 20)
    at_turn = combination_interval([MeanSquare(1, F, 4), MeanSquare(-1, 1.0, 20)])
    assert at_turn.low == pytest.approx(0, abs=1e-9)
    F = stats.f.ppf(0.025, 4, 20)
    at_turn = combination_interval([MeanSquare(1, F, 4), MeanSquare(-1, 1.0, 20)])
    assert at_turn.high == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("expectations", "dfs", "coefficients"),
    [
        ((3, 1), (4, 20), (1, -1)),
        ((1, 1), (9, 9), (1, -1)),
        ((3, 2, 1), (2, 9, 30), (1, 0.5, -1)),
        ((3, 2, 1), (2, 9, 30), (1, 0.5, 1)),
        ((1, 2, 1), (2, 9, 30), (1, -0.5, -0.2)),
    ],
)
def test_how_often_it_holds(expectations, dfs, coefficients):
    rng = np.random.default_rng(1)
    true = sum(c * expectation for c, expectation in zip(coefficients, expectations, strict=True))
    held = 0
    for _ in range(1500):
        parts = [
            MeanSquare(c, expectation * rng.chisquare(df) / df, df)
            for c, expectation, df in zip(coefficients, expectations, dfs, strict=True)
        ]
        interval = combination_interval(parts)
        held += interval.low <= true <= interval.high
    # three standard errors of 1500 draws below; the method leans to the safe side with three parts
    assert 0.933 <= held / 1500 <= 0.985


def test_wider_for_more_coverage_and_no_mean_square_is_no_part():
    parts = [MeanSquare(1, 3.0, 4), MeanSquare(-1, 1.0, 20)]
    wide, narrow = combination_interval(parts, 0.99), combination_interval(parts, 0.5)
    assert wide.low < narrow.low < 2 < narrow.high < wide.high
    assert combination_interval([*parts, MeanSquare(-1, 0.0, 5)]) == combination_interval(parts)
    assert combination_interval([MeanSquare(1, 0.0, 5)]) == combination_interval([])


def test_refuses_no_degrees_of_freedom():
    with pytest.raises(ValueError, match="degrees of freedom"):
        variance_interval(1.0, 0)
