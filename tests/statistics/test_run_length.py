"""Run lengths: coarser chains, sums of survival and simulation beside them; the inverse; what must rise or fall."""

from math import inf, sqrt

import numpy as np
import pytest
from scipy.special import ndtr

from calibration.statistics.charts import (
    Averages,
    Cusum,
    Ewma,
    Handbook,
    Individuals,
    Rules,
    average_run_length,
    height_for,
    promise,
    signal_by,
    western_electric,
    width_for,
)

SCHEMES = [
    Individuals(),
    Individuals(3, None),
    Averages(4),
    Averages(5, 3, "S"),
    Ewma(0.2, 2.9),
    Ewma(0.2, 2.9, steady=False),
    Ewma(0.2, 2.9, 3.3),
    Ewma(0.1, 2.7, 3.3, steady=False),
    Cusum(0.5, 4),
    Rules(),
    Rules((1, 2, 7, 8), Handbook.NELSON),
]


def equal_steps(scheme, shift, m):
    """Brook and Evans 1972: the moving average in m equal cells, each move from a cell's middle."""
    h, keep, weight = scheme.limit, 1 - scheme.lambda_, scheme.lambda_
    edges = np.linspace(-h, h, m + 1)
    middles = (edges[1:] + edges[:-1]) / 2
    outer = inf if scheme.outer is None else scheme.outer
    needed = np.clip((edges - keep * middles[:, None]) / weight, -outer, outer)
    moves = np.diff(ndtr(needed - shift), axis=1)
    return np.linalg.solve(np.eye(m) - moves, np.ones(m))[m // 2]


@pytest.mark.parametrize("shift", [0.0, 0.7, 2.0])
@pytest.mark.parametrize("scheme", [Ewma(0.2, 2.962), Ewma(0.1, 2.7, 3.2), Ewma(0.4, 3.0, 3.1)])
def test_moving_average_in_equal_steps(scheme, shift):
    # equal steps err by their square; two sizes tell the rest
    coarse, fine = equal_steps(scheme, shift, 201), equal_steps(scheme, shift, 401)
    assert average_run_length(scheme, shift) == pytest.approx(fine + (fine - coarse) / 3, rel=2e-3)
    assert average_run_length(scheme, shift) == pytest.approx(fine, rel=5e-3)


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_both_arms_of_a_cusum_on_one_lattice(shift):
    # sums in steps of 1/5, both arms together: the two-sided average does not lean on adding up rates
    k, h, step = 0.5, 2.0, 0.1
    states = [(a, b) for a in range(20) for b in range(20)]
    number = {state: i for i, state in enumerate(states)}
    x = np.arange(-70, 71)
    chance = np.diff(ndtr((np.arange(-70, 72) - 0.5) * step - shift))
    moves = np.zeros((len(states), len(states)))
    for (a, b), i in number.items():
        up = np.maximum(0, a + x - round(k / step))
        down = np.maximum(0, b - x - round(k / step))
        for u, d, p in zip(up, down, chance, strict=True):
            if u < round(h / step) and d < round(h / step):
                moves[i, number[u, d]] += p
    found = np.linalg.solve(np.eye(len(states)) - moves, np.ones(len(states)))[0]
    # a lattice that signals at h, not beyond, stands for a limit half a step lower
    assert found == pytest.approx(average_run_length(Cusum(k, h - step / 2), shift), rel=5e-3)


@pytest.mark.parametrize("scheme", SCHEMES, ids=str)
def test_average_is_the_sum_of_what_survives(scheme):
    # P(N > 0) + P(N > 1) + …; of one arm for a CUSUM, where the other hardly counts
    shift = 2.0 if isinstance(scheme, Cusum) else 0.5
    survives = 1 - signal_by(scheme, 3000, shift)
    assert survives[-1] < 1e-7
    assert 1 + survives.sum() == pytest.approx(average_run_length(scheme, shift), rel=1e-5)


def simulated(scheme, shift, runs=2000, longest=400, seed=5):
    """Share that has signalled by each reading, reading by reading."""
    x = np.random.default_rng(seed).normal(shift, 1, (runs, longest))
    if isinstance(scheme, Rules):
        out = np.zeros(x.shape, dtype=bool)
        for run, row in zip(out, x, strict=True):
            run[[i - 1 for found in western_electric(row).values() for i in found]] = True
    elif isinstance(scheme, Individuals):
        out = np.abs(x) > scheme.width
        out[:, 1:] |= np.abs(np.diff(x)) > (scheme.moving_range or inf)
    else:
        z, out = np.zeros(runs), np.zeros(x.shape, dtype=bool)
        limits = scheme.limits(longest)
        for i in range(longest):
            z = (1 - scheme.lambda_) * z + scheme.lambda_ * x[:, i]
            out[:, i] = (np.abs(z) > limits[i]) | (np.abs(x[:, i]) > (scheme.outer or inf))
    return np.maximum.accumulate(out, axis=1).mean(axis=0)


@pytest.mark.parametrize(
    "scheme",
    [Individuals(), Individuals(3.2, 3.5), Ewma(0.1, 2.7, 3.0, steady=False), Ewma(0.3, 2.9, 3.2), Rules()],
    ids=str,
)
@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_simulated_shares(scheme, shift):
    exact = signal_by(scheme, 400, shift)
    # four standard errors of 2 000 runs
    allowed = 4 * np.sqrt(exact * (1 - exact) / 2000) + 1e-3
    assert (np.abs(simulated(scheme, shift) - exact) < allowed).all()


@pytest.mark.parametrize("spread", ["R", "S"])
def test_groups_drawn(spread):
    n, groups = 4, 200_000
    x = np.random.default_rng(6).normal(0, 1, (groups, n))
    width = 2.0
    out = np.abs(x.mean(axis=1)) * sqrt(n) > width
    # mean and standard deviation of a range and of a standard deviation of four: ASTM E2587, table 1
    seen, middle, own = (
        (np.ptp(x, axis=1), 2.058751, 0.879808)
        if spread == "R"
        else (x.std(axis=1, ddof=1), 0.921318, 0.388810)
    )
    out |= np.abs(seen - middle) > width * own
    chance = 1 / average_run_length(Averages(n, width, spread))
    assert out.mean() == pytest.approx(chance, abs=4 * sqrt(chance / groups))


def test_without_spread_a_group_is_one_reading_of_a_smaller_sigma():
    assert average_run_length(Averages(4, 3, None), 0.5) == pytest.approx(
        average_run_length(Rules((1,)), 1.0)
    )
    assert average_run_length(Averages(1, 3, None)) == pytest.approx(370.398, abs=1e-3)


@pytest.mark.parametrize("scheme", SCHEMES, ids=str)
def test_a_larger_shift_is_seen_sooner_on_either_side(scheme):
    lengths = [average_run_length(scheme, shift) for shift in (0, 0.5, 1, 2, 4)]
    assert lengths == sorted(lengths, reverse=True)
    assert average_run_length(scheme, -1.0) == pytest.approx(average_run_length(scheme, 1.0))
    assert lengths[-1] < 3


def test_each_rule_more_and_each_limit_less_signals_sooner():
    sets = [(1,), (1, 2), (1, 2, 3), (1, 2, 3, 4)]
    lengths = [average_run_length(Rules(numbers)) for numbers in sets]
    assert lengths == sorted(lengths, reverse=True)
    assert average_run_length(Ewma(0.2, 2.9, 3.3)) < average_run_length(Ewma(0.2, 2.9, 3.6))
    assert average_run_length(Ewma(0.2, 2.9, 3.6)) < average_run_length(Ewma(0.2, 2.9))
    # limits that start narrow see sooner what is there from the first reading
    assert average_run_length(Ewma(0.1, 2.7, steady=False), 1.5) < average_run_length(Ewma(0.1, 2.7), 1.5)


def test_a_weight_of_one_is_a_chart_of_single_readings():
    assert average_run_length(Ewma(1.0, 3.0)) == pytest.approx(370.398347, abs=1e-4)
    assert average_run_length(Ewma(1.0, 3.0, steady=False)) == pytest.approx(370.398347, abs=1e-4)
    assert average_run_length(Ewma(1.0, 3.5, 3.0)) == pytest.approx(370.398347, abs=1e-4)
    assert average_run_length(Individuals(3.0, None)) == pytest.approx(370.398347, abs=1e-4)


def test_first_chances():
    quiet = 2 * ndtr(-3.0)
    assert signal_by(Rules((1,)), 3) == pytest.approx(1 - (1 - quiet) ** np.array([1, 2, 3]))
    chances = signal_by(Rules(), 60)
    assert (np.diff(chances) >= 0).all()


@pytest.mark.parametrize("steady", [True, False])
@pytest.mark.parametrize("outer", [None, 3.5, "tuned"])
@pytest.mark.parametrize("weight", [0.2, 0.5])
def test_width_and_back(weight, outer, steady):
    found = width_for(370.4, weight, outer, steady)
    scheme = Ewma(weight, found.width, found.outer, steady)
    assert average_run_length(scheme) == pytest.approx(370.4, rel=1e-6)
    assert average_run_length(Ewma(weight, found.width, None, steady)) == pytest.approx(found.arl_average)
    if outer == "tuned":
        assert found.arl_average == pytest.approx(found.arl_outer)
        assert 370.4 < found.arl_outer < 2 * 370.4
        assert 1 / (2 * ndtr(-found.outer)) == pytest.approx(found.arl_outer)


@pytest.mark.parametrize("arl", [1.5, 20, 1e6, 1e9])
@pytest.mark.parametrize("weight", [0.05, 0.2, 1.0])
def test_near_and_far_false_alarms(arl, weight):
    width = width_for(arl, weight).width
    assert average_run_length(Ewma(weight, width)) == pytest.approx(arl, rel=1e-6)
    if weight == 1.0:
        # one less the chance of a quiet reading keeps seven digits at one in a thousand million
        assert 1 / (2 * ndtr(-width)) == pytest.approx(arl, rel=1e-5)


def test_a_promise_in_words():
    assert promise(Rules((1,))) == "Chance alone makes this chart signal about once in 370 quiet checks."
    assert promise(Ewma(1.0, 4.0)).endswith("about once in 15,800 quiet checks.")
    assert promise(Ewma(1.0, 1.0)).endswith("about once in 3.2 quiet checks.")


def test_height_and_back():
    for arl in (5.0, 100.0, 10_000.0):
        assert average_run_length(Cusum(0.5, height_for(arl))) == pytest.approx(arl, rel=1e-6)


def test_what_cannot_be_had_is_said():
    with pytest.raises(
        ValueError, match="An outer limit of 2 σ signals falsely once in 22 readings by itself"
    ):
        width_for(370, 0.2, 2.0)
    with pytest.raises(ValueError, match="above 1"):
        width_for(1, 0.2)
    with pytest.raises(ValueError, match="readings apart or more"):
        height_for(1.5)
    with pytest.raises(ValueError, match="shift must be a number"):
        average_run_length(Rules(), float("nan"))
    with pytest.raises(ValueError, match="one reading or more"):
        signal_by(Rules(), 0)
    with pytest.raises(ValueError, match="above 0 and is at most 1"):
        Ewma(0.0, 3)
    with pytest.raises(ValueError, match="width of the limits"):
        Ewma(0.2, inf)
    with pytest.raises(ValueError, match="decision limit"):
        Cusum(0.5, 0)
    with pytest.raises(ValueError, match="2 to 25"):
        Averages(1)
