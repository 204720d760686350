"""Groups that a database added up say the same as their rows; quick limits say nearly what profiles say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.statistics.variance import fit, fit_sums

TERMS = ("staff", "day", "staff:day")


def crew(seed, staff=6, days=20, rows=200):
    rng = np.random.default_rng(seed)
    who, day = rng.integers(0, staff, rows), rng.integers(0, days, rows)
    y = 1.4 + rng.normal(0, 0.04, staff)[who] + rng.normal(0, 0.02, days)[day] + rng.normal(0, 0.03, rows)
    return y, who, day


def added_up(y, *keys):
    rows = list(zip(*(key.tolist() for key in keys), strict=True))
    groups = sorted(set(rows))
    of = [[v for v, row in zip(y.tolist(), rows, strict=True) if row == group] for group in groups]
    sums = [len(v) for v in of], [sum(v) for v in of], [sum(x * x for x in v) for v in of]
    return sums, [np.array(column) for column in zip(*groups, strict=True)]


@given(st.integers(0, 10_000), st.integers(2, 7), st.integers(2, 9), st.integers(6, 80))
@settings(max_examples=25, deadline=None, derandomize=True)
def test_sums_say_what_their_rows_say(seed, staff, days, rows):
    y, who, day = crew(seed, staff, days, rows)
    sums, (whose, when) = added_up(y, who, day)
    of_rows = fit(y, {"staff": who, "day": day}, TERMS, intervals=False, predictions=False)
    of_sums = fit_sums(*sums, {"staff": whose, "day": when}, TERMS, intervals=False, predictions=False)
    assert of_sums.n == rows
    assert list(of_sums.components) == list(of_rows.components)
    for name, part in of_rows.components.items():
        assert of_sums.components[name].sd == pytest.approx(part.sd, abs=2e-5)
    assert of_sums.mean == pytest.approx(of_rows.mean, abs=1e-6)


def test_groups_finer_than_cells_and_fixed_columns_are_rows_too():
    y, who, day = crew(1)
    recipe = np.random.default_rng(5).integers(0, 2, len(y))
    age = day * 1.0
    y = y + 0.1 * recipe
    sums, (whose, when, which) = added_up(y, who, day, recipe)
    words = {"recipe": [f"r{one}" for one in recipe], "age": age}
    same = {"recipe": [f"r{one}" for one in which], "age": when * 1.0}
    of_rows = fit(y, {"staff": who, "day": day}, ("staff", "day"), words, predictions=False)
    of_sums = fit_sums(*sums, {"staff": whose, "day": when}, ("staff", "day"), same, predictions=False)
    for one, other in zip(of_rows.fixed, of_sums.fixed, strict=True):
        assert (one.column, one.level) == (other.column, other.level)
        assert other.estimate == pytest.approx(one.estimate, abs=1e-6)
        assert other.se == pytest.approx(one.se, rel=1e-4)
    for name, part in of_rows.components.items():
        assert of_sums.components[name].sd_high == pytest.approx(part.sd_high, rel=2e-3)


def test_readings_that_never_differ_have_no_spread_in_sums_either():
    found = fit_sums([3, 2, 4], [4.2, 2.8, 5.6], [5.88, 3.92, 7.84], {"staff": [1, 2, 3]}, ("staff",))
    assert found.components["residual"].sd == 0
    assert "All readings are the same" in found.notes[-1]


@pytest.mark.parametrize(
    ("n", "sums", "why"),
    [([1, 0], [1.4, 0.0], "Group 2 has no values"), ([1], [1.4, 1.5], "Every group needs")],
)
def test_groups_that_are_none_are_refused(n, sums, why):
    with pytest.raises(ValueError, match=why):
        fit_sums(n, sums, [2.0] * len(sums), {"staff": [1, 2]}, ("staff",))


def test_quick_limits_are_near_those_of_the_profile_where_levels_are_many():
    y, who, day = crew(7, staff=40, days=60, rows=4000)
    slow = fit(y, {"staff": who, "day": day}, TERMS, predictions=["staff"])
    quick = fit(y, {"staff": who, "day": day}, TERMS, predictions=["staff"], quick=True)
    for name in ("staff", "day", "residual"):
        one, other = slow.components[name], quick.components[name]
        for end in ("sd_low", "sd_high", "share_low", "share_high"):
            assert getattr(other, end) == pytest.approx(getattr(one, end), rel=0.08)
    assert list(slow.predictions) == list(quick.predictions) == ["staff"]
    one, other = slow.predictions["staff"], quick.predictions["staff"]
    assert other.estimate == pytest.approx(one.estimate, abs=1e-6)
    assert other.low == pytest.approx(one.low, abs=1e-3)


def test_a_spread_on_its_bound_has_no_quick_limits():
    y = np.array([1.0, 3.0, 3.0, 1.0, 1.0, 3.0])  # staff means are alike
    found = fit(y, {"staff": [1, 1, 2, 2, 3, 3]}, ("staff",), quick=True)
    assert found.components["staff"].sd == 0
    assert found.components["staff"].sd_high is None
    assert found.components["residual"].sd_low < found.components["residual"].sd
