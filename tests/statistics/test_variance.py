"""Variance fits at their boundaries: what is said, what is None and why, and that order and units change nothing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.statistics.variance import fit, within_brews

CROSSED = ("staff", "day", "staff:day")


def crossed(staff=4, days=6, brews=2, seed=0):
    """Balanced: every barista brews every day."""
    rng = np.random.default_rng(seed)
    who, day, _brew = (each.ravel() for each in np.indices((staff, days, brews)))
    y = (
        1.4
        + rng.normal(0, 0.03, staff)[who]
        + rng.normal(0, 0.02, days)[day]
        + rng.normal(0, 0.015, (staff, days))[who, day]
        + rng.normal(0, 0.02, len(who))
    )
    return y, {"staff": who, "day": day}


def spreads(found):
    return {name: one.variance for name, one in found.components.items()}


@pytest.mark.parametrize("seed", range(4))
def test_balanced_rows_give_the_estimates_of_mean_squares(seed):
    """Searle, Casella and McCulloch 1992, section 4.4 (from memory): REML is ANOVA where none falls below 0."""
    a, b, n = 4, 6, 2
    y, factors = crossed(a, b, n, seed)
    table = y.reshape(a, b, n)
    cell, grand = table.mean(2), y.mean()
    rows, columns = cell.mean(1), cell.mean(0)
    ms_error = ((table - cell[..., None]) ** 2).sum() / (a * b * (n - 1))
    ms_both = n * ((cell - rows[:, None] - columns + grand) ** 2).sum() / ((a - 1) * (b - 1))
    ms_rows = b * n * ((rows - grand) ** 2).sum() / (a - 1)
    ms_columns = a * n * ((columns - grand) ** 2).sum() / (b - 1)
    both = (ms_both - ms_error) / n
    expected = {
        "staff": (ms_rows - ms_both) / (b * n),
        "day": (ms_columns - ms_both) / (a * n),
        "staff:day": both,
        "residual": ms_error,
    }
    found = fit(y, factors, CROSSED, intervals=False, predictions=False)
    assert found.mean == pytest.approx(grand, rel=1e-12)
    if min(expected.values()) > 0:
        assert spreads(found) == pytest.approx(expected, rel=1e-5)
        assert found.se**2 == pytest.approx((ms_rows + ms_columns - ms_both) / (a * b * n), rel=1e-6)
    else:
        assert min(spreads(found).values()) == 0.0


def test_one_way_balanced_in_closed_form():
    """ML and REML of one random factor: Searle, Casella and McCulloch 1992, sections 3.7 and 3.8 (from memory)."""
    rng = np.random.default_rng(2)
    a, n = 7, 5
    table = rng.normal(0, 2, (a, 1)) + rng.normal(0, 1, (a, n))
    ssa = n * ((table.mean(1) - table.mean()) ** 2).sum()
    mse = table.var(axis=1, ddof=1).mean()
    factors = {"batch": np.repeat(np.arange(a), n)}
    reml = fit(table.ravel(), factors, ("batch",))
    ml = fit(table.ravel(), factors, ("batch",), ml=True)
    assert spreads(reml) == pytest.approx({"batch": (ssa / (a - 1) - mse) / n, "residual": mse}, rel=1e-7)
    assert spreads(ml) == pytest.approx({"batch": (ssa / a - mse) / n, "residual": mse}, rel=1e-7)
    # BLUP of a batch: shrunk by nσ_a²/(nσ_a² + σ²)
    shrunk = 1 - mse / (ssa / (a - 1))
    expected = shrunk * (table.mean(1) - table.mean())
    np.testing.assert_allclose(reml.predictions["batch"].estimate, expected, rtol=1e-6)


def test_one_barista_or_one_day_is_said_not_invented():
    y, factors = crossed(1, 8)
    found = fit(y, factors, CROSSED)
    assert found.components["staff"].variance is None
    assert "single level of staff" in found.components["staff"].reason
    assert found.components["day + staff:day"].variance is not None
    assert any("day and staff:day have the same levels" in note for note in found.notes)
    y, factors = crossed(5, 1)
    found = fit(y, factors, CROSSED)
    assert found.components["day"].sd_high is None
    assert found.components["staff + staff:day"].sd_high > 0


def test_one_reading():
    found = fit([1.4], {"staff": ["Ada"], "day": [1]}, CROSSED)
    assert (found.mean, found.se, found.criterion) == (1.4, None, None)
    assert all(one.variance is None and one.reason for one in found.components.values())


def test_equal_readings_have_no_spread_to_part():
    found = fit([1.37] * 6, {"staff": list("aabbcc"), "day": list("xyxyxy")}, ("staff", "day"))
    assert found.mean == 1.37
    assert spreads(found) == {"staff": 0.0, "day": 0.0, "residual": 0.0}
    assert all(one.share is None and one.sd_high is None for one in found.components.values())


def test_repeats_that_never_differ_leave_nothing_for_the_residual():
    found = fit([1.3, 1.3, 1.4, 1.4, 1.5, 1.5], {"day": list("xxyyzz")}, ("day",))
    assert found.components["residual"].variance == 0.0
    assert found.components["day"].variance == pytest.approx(0.01)
    assert found.se == pytest.approx(0.1 / np.sqrt(3))
    assert found.criterion is None


def test_an_exact_fit_is_said():
    found = fit([1.0, 2.0, 3.0, 4.0], {"staff": list("aabb"), "day": list("xyxy")}, ("staff", "day"))
    assert all(one.variance is None for one in found.components.values())
    assert "explain every reading exactly" in found.notes[-1]


def test_too_few_second_brews_join_the_interaction_with_the_brew():
    y, factors = crossed(4, 10, 1)
    once = fit(y, factors, CROSSED, residual="brew", predictions=False)
    assert list(once.components) == ["staff", "day", "staff:day + brew"]
    # 4 of 40 cells brewed twice: 10 %
    y = np.concatenate([y, y[:4] + 0.01])
    factors = {name: np.concatenate([column, column[:4]]) for name, column in factors.items()}
    few = fit(y, factors, CROSSED, residual="brew", predictions=False)
    assert list(few.components) == ["staff", "day", "staff:day + brew"]
    assert any("Only 10 %" in note for note in few.notes)
    apart = fit(y, factors, CROSSED, residual="brew", predictions=False, merge_below=0)
    assert list(apart.components) == [*CROSSED, "brew"]


def test_groups_that_never_meet_are_reported():
    y, factors = crossed(2, 3, 2, seed=1)
    two = {
        "staff": np.concatenate([factors["staff"], factors["staff"] + 2]),
        "day": np.concatenate([factors["day"], factors["day"] + 3]),
    }
    found = fit(np.concatenate([y, y + 0.1]), two, ("staff", "day"), intervals=False)
    assert any("2 groups that share no reading" in note for note in found.notes)
    nested = {"day": two["day"], "run": [f"{d}-{w}" for d, w in zip(two["day"], two["staff"], strict=True)]}
    assert fit(np.concatenate([y, y + 0.1]), nested, ("day", "run"), intervals=False).notes == ()


def test_fixed_columns():
    rng = np.random.default_rng(5)
    y, factors = crossed(5, 12)
    age = rng.integers(4, 30, len(y)).astype(float)
    lot = np.where(rng.random(len(y)) < 0.5, "A", "B")
    found = fit(
        y - 0.002 * age + 0.05 * (lot == "B"), factors, CROSSED, {"age": age, "lot": lot, "twin": 2 * age}
    )
    slope, level, twin = found.fixed
    assert (slope.column, slope.level) == ("age", None)
    assert slope.estimate == pytest.approx(-0.002, abs=4 * slope.se)
    assert (level.column, level.level) == ("lot", "B")
    assert level.estimate == pytest.approx(0.05, abs=4 * level.se)
    assert twin.estimate is None
    assert "can't be told from the columns before it" in twin.reason
    # the intercept is what a coffee of age 0 comes to
    plain = fit(y, factors, CROSSED, intervals=False, predictions=False)
    assert found.mean == pytest.approx(plain.mean, abs=5 * found.se)


def test_a_fixed_column_that_takes_up_a_term():
    y, factors = crossed(3, 5)
    found = fit(y, factors, ("staff", "day"), {"who": [f"p{one}" for one in factors["staff"]]})
    assert found.components["staff"].variance is None
    assert "take up all of staff" in found.components["staff"].reason


@settings(derandomize=True, deadline=None, max_examples=4)
@given(seed=st.integers(0, 10**6), factor=st.sampled_from([0.01, 7.0]), shift=st.sampled_from([0.0, 500.0]))
def test_order_names_and_units_change_nothing(seed, factor, shift):
    rng = np.random.default_rng(seed)
    rows = 50
    factors = {"staff": rng.integers(0, 4, rows), "day": rng.integers(0, 7, rows)}
    y = rng.normal(0, 1, rows) + rng.normal(0, 1, 4)[factors["staff"]]
    found = fit(y, factors, CROSSED, intervals=False)
    order = rng.permutation(rows)
    renamed = {name: [f"{name} {one}" for one in column[order]] for name, column in factors.items()}
    other = fit(factor * y[order] + shift, renamed, CROSSED, intervals=False)
    scale = {name: one.variance * factor**2 for name, one in found.components.items()}
    total = sum(scale.values())
    assert spreads(other) == pytest.approx(scale, rel=1e-4, abs=1e-7 * total)
    assert other.mean == pytest.approx(factor * found.mean + shift, rel=1e-6)
    by_name = dict(zip(other.predictions["staff"].levels, other.predictions["staff"].estimate, strict=True))
    for label, estimate in zip(
        found.predictions["staff"].levels, found.predictions["staff"].estimate, strict=True
    ):
        assert by_name[f"staff {label}"] == pytest.approx(factor * estimate, rel=1e-3, abs=1e-5 * total**0.5)


def test_a_wider_spread_of_staff_is_a_larger_component():
    y, factors = crossed(5, 10)
    steps = np.linspace(-1, 1, 5)[factors["staff"]]
    found = [
        fit(y + size * steps, factors, CROSSED, intervals=False, predictions=False).components["staff"].sd
        for size in (0.05, 0.1, 0.2, 0.4)
    ]
    assert found == sorted(found)


def test_limits_surround_and_widen():
    y, factors = crossed(5, 8)
    usual, wide = (fit(y, factors, CROSSED, coverage=coverage) for coverage in (0.8, 0.99))
    for name, one in usual.components.items():
        other = wide.components[name]
        assert other.sd_low <= one.sd_low <= one.sd <= one.sd_high <= other.sd_high
        assert other.share_low <= one.share_low <= one.share <= one.share_high <= other.share_high
    for name, one in usual.predictions.items():
        other = wide.predictions[name]
        assert (other.low < one.low).all()
        assert (one.low < one.high).all()
        assert (one.high < other.high).all()
    assert wide.mean_low < usual.mean_low < usual.mean < usual.mean_high < wide.mean_high


@pytest.mark.parametrize(
    ("values", "factors", "terms", "said"),
    [
        ([], {"staff": []}, ("staff",), "at least one value"),
        ([1.0, float("nan")], {"staff": "ab"}, ("staff",), "row 2"),
        ([1.0, 2.0, float("inf")], {"staff": "abc"}, ("staff",), "row 3"),
        ([1.0, 2.0], {"staff": ["a", None]}, ("staff",), "Row 2 has no staff"),
        ([1.0, 2.0], {"staff": ["a"]}, ("staff",), "needs its staff"),
        ([1.0, 2.0], {"staff": "ab"}, ("day",), "names day"),
        ([1.0, 2.0], {"staff": "ab"}, (), "at least one term"),
        ([1.0, 2.0], {"staff": "ab", "day": "xy"}, ("staff:day", "day:staff"), "the same term"),
        ([1.0, 2.0], {"staff": "ab"}, ("staff:staff",), "twice"),
    ],
)
def test_what_is_no_model_is_refused(values, factors, terms, said):
    with pytest.raises(ValueError, match=said):
        fit(values, factors, terms)


def test_a_fixed_column_without_a_number_is_refused():
    with pytest.raises(ValueError, match="Row 3 has no age"):
        fit([1.0, 2.0, 3.0], {"staff": "aab"}, ("staff",), {"age": [1.0, 2.0, float("nan")]})


def test_drops_are_pooled_beside_the_rows():
    found = within_brews([1.40, 1.42, 1.31, 1.31, 1.32, 1.5], ["a", "a", "b", "b", "b", "c"])
    assert (found.df, found.brews) == (3, 2)
    assert found.variance == pytest.approx((2 * 0.01**2 + 2 / 3 * 0.01**2) / 3)
    alone = within_brews([1.4, 1.5], ["a", "b"])
    assert (alone.sd, alone.reason) == (None, "No brew has a second drop.")
