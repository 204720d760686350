"""Uncertainty through a formula: draws beside differences, boundaries, and guard bands."""

from math import exp, inf, log, sqrt

import numpy as np
import pytest

from calibration.statistics.uncertainty import (
    Input,
    Word,
    conformance_probability,
    effective_df,
    expanded_uncertainty,
    guarded,
    propagate,
)


def test_against_draws():
    def formula(x, y):
        return x**2 / y

    found = propagate(formula, [Input("x", 3.0, 0.2), Input("y", 5.0, 0.3)], {("x", "y"): 0.6})
    cov = [[0.04, 0.6 * 0.06], [0.6 * 0.06, 0.09]]
    draws = np.random.default_rng(1).multivariate_normal([3, 5], cov, 200_000)
    # the first order leaves about a hundredth here
    assert found.u == pytest.approx(formula(*draws.T).std(), rel=0.02)


def test_second_order_where_the_first_sees_nothing():
    # x² at 0 is flat: its standard deviation is √2 u², all of it of second order
    found = propagate(lambda x: x * x, [Input("x", 0.0, 0.1)])
    assert found.u == pytest.approx(0, abs=1e-12)
    assert found.u_second_order == pytest.approx(sqrt(2) * 0.01)
    # x·y at 0, 0 likewise: u(x) u(y)
    twist = propagate(lambda x, y: x * y, [Input("x", 0.0, 0.1), Input("y", 0.0, 0.2)])
    assert twist.u_second_order == pytest.approx(0.02)


def test_second_order_of_a_curve():
    # e^x of a normal x has variance (e^(u²) - 1) e^(u²) about 0: to fourth order u² + 3/2 u⁴
    found = propagate(lambda x: exp(x), [Input("x", 0.0, 0.1)])
    assert found.u_second_order**2 == pytest.approx(0.01 + 1.5e-4, rel=1e-3)


def test_sensitivities_are_derivatives():
    found = propagate(
        lambda a, b, c: log(a) * b + c**3, [Input("a", 2.0, 0.01), Input("b", 3.0, 0.1), Input("c", 1.0, 0.5)]
    )
    assert [share.sensitivity for share in found.shares] == pytest.approx([1.5, log(2.0), 3.0], rel=1e-8)
    assert sum(share.percent for share in found.shares) == pytest.approx(100)


def test_order_of_inputs_does_not_matter():
    inputs = [Input("a", 2.0, 0.1, 5), Input("b", 3.0, 0.2, 8), Input("c", 1.0, 0.05)]
    one = propagate(lambda a, b, c: a * b / c, inputs)
    other = propagate(lambda a, b, c: a * b / c, inputs[::-1])
    assert (other.u, other.df, other.u_second_order) == pytest.approx((one.u, one.df, one.u_second_order))


def test_more_uncertain_inputs_never_give_less():
    us = [propagate(lambda a, b: a - b, [Input("a", 1.0, u), Input("b", 1.0, 0.1)]).u for u in (0, 0.1, 1)]
    assert us == sorted(us)


def test_certain_inputs():
    found = propagate(lambda x: 2 * x, [Input("x", 1.5, 0.0)])
    assert (found.value, found.u, found.df) == (3.0, 0.0, inf)
    assert found.shares[0].percent is None
    assert found.shares[0].sensitivity == pytest.approx(2)


def test_fully_correlated_inputs_cancel():
    found = propagate(lambda a, b: a - b, [Input("a", 1.0, 0.1), Input("b", 1.0, 0.1)], {("b", "a"): 1.0})
    assert (found.u, found.df) == (pytest.approx(0, abs=1e-9), inf)


def test_effective_degrees_lie_between_the_least_and_the_sum():
    # GUM, G.4.2: ν is no more than their sum; and equal parts of 5 reach 10
    assert effective_df([1.0, 1.0], [5, 5]) == pytest.approx(10)
    assert 5 <= effective_df([1.0, 0.1], [5, 50]) <= 55
    assert effective_df([1.0, 0.0], [5, 2]) == pytest.approx(5)


def test_degrees_of_freedom_are_cut_not_rounded():
    assert expanded_uncertainty(1.0, 16.9).df == 16
    # a whole number that arithmetic left a hair short
    assert expanded_uncertainty(1.0, 10 - 1e-12).df == 10


@pytest.mark.parametrize(
    ("inputs", "together", "says"),
    [
        ([], {}, "at least one input"),
        ([Input("x", 1.0, 0.1), Input("x", 1.0, 0.1)], {}, "name of its own"),
        ([Input("x", float("nan"), 0.1)], {}, "value of x"),
        ([Input("x", 1.0, -0.1)], {}, "uncertainty of x is 0"),
        ([Input("x", 1.0, inf)], {}, "uncertainty of x is 0"),
        ([Input("x", 1.0, 0.1, 0)], {}, "x has one degree"),
        ([Input("x", 1.0, 0.1)], {("x", "y"): 0.5}, "not two of the inputs"),
        ([Input("x", 1.0, 0.1), Input("y", 1.0, 0.1)], {("x", "y"): 1.5}, "from -1 to 1"),
        (
            [Input("x", 1.0, 0.1), Input("y", 1.0, 0.1), Input("z", 1.0, 0.1)],
            {("x", "y"): 1.0, ("y", "z"): 1.0, ("x", "z"): -1.0},
            "cannot hold together",
        ),
    ],
)
def test_refuses(inputs, together, says):
    with pytest.raises(ValueError, match=says):
        propagate(lambda **x: sum(x.values()), inputs, together)


def test_refuses_a_formula_without_a_number():
    with pytest.raises(ValueError, match="no number near"):
        propagate(lambda x: inf, [Input("x", 0.0, 0.1)])


@pytest.mark.parametrize(("u", "df", "coverage"), [(-1, 5, 0.95), (1, 0.5, 0.95), (1, 5, 95), (inf, 5, 0.95)])
def test_no_expanded_uncertainty(u, df, coverage):
    with pytest.raises(ValueError, match=r"0 or more|one degree|between 0 and 1"):
        expanded_uncertainty(u, df, coverage)


# JCGM 106:2012, 8.3.2: acceptance limits 1.30 + 0.04 and 1.50 - 0.04; outside from as far beyond
@pytest.mark.parametrize(
    ("value", "word", "side"),
    [
        (1.40, Word.INSIDE, ""),
        (1.46, Word.INSIDE, ""),
        (1.34, Word.INSIDE, ""),
        (1.47, Word.TOO_CLOSE, "high"),
        (1.53, Word.TOO_CLOSE, "high"),
        (1.54, Word.OUTSIDE, "high"),
        (1.27, Word.TOO_CLOSE, "low"),
        (1.26, Word.OUTSIDE, "low"),
    ],
)
def test_guard_bands(value, word, side):
    found = guarded(value, 0.02, 1.30, 1.50)
    assert (found.word, found.side) == (word, side)
    assert found.probability == conformance_probability(value, 0.02, 1.30, 1.50)


def test_inside_by_two_u_means_97_7_percent():
    # JCGM 106:2012, 8.3.2: with a guard band of U = 2u the chance of a false pass is 2.3 % at most
    assert guarded(1.46, 0.02, upper=1.50).probability == pytest.approx(0.97725, abs=1e-5)
    assert guarded(1.46, 0.02, upper=1.50).word is Word.INSIDE


def test_one_limit_and_no_uncertainty():
    assert guarded(1.50, 0.0, 1.30, 1.50).word is Word.INSIDE
    assert guarded(1.51, 0.0, upper=1.50).word is Word.OUTSIDE
    assert guarded(-1e6, 0.02, upper=1.50).word is Word.INSIDE
    assert guarded(1.51, 0.01, lower=1.50, guard=0).word is Word.INSIDE


def test_limits_closer_than_can_be_told():
    found = guarded(1.40, 0.06, 1.30, 1.50)
    assert found.word is Word.TOO_CLOSE
    assert "closer than the measurement can tell" in found.reason


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((1.4, 0.02), "Give a lower limit"),
        ((1.4, 0.02, 1.5, 1.3), "Give a lower limit"),
        ((1.4, -0.02, 1.3, 1.5), "0 or more"),
        ((float("nan"), 0.02, 1.3, 1.5), "must be numbers"),
    ],
)
def test_no_guarded_verdict(arguments, says):
    with pytest.raises(ValueError, match=says):
        guarded(*arguments)
