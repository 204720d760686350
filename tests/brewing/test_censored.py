"""The fit of a few values, some of them bounds: against closed forms, a grid, and random draws."""

from math import erfc, log, sqrt
from random import Random
from statistics import fmean

import pytest

from recipes.brewing.censored import USUAL_WEIGHT, middle, student_95

USUAL = 0.12


def penalty(seen, at_least, mean, sd):
    """Minus the log likelihood with the usual standard deviation laid in, value by value."""
    total = USUAL_WEIGHT * (log(sd) + USUAL**2 / (2 * sd * sd))
    for value in seen:
        total += log(sd) + (value - mean) ** 2 / (2 * sd * sd)
    for bound in at_least:
        total -= log(max(1e-300, erfc((bound - mean) / sd / sqrt(2)) / 2))
    return total


def lowest(function, low, high, steps=60):
    """By looking ever closer where it was lowest."""
    for _round in range(12):
        places = [low + (high - low) * index / steps for index in range(steps + 1)]
        best = min(places, key=function)
        low, high = best - (high - low) / steps, best + (high - low) / steps
    return best


def profile(seen, at_least, mean):
    return min(penalty(seen, at_least, mean, 0.02 * 1.03**index) for index in range(140))


SAMPLES = [
    ([2.0, 2.1, 2.2], [2.3]),
    ([2.05], [2.0, 2.2]),
    ([1.9, 2.0, 2.3, 2.1], [1.5]),
    ([2.1, 2.1], [2.4, 2.4, 2.4]),
]


@pytest.mark.parametrize(("seen", "at_least"), SAMPLES)
def test_the_mean_against_a_grid(seen, at_least):
    found = middle(seen, at_least, USUAL)
    naive = lowest(lambda mean: profile(seen, at_least, mean), 1.0, 4.0)
    assert found.mean == pytest.approx(naive, abs=0.002)


@pytest.mark.parametrize(("seen", "at_least"), SAMPLES)
def test_the_interval_against_the_profile_of_the_likelihood(seen, at_least):
    found = middle(seen, at_least, USUAL)
    weight = len(seen) + len(at_least) + USUAL_WEIGHT
    cut = weight * log(1 + student_95(len(seen) + USUAL_WEIGHT - 1) ** 2 / (weight - 1)) / 2
    best = profile(seen, at_least, found.mean)
    for end in (found.low, found.high):
        assert profile(seen, at_least, end) - best == pytest.approx(cut, abs=0.01)
    assert found.low < found.mean < found.high


@pytest.mark.parametrize(("seen", "at_least"), SAMPLES)
def test_the_standard_uncertainty_against_the_bend_of_the_profile(seen, at_least):
    found = middle(seen, at_least, USUAL)
    step = found.u / 10
    around = [
        lowest(lambda ln_sd, at=at: penalty(seen, at_least, at, 2.718281828**ln_sd), -5, 2)
        for at in (found.mean - step, found.mean, found.mean + step)
    ]
    heights = [
        penalty(seen, at_least, found.mean + shift * step, 2.718281828**ln_sd)
        for shift, ln_sd in zip((-1, 0, 1), around, strict=True)
    ]
    bend = (heights[0] - 2 * heights[1] + heights[2]) / step**2
    weight = len(seen) + len(at_least) + USUAL_WEIGHT
    assert found.u == pytest.approx(sqrt(weight / (weight - 1) / bend), rel=0.01)


def test_without_bounds_it_is_the_conjugate_posterior():
    # Gelman et al. 2013, section 3.3: scale² = (squares + w s0²)/(n (n + w - 1)), n + w - 1 degrees of freedom
    seen = [2.0, 2.1, 2.35]
    found = middle(seen, [], USUAL)
    squares = sum((value - fmean(seen)) ** 2 for value in seen) + USUAL_WEIGHT * USUAL**2
    assert found.mean == pytest.approx(fmean(seen))
    assert found.u == pytest.approx(sqrt(squares / (3 * 5)))
    assert (found.high - found.low) / 2 == pytest.approx(student_95(5) * found.u)
    assert found.reach == pytest.approx(student_95(5) * sqrt(squares / 5 * (1 + 1 / 3)))


@pytest.mark.parametrize(("freedom", "t"), [(3, 3.182), (4, 2.776), (5, 2.571), (10, 2.228), (30, 2.042)])
def test_students_t(freedom, t):
    # handbook table of Student's t, 95 % two-sided, values from memory
    assert student_95(freedom) == pytest.approx(t, rel=0.008)


def test_only_bounds_give_a_lower_limit():
    found = middle([], [2.0], USUAL)
    # a value above 2.0 is seen once in twenty times if the mean lies 1.645 standard deviations below
    assert (found.mean, found.u, found.reach) == (None, None, None)
    assert found.low == pytest.approx(2.0 - 1.6449 * USUAL, abs=1e-4)
    assert found.high == float("inf")
    # three that did not break say more than one
    assert middle([], [2.0, 2.0, 2.0], USUAL).low > found.low


def test_bounds_far_below_say_nothing_and_far_above_pull():
    plain = middle([2.0, 2.1, 2.2], [], USUAL)
    assert middle([2.0, 2.1, 2.2], [0.0], USUAL).mean == pytest.approx(plain.mean, abs=1e-6)
    means = [middle([2.0, 2.1, 2.2], [bound], USUAL).mean for bound in (1.8, 2.0, 2.2, 2.4)]
    assert means == sorted(means)
    assert means[0] >= plain.mean


def test_order_does_not_matter():
    assert middle([2.0, 2.2, 2.1], [2.3, 2.0], USUAL) == middle([2.1, 2.0, 2.2], [2.0, 2.3], USUAL)


def test_the_interval_covers_as_often_as_it_says():
    rng, covered, drawn = Random(4), 0, 400
    for _draw in range(drawn):
        values = [rng.gauss(2.1, USUAL) for _value in range(4)]
        # whatever lies above 2.2 is only known to
        found = middle([v for v in values if v < 2.2], [2.2 for v in values if v >= 2.2], USUAL)
        covered += found.low <= 2.1 <= found.high
    # the usual spread is the true one here, so it covers more than the 95 % it promises when it is not
    assert covered / drawn >= 0.95


@pytest.mark.parametrize(
    ("seen", "at_least", "usual"),
    [([], [], 0.1), ([float("nan")], [], 0.1), ([1.0], [float("inf")], 0.1), ([1.0], [], 0.0)],
)
def test_refuses_what_cannot_be_fitted(seen, at_least, usual):
    with pytest.raises(ValueError, match=r"fit"):
        middle(seen, at_least, usual)
