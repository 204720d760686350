"""Gauge studies: sums by hand beside the table, how often intervals hold, and what cannot be told."""

from statistics import mean

import numpy as np
import pytest

from calibration.statistics.gauge import gauge_study
from calibration.statistics.gauge_ranges import nested_study, range_study


def study(rng, parts=6, operators=3, repeats=2, sds=(1.0, 0.5, 0.3, 0.2)):
    part, operator, interaction, residual = sds
    y = (
        rng.normal(0, part, (parts, 1, 1))
        + rng.normal(0, operator, (1, operators, 1))
        + rng.normal(0, interaction, (parts, operators, 1))
        + rng.normal(0, residual, (parts, operators, repeats))
    )
    labels = np.indices(y.shape)
    return y.ravel(), labels[0].ravel(), labels[1].ravel()


def by_hand(y, part, operator, repeats):
    """Expected mean squares solved one after the other, from dictionaries."""
    cells, rows, columns = {}, {}, {}
    for value, i, j in zip(y.tolist(), part.tolist(), operator.tolist(), strict=True):
        cells.setdefault((i, j), []).append(value)
        rows.setdefault(i, []).append(value)
        columns.setdefault(j, []).append(value)
    p, o, all_mean = len(rows), len(columns), mean(y.tolist())
    ms_part = o * repeats * sum((mean(row) - all_mean) ** 2 for row in rows.values()) / (p - 1)
    ms_operator = p * repeats * sum((mean(column) - all_mean) ** 2 for column in columns.values()) / (o - 1)
    ms_both = (
        repeats
        * sum(
            (mean(cell) - mean(rows[i]) - mean(columns[j]) + all_mean) ** 2 for (i, j), cell in cells.items()
        )
        / ((p - 1) * (o - 1))
    )
    ms_error = sum((value - mean(cell)) ** 2 for cell in cells.values() for value in cell) / (
        p * o * (repeats - 1)
    )
    return {
        "part": (ms_part - ms_both) / (o * repeats),
        "operator": (ms_operator - ms_both) / (p * repeats),
        "interaction": (ms_both - ms_error) / repeats,
        "residual": ms_error,
    }


@pytest.mark.parametrize("seed", range(5))
def test_components_by_hand(seed):
    rng = np.random.default_rng(seed)
    y, part, operator = study(rng)
    order = rng.permutation(len(y))
    found = gauge_study(y[order] + 100, part[order], operator[order], pool_above=None)
    for name, variance in by_hand(y, part, operator, 2).items():
        assert found.raw[name] == pytest.approx(variance, abs=1e-10)
        assert found.components[name] == pytest.approx(max(variance, 0), abs=1e-10)
    assert found.total**2 == pytest.approx(sum(found.components.values()))


def test_the_rule_for_the_interaction_is_the_callers():
    y, part, operator = study(np.random.default_rng(1), sds=(1, 0.5, 0, 0.2))
    p = gauge_study(y, part, operator).p["interaction"]
    assert gauge_study(y, part, operator, pool_above=p - 0.01).interaction_pooled
    assert not gauge_study(y, part, operator, pool_above=p + 0.01).interaction_pooled
    assert not gauge_study(y, part, operator, pool_above=None).interaction_pooled


@pytest.mark.parametrize("pool_above", [None, 0.0])
def test_how_often_the_intervals_hold(pool_above):
    rng = np.random.default_rng(2)
    sds = (1.0, 0.5, 0.3 if pool_above is None else 0.0, 0.2)
    truth = {
        "repeatability": sds[3],
        "reproducibility": (sds[1] ** 2 + sds[2] ** 2) ** 0.5,
        "grr": (sds[1] ** 2 + sds[2] ** 2 + sds[3] ** 2) ** 0.5,
        "part_sd": sds[0],
    }
    held = dict.fromkeys(truth, 0)
    for _ in range(400):
        found = gauge_study(*study(rng, parts=8, operators=4, sds=sds), pool_above=pool_above)
        for name, true in truth.items():
            held[name] += found.intervals[name].low <= true <= found.intervals[name].high
    # three standard errors of 400 draws, and the method's own lean to the safe side
    assert all(0.917 <= count / 400 <= 0.99 for count in held.values()), held


def test_a_noisier_gauge_tells_fewer_parts_apart():
    y, part, operator = study(np.random.default_rng(3), sds=(1, 0, 0, 0))
    noise = np.random.default_rng(4).normal(0, 1, len(y))
    found = [gauge_study(y + size * noise, part, operator).categories for size in (0.05, 0.1, 0.3, 1.0)]
    assert found == sorted(found, reverse=True)


def shortened(y, part, operator, rows=(0, 7, 8, 20)):
    kept = np.setdiff1d(np.arange(len(y)), rows)
    return y[kept], part[kept], operator[kept]


def test_unbalanced_studies_go_through_the_likelihood():
    # on balanced data with all estimates above 0, restricted likelihood and mean squares are the same
    y, part, operator = study(np.random.default_rng(11), parts=8)
    squares = gauge_study(y, part, operator, pool_above=None)
    assert min(squares.raw.values()) > 0
    again = gauge_study(*shortened(y, part, operator, rows=()), pool_above=None)
    assert again == squares
    fewer = gauge_study(*shortened(y, part, operator), pool_above=None)
    assert fewer.method == "restricted likelihood"
    assert fewer.repeats is None
    for name, variance in squares.components.items():
        assert fewer.components[name] == pytest.approx(variance, rel=0.5)
    assert fewer.grr**2 == pytest.approx(
        sum(fewer.components[name] for name in ("operator", "interaction", "residual"))
    )
    low, high = fewer.intervals["part_sd"].low, fewer.intervals["part_sd"].high
    assert low < fewer.part_sd < high
    assert fewer.mean_squares == {}


def test_a_study_repeated_more_often_in_one_cell_hardly_moves():
    # thousands of repeats of one cell change nothing but what is known of the residual
    rng = np.random.default_rng(12)
    y, part, operator = study(rng, parts=8, repeats=3)
    balanced = gauge_study(y, part, operator, pool_above=None)
    more = gauge_study(np.append(y, y[0]), np.append(part, part[0]), np.append(operator, operator[0]), None)
    for name, variance in balanced.components.items():
        assert more.components[name] == pytest.approx(variance, rel=0.1)


def test_the_rule_for_the_interaction_holds_for_unbalanced_studies():
    y, part, operator = shortened(*study(np.random.default_rng(1), sds=(1, 0.5, 0, 0.2)))
    found = gauge_study(y, part, operator, pool_above=None)
    p = found.p["interaction"]
    assert not found.interaction_pooled
    pooled = gauge_study(y, part, operator, pool_above=p - 0.01)
    assert pooled.interaction_pooled
    assert pooled.components["interaction"] == 0.0
    assert pooled.intervals.keys() == {"repeatability", "reproducibility", "part_sd"}


def test_unbalanced_with_one_operator_or_one_part():
    one_operator = gauge_study([1.0, 1.1, 2.0, 2.1, 2.2, 3.0], [0, 0, 1, 1, 1, 2], [0] * 6)
    assert one_operator.components["operator"] is None
    assert one_operator.part_sd == pytest.approx(1.0, rel=0.2)
    one_part = gauge_study([1.0, 1.1, 2.0, 2.1, 2.2, 3.0], [0] * 6, [0, 0, 1, 1, 1, 2])
    assert one_part.components["part"] is None
    assert one_part.reproducibility == pytest.approx(1.0, rel=0.2)


def test_unbalanced_without_any_repeat():
    found = gauge_study([1.0, 1.2, 2.0, 2.3, 3.1], [0, 0, 1, 1, 2], [0, 1, 0, 1, 0], pool_above=None)
    assert found.components["interaction"] is None
    assert any("Nobody measured a part twice" in note for note in found.notes)


def test_operators_hidden_behind_their_parts():
    # each operator measured parts of their own: what is theirs and what is the parts' cannot be told apart
    found = gauge_study([1.0, 1.1, 2.0, 2.1, 3.0, 3.1, 3.2], [0, 0, 1, 1, 2, 2, 2], [0, 0, 1, 1, 2, 2, 2])
    assert (found.reproducibility, found.grr, found.categories) == (None, None, None)
    assert found.repeatability is not None
    assert found.notes


def test_unbalanced_and_all_equal():
    found = gauge_study([1.4] * 5, [0, 0, 1, 1, 1], [0, 1, 0, 1, 1])
    assert found.components["residual"] in {0.0, None}
    assert found.categories is None


def test_one_operator():
    y, part, operator = study(np.random.default_rng(5), operators=1)
    found = gauge_study(y, part, operator)
    assert (found.reproducibility, found.components["operator"], found.components["interaction"]) == (
        None,
    ) * 3
    assert found.grr == found.repeatability
    assert found.categories > 0
    assert any("One operator alone" in note for note in found.notes)


def test_one_part():
    y, part, operator = study(np.random.default_rng(6), parts=1)
    found = gauge_study(y, part, operator)
    assert (found.part_sd, found.total, found.distinct_categories) == (None, None, None)
    assert found.reproducibility is not None
    assert any("One part alone" in note for note in found.notes)


def test_one_measurement_each():
    y, part, operator = study(np.random.default_rng(7), repeats=1)
    found = gauge_study(y, part, operator, pool_above=None)
    assert found.components["interaction"] is None
    assert found.components["residual"] > 0
    assert any("Nobody measured a part twice" in note for note in found.notes)


def test_nothing_measured_twice_at_all():
    found = gauge_study([1.0, 2.0, 3.0], ["a", "b", "c"], ["x"] * 3)
    assert (found.repeatability, found.grr, found.total) == (None, None, None)
    assert any("own spread cannot be told" in note for note in found.notes)


def test_all_equal():
    found = gauge_study([1.4] * 8, [0, 0, 0, 0, 1, 1, 1, 1], [0, 0, 1, 1] * 2)
    assert (found.grr, found.part_sd, found.categories, found.grr_variation_pct) == (0.0, 0.0, None, None)
    assert any("no limit" in note for note in found.notes)


def test_parts_alone_differ():
    found = gauge_study([1.0] * 4 + [2.0] * 4, [0, 0, 0, 0, 1, 1, 1, 1], [0, 0, 1, 1] * 2)
    assert (found.grr, found.grr_contribution_pct, found.distinct_categories) == (0.0, 0.0, None)


@pytest.mark.parametrize(
    ("values", "parts", "operators", "options", "says"),
    [
        ([1.0, float("nan")], [1, 2], [1, 1], {}, "row 2"),
        ([1.0, 2.0], [1], [1, 1], {}, "needs its part"),
        ([1.0, 2.0], [1, 2], [1, ""], {}, "Row 2 has no operator"),
        ([1.0], [1], [1], {}, "At least 2"),
        ([1.0, 2.0], [1, 2], [1, 1], {"pool_above": 1.5}, "from 0 to 1"),
        ([1.0, 2.0], [1, 2], [1, 1], {"coverage": 95}, "between 0 and 1"),
    ],
)
def test_refuses(values, parts, operators, options, says):
    with pytest.raises(ValueError, match=says):
        gauge_study(values, parts, operators, **options)


def test_ranges_and_mean_squares_come_to_much_the_same():
    y, part, operator = study(np.random.default_rng(9), parts=10, repeats=3, sds=(1, 0.4, 0, 0.2))
    ranges, squares = range_study(y, part, operator, exact_constants=True), gauge_study(y, part, operator)
    assert ranges.repeatability == pytest.approx(squares.repeatability, rel=0.15)
    assert ranges.part_sd == pytest.approx(squares.part_sd, rel=0.15)


def test_range_method_wants_a_full_table():
    with pytest.raises(ValueError, match="equally often"):
        range_study([1.0, 2.0, 3.0], [0, 0, 1], [0, 1, 0])
    equal = range_study([1.0] * 8, [0, 0, 0, 0, 1, 1, 1, 1], [0, 0, 1, 1] * 2)
    assert (equal.total, equal.grr_pct, equal.categories) == (0.0, None, None)
    part, operator, _ = (axis.ravel() for axis in np.indices((26, 2, 2)))
    with pytest.raises(ValueError, match="up to 25"):
        range_study(np.zeros(104), part, operator)


def test_nested_study_finds_what_was_put_in():
    rng = np.random.default_rng(10)
    items, runs, days, repeats = 30, 4, 6, 5
    day_means = rng.normal(0, 0.3, (items, runs, 1)) + rng.normal(0, 0.2, (items, runs, days))
    readings = day_means[..., None] + rng.normal(0, 0.1, (items, runs, days, repeats))
    at = np.indices(day_means.shape)
    found = nested_study(
        readings.mean(axis=3).ravel(),
        readings.std(axis=3, ddof=1).ravel(),
        repeats,
        at[0].ravel(),
        at[1].ravel(),
    )
    # about four standard errors of the fewest degrees of freedom, 90
    assert found.run_sd == pytest.approx(0.3, rel=0.3)
    assert found.day_sd == pytest.approx(0.2, rel=0.3)
    assert found.total == pytest.approx((0.3**2 + 0.2**2 + 0.1**2) ** 0.5, rel=0.3)


def test_nested_study_with_one_run_or_day():
    one_run = nested_study([1.0, 2.0], [0.1, 0.1], 3, ["a", "a"], [1, 1])
    assert (one_run.s3, one_run.run_sd, one_run.total) == (None, None, None)
    assert one_run.s2 == pytest.approx(0.5**0.5)
    one_day = nested_study([1.0, 2.0], [0.1, 0.1], 3, ["a", "a"], [1, 2])
    assert (one_day.s2, one_day.total) == (None, None)
    for note in (*one_run.notes, *one_day.notes):
        assert "says nothing" in note


@pytest.mark.parametrize(
    ("means", "sds", "repeats", "items", "says"),
    [
        ([1.0, 2.0], [0.1], 3, [1, 1], "needs its standard deviation"),
        ([1.0, 2.0], [0.1, -0.1], 3, [1, 1], "row 2 is below 0"),
        ([1.0, 2.0], [0.1, 0.1], 1, [1, 1], "two readings"),
        ([1.0, 2.0, 3.0], [0.1, 0.1, 0.1], 3, [1, 1, 2], "as many days"),
    ],
)
def test_nested_study_refuses(means, sds, repeats, items, says):
    with pytest.raises(ValueError, match=says):
        nested_study(means, sds, repeats, items, [1] * len(means))
