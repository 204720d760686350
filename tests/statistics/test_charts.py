"""Control charts beside slow ways, moved and stretched, at their boundaries, and where nothing can be told."""

from collections import defaultdict
from itertools import pairwise
from statistics import mean, stdev

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.statistics import charts
from calibration.statistics.charts import Cusum, Ewma, Handbook, Rules, Signal

readings = st.lists(st.integers(100, 160).map(lambda x: x / 100), min_size=3, max_size=25)
by_hand = settings(derandomize=True, deadline=None, max_examples=35)


@by_hand
@given(readings)
def test_individuals_by_hand(x):
    chart = charts.individuals(x)
    moving = [abs(b - a) for a, b in pairwise(x)]
    assert chart.centre == pytest.approx(mean(x))
    if not any(moving):
        assert chart.sigma is chart.low is chart.within is None
        return
    # 1.128379 = 2/√π, and 0.852502 = √(2 − 4/π): mean and standard deviation of a range of two
    sigma = mean(moving) * np.sqrt(np.pi) / 2
    assert chart.sigma == pytest.approx(sigma)
    assert (chart.low, chart.high) == pytest.approx((mean(x) - 3 * sigma, mean(x) + 3 * sigma))
    limit = mean(moving) + 3 * np.sqrt(2 - 4 / np.pi) * sigma
    assert chart.within.points[0] is None
    assert chart.within.points[1:] == pytest.approx(moving)
    expected = {(i, "beyond") for i, v in enumerate(x, 1) if abs(v - mean(x)) > 3 * sigma + 1e-9}
    expected |= {(i, "within") for i, v in enumerate(moving, 2) if v > limit + 1e-9}
    assert {(signal.index, signal.rule) for signal in chart.signals} == expected


@by_hand
@given(readings, st.sampled_from([0.1, 0.2, 0.5, 1.0]), st.booleans())
def test_ewma_by_hand(x, weight, steady):
    chart = charts.ewma(x, Ewma(weight, 2.0, 2.5, steady), target=1.3, sigma=0.1)
    z, expected = 1.3, set()
    for i, value in enumerate(x, 1):
        z = weight * value + (1 - weight) * z
        assert chart.points[i - 1] == pytest.approx(z)
        # the variance of z adds up reading by reading
        variance = sum((weight * (1 - weight) ** age) ** 2 for age in (range(2000) if steady else range(i)))
        high = chart.high if steady else chart.high[i - 1]
        assert high == pytest.approx(1.3 + 2 * 0.1 * np.sqrt(variance), rel=1e-9)
        expected |= {(i, "beyond")} if abs(z - 1.3) > high - 1.3 + 1e-9 else set()
        expected |= {(i, "outer")} if abs(value - 1.3) > 0.25 + 1e-9 else set()
    assert {(signal.index, signal.rule) for signal in chart.signals} == expected
    assert (chart.outer_low, chart.outer_high) == pytest.approx((1.05, 1.55))


@by_hand
@given(readings)
def test_cusum_by_hand(x):
    chart = charts.cusum(x, Cusum(0.5, 4), target=1.3, sigma=0.05)
    # the largest sum of what exceeds the allowance over any stretch that ends here
    for i in range(len(x)):
        for side, sums in ((1, chart.high_side), (-1, chart.low_side)):
            over = [side * (v - 1.3) - 0.025 for v in x[: i + 1]]
            assert sums[i] == pytest.approx(max(0.0, *(sum(over[j:]) for j in range(i + 1))), abs=1e-12)
    assert {s.index for s in chart.signals if s.rule == "high"} == {
        i for i, s in enumerate(chart.high_side, 1) if s > 0.2 + 1e-9
    }


@by_hand
@given(st.lists(st.tuples(st.integers(0, 4), st.integers(100, 160).map(float)), min_size=2, max_size=30))
def test_groups_of_any_size_by_hand(rows):
    groups = defaultdict(list)
    for group, value in rows:
        groups[group].append(value)
    labels, values = zip(*rows, strict=True)
    usable = [v for v in groups.values() if len(v) > 1]
    for spread in "RS":
        chart = charts.averages(values, labels, spread=spread)
        assert chart.groups == tuple(groups)
        assert chart.points == pytest.approx([mean(v) for v in groups.values()])
        assert chart.centre == pytest.approx(mean(values))
        if not any(len(set(v)) > 1 for v in usable):
            assert chart.sigma is None
            assert chart.reason
            continue
        top = bottom = 0.0
        for v in usable:
            c = charts.constants(len(v))
            middle, own = (c.d2, c.d3) if spread == "R" else (c.c4, np.sqrt(1 - c.c4**2))
            seen = max(v) - min(v) if spread == "R" else stdev(v)
            top, bottom = top + middle * seen / own**2, bottom + (middle / own) ** 2
        assert chart.sigma == pytest.approx(top / bottom)
        highs = chart.high if isinstance(chart.high, tuple) else (chart.high,) * len(groups)
        halves = [3 * chart.sigma / np.sqrt(len(v)) for v in groups.values()]
        assert highs == pytest.approx([chart.centre + half for half in halves])


def test_groups_of_one_size_are_the_books():
    rng = np.random.default_rng(1)
    x = rng.normal(1.4, 0.02, (20, 4))
    labels = np.repeat(np.arange(20), 4)
    assert charts.averages(x.ravel(), labels).sigma == pytest.approx(
        np.ptp(x, axis=1).mean() / 2.058751, rel=1e-6
    )
    s_bar = x.std(axis=1, ddof=1).mean()
    assert charts.averages(x.ravel(), labels, spread="S").sigma == pytest.approx(s_bar / 0.921318, rel=1e-6)
    # rows of a group need not stand together
    order = rng.permutation(80)
    mixed = charts.averages(x.ravel()[order], labels[order], spread="S")
    assert mixed.sigma == pytest.approx(s_bar / 0.921318, rel=1e-6)
    assert sorted(mixed.points) == pytest.approx(sorted(x.mean(axis=1)))


@pytest.mark.parametrize(
    "draw",
    [
        lambda x: charts.individuals(x, rules=Rules(handbook=Handbook.NELSON, numbers=(2, 3, 5))),
        lambda x: charts.averages(x, np.repeat(np.arange(15), 4), rules=Rules()),
        lambda x: charts.averages(x, np.repeat(np.arange(15), 4), spread="S"),
        lambda x: charts.ewma(x, Ewma(0.3, 2.0, 2.5)),
        lambda x: charts.cusum(x, Cusum(0.25, 2)),
    ],
)
def test_moved_and_stretched_and_turned_over(draw):
    x = np.random.default_rng(2).normal(0, 1, 60).round(3)
    x[30:] += 1.5
    plain = draw(x)
    assert plain.signals
    for other in (draw(x + 4096), draw(8 * x), draw(-x)):
        turned = {"high": "low", "low": "high"} if other.points[0] == -plain.points[0] else {}
        expected = sorted((s.index, turned.get(s.rule, s.rule)) for s in plain.signals)
        assert sorted((s.index, s.rule) for s in other.signals) == expected
    assert draw(x + 4096).sigma == pytest.approx(plain.sigma)
    assert draw(8 * x).sigma == pytest.approx(8 * plain.sigma)


def test_a_baseline_is_not_moved_by_what_comes_after():
    x = [1.40, 1.42, 1.39, 1.41, 1.40, 1.43]
    late = charts.individuals([*x, 2.0], baseline=6)
    assert (late.centre, late.sigma) == (charts.individuals(x).centre, charts.individuals(x).sigma)
    assert [s.rule for s in late.signals if s.index == 7] == ["beyond", "within"]
    labels = ["a", "a", "b", "b", "c", "c", "d"]
    assert charts.averages([*x, 2.0], labels, baseline=3).sigma == charts.averages(x, labels[:6]).sigma


def test_a_reading_on_a_limit_is_not_beyond_it():
    # 1.30 + 3 × 0.02 and 1.30 − 3 × 0.02, in decimals that doubles do not hold
    assert (
        charts.individuals([1.36, 1.24, 1.30], target=1.30, sigma=0.02, width=3).signals[0].rule == "within"
    )
    assert all(s.rule != "beyond" for s in charts.individuals([1.36, 1.24], target=1.3, sigma=0.02).signals)
    assert charts.individuals([1.361], target=1.3, sigma=0.02).signals == (Signal(1, "beyond"),)
    assert charts.cusum([1.36, 1.34], Cusum(0.5, 4), target=1.3, sigma=0.02).signals == ()
    assert charts.ewma([1.36], Ewma(1.0, 3, 3), target=1.3, sigma=0.02).signals == ()


@pytest.mark.parametrize("value", [0.1, 1.4, 1e9 + 0.1])
def test_equal_readings_have_no_limits_and_say_why(value):
    for draw in (charts.individuals, charts.ewma, charts.cusum):
        chart = draw([value] * 7)
        assert (chart.centre, chart.sigma, chart.low, chart.signals) == (value, None, None, ())
        assert "equal" in chart.reason
    for spread in "RS":
        chart = charts.averages([value] * 7, [1, 1, 1, 2, 2, 2, 2], spread=spread)
        assert (chart.centre, chart.sigma, chart.signals) == (value, None, ())
        assert "equal" in chart.reason
    # with σ known they are as quiet as can be
    assert charts.individuals([value] * 7, sigma=0.1).signals == ()


def test_one_reading_and_groups_of_one():
    chart = charts.individuals([1.4])
    assert (chart.centre, chart.sigma) == (1.4, None)
    assert chart.reason == "One reading alone has no scatter: limits need two or more."
    assert charts.averages([1.4, 1.5], [1, 2]).reason.startswith("No group has two readings")
    assert charts.averages([1.4, 1.5], [1, 2], sigma=0.01, target=1.4).signals == (Signal(2, "beyond"),)
    mixed = charts.averages([1.4, 1.5, 1.3], ["a", "a", "b"])
    assert mixed.within.points == (pytest.approx(0.1), None)
    assert mixed.within.high[1] is mixed.within.low[1] is mixed.within.centre[1] is None
    assert mixed.signals == ()
    assert mixed.scheme is None


def test_large_groups_take_the_standard_deviation():
    x = np.random.default_rng(3).normal(0, 1, 120)
    labels = np.repeat([1, 2], 60)
    with pytest.raises(ValueError, match="use the standard deviation"):
        charts.averages(x, labels)
    assert charts.averages(x, labels, spread="S").sigma == pytest.approx(1, abs=0.2)


def test_scheme_says_how_often_chance_alone_signals():
    x = np.random.default_rng(4).normal(0, 1, 40)
    chart = charts.individuals(x)
    assert charts.average_run_length(chart.scheme) == pytest.approx(105.331, abs=1e-3)
    assert charts.individuals(x, rules=Rules()).scheme is None
    assert charts.averages(x, np.repeat(range(10), 4)).scheme == charts.Averages(4, 3.0, "R")


def test_signals_of_rules_leave_out_the_limit_itself():
    x = [0.5] * 8 + [9.0]
    chart = charts.individuals(x, target=0, sigma=1, rules=Rules())
    assert chart.signals == (
        Signal(8, "western-electric 4"),
        Signal(9, "beyond"),
        Signal(9, "within"),
        Signal(9, "western-electric 4"),
    )
    assert [signal.words for signal in chart.signals[:2]] == [
        "8 readings in a row on one side of the centre",
        "beyond the limits",
    ]


@pytest.mark.parametrize("n", [1, 26])
def test_no_constants_beyond_the_table(n):
    with pytest.raises(ValueError, match="2 to 25"):
        charts.constants(n)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: charts.individuals([1.4, float("nan")]), "row 2"),
        (lambda: charts.ewma([1.4, 1.5, float("inf")]), "row 3"),
        (lambda: charts.cusum([]), "at least one value"),
        (lambda: charts.averages([1.4, 1.5], ["a"]), "needs its group"),
        (lambda: charts.averages([1.4, 1.5], ["a", ""]), "Row 2 has no group"),
        (lambda: charts.individuals([1.4], sigma=0.0), "above 0"),
        (lambda: charts.individuals([1.4], target=float("nan")), "target must be a number"),
        (lambda: charts.individuals([1.4], width=-1), "width of the limits"),
        (lambda: charts.averages([1.4, 1.5], [1, 1], width=float("nan")), "width of the limits"),
        (lambda: charts.individuals([1.4, 1.5], baseline=3), "1 to 2 of the first points"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(ValueError, match=says):
        call()
