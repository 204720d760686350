"""Slopes and change points: least squares and ranks the long way, invariances, and where nothing can be told."""

from math import inf, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from calibration.statistics.change_chance import chance_of_sup_f
from calibration.statistics.trend import change_point, pettitt, slope

by_hand = settings(derandomize=True, deadline=None, max_examples=35)
small = st.integers(-40, 40).map(lambda x: x / 10)
rows = st.lists(st.tuples(small, small, st.integers(0, 3)), min_size=5, max_size=25)
series = st.lists(st.integers(-20, 20).map(float), min_size=6, max_size=30)


def least_squares(x, y, groups):
    """Slope and its standard error from a design matrix with a column for each group."""
    names = sorted(set(groups))
    design = np.column_stack([x, *[[float(g == name) for g in groups] for name in names]])
    beta, _rss, rank, _sv = np.linalg.lstsq(design, y, rcond=None)
    df = len(y) - rank
    residuals = y - design @ beta
    sd = sqrt(residuals @ residuals / df)
    return beta, sd, sd * np.sqrt(np.diag(np.linalg.inv(design.T @ design))), df


@by_hand
@given(rows, st.booleans())
def test_slope_by_a_design_matrix(rows, grouped):
    x, y, groups = (np.array(column) for column in zip(*rows, strict=True))
    if not grouped:
        groups = np.zeros_like(groups)
    within = sum(((x[groups == g] - x[groups == g].mean()) ** 2).sum() for g in set(groups))
    if within < 1e-9 or len(y) - len(set(groups)) - 1 < 1:
        return
    beta, sd, se, df = least_squares(x, y, groups)
    found = slope(x, y, groups if grouped else None)
    assert (found.slope, found.df) == (pytest.approx(beta[0], abs=1e-9), df)
    assert (found.residual_sd, found.se_slope) == pytest.approx((sd, se[0]), abs=1e-7)
    if grouped:
        assert found.intercept is None
    else:
        assert (found.intercept, found.se_intercept) == pytest.approx((beta[1], se[1]), abs=1e-7)


def test_lots_do_not_pass_for_ageing():
    # each lot falls by 0.01 a day; the later lot is stronger
    days, lots = [5, 6, 7, 20, 21, 22], ["a"] * 3 + ["b"] * 3
    tds = [1.40, 1.391, 1.38, 1.50, 1.489, 1.48]
    assert slope(days, tds).slope > 0
    within = slope(days, tds, lots)
    assert within.slope == pytest.approx(-0.01, abs=1e-3)
    assert within.high < 0


def test_interval_covers_what_it_promises():
    rng = np.random.default_rng(8)
    x = np.arange(12.0)
    found = [slope(x, 0.3 * x + rng.normal(0, 1, 12)) for _ in range(2000)]
    covered = np.mean([trend.low <= 0.3 <= trend.high for trend in found])
    # three standard errors of 2 000 draws
    assert covered == pytest.approx(0.95, abs=3 * sqrt(0.95 * 0.05 / 2000))


def test_slope_moved_and_in_another_order():
    rng = np.random.default_rng(9)
    x, y = rng.normal(0, 1, 40), rng.normal(0, 1, 40)
    plain, order = slope(x, y), rng.permutation(40)
    for other in (slope(x[order], y[order]), slope(x + 4096, y - 1e6)):
        assert (other.slope, other.se_slope, other.p) == pytest.approx((plain.slope, plain.se_slope, plain.p))
    assert slope(x, -y).slope == pytest.approx(-plain.slope)


def test_where_no_slope_can_be_told():
    assert slope([3], [1.4]).slope is None
    assert "same place" in slope([3, 3, 3], [1.4, 1.5, 1.3]).reason
    two = slope([1, 2], [1.4, 1.5])
    assert (two.slope, two.se_slope, two.low) == (pytest.approx(0.1), None, None)
    assert "too few" in two.reason
    flat = slope([1, 2, 3], [0.1, 0.1, 0.1])
    assert (flat.slope, flat.se_slope, flat.p, flat.r_squared) == (0.0, 0.0, None, None)
    assert "without any scatter" in flat.reason
    # a day for each lot: all slope is between lots
    assert slope([1, 2, 3, 4], [1.4, 1.5, 1.3, 1.4], ["a", "b", "c", "d"]).slope is None


@by_hand
@given(series, st.sampled_from([0.0, 0.15, 0.3]))
def test_change_point_place_by_place(y, trim):
    found = change_point(y, trim)
    if len(set(y)) == 1:
        assert found.after is None
        assert "equal" in found.reason
        return
    n = len(y)
    first = max(1, int(trim * n + 1e-9))
    squares = {
        t: sum(((part - part.mean()) ** 2).sum() for part in (np.array(y[:t]), np.array(y[t:])))
        for t in range(first, n - first + 1)
    }
    best = min(squares.values())
    assert found.rss_1 == pytest.approx(best, abs=1e-9)
    assert squares[found.after] == pytest.approx(best, abs=1e-9)
    assert found.mean_before == pytest.approx(np.mean(y[: found.after]))
    assert found.shift == pytest.approx(np.mean(y[found.after :]) - np.mean(y[: found.after]))
    assert 0 <= found.p <= 1


@by_hand
@given(series)
def test_pettitt_by_signs(y):
    u = [abs(sum(np.sign(b - a) for a in y[:t] for b in y[t:])) for t in range(1, len(y))]
    found = pettitt(y)
    assert (found.k, found.after) == (max(u), u.index(max(u)) + 1)
    assert 0 <= found.p <= 1


def sup_f(x, first):
    n = x.shape[1]
    d = x - x.mean(axis=1, keepdims=True)
    t = np.arange(first, n - first + 1)
    between = (n * np.cumsum(d, axis=1)[:, t - 1] ** 2 / (t * (n - t))).max(axis=1)
    return between / (((d**2).sum(axis=1) - between) / (n - 2))


# `change_chance` says of itself that it is right to 4 % of p; beside that, three standard errors
@pytest.mark.parametrize("n", [6, 10, 20, 50, 150])
def test_chance_of_sup_f_by_simulation(n):
    first = max(1, int(0.15 * n))
    draws = sup_f(np.random.default_rng(10).normal(0, 1, (20_000, n)), first)
    for f in (4.0, 7.0, 11.0):
        share = (draws >= f).mean()
        error = 3 * sqrt(share * (1 - share) / 20_000) + 0.04 * share
        assert chance_of_sup_f(f, n, first, n - first) == pytest.approx(share, abs=error)


@pytest.mark.slow
@pytest.mark.parametrize("n", [6, 7, 12, 30, 50, 100])
def test_chance_of_sup_f_by_long_simulation(n):
    first, runs = max(1, int(0.15 * n)), 1_000_000
    limits = special.fdtri(1, n - 2, 1 - np.array([0.1, 0.02, 0.004, 0.001]))
    rng, above = np.random.default_rng(13), np.zeros(4)
    for _batch in range(20):
        draws = sup_f(rng.normal(0, 1, (runs // 20, n)), first)
        above += [(draws >= f).sum() for f in limits]
    for share, f in zip(above / runs, limits, strict=True):
        error = 3 * sqrt(share / runs) + 0.04 * share
        assert chance_of_sup_f(f, n, first, n - first) == pytest.approx(share, abs=error)


def test_a_long_series_is_stood_for_by_a_shorter_one():
    # the longest that is integrated place by place, and the next: nothing jumps
    for f in (5.0, 9.0, 15.0, 25.0):
        chances = [chance_of_sup_f(f, n, round(0.15 * n), n - round(0.15 * n)) for n in (226, 232)]
        assert chances[0] == pytest.approx(chances[1], rel=0.05)


def test_larger_f_is_rarer_and_longer_series_make_more_of_them():
    chances = [chance_of_sup_f(f, 40, 6, 34) for f in (0.0, 1.0, 5.0, 10.0, 30.0, 200.0, inf)]
    assert chances == sorted(chances, reverse=True)
    assert (chances[0], chances[-1]) == (1.0, 0.0)
    assert 0 < chances[-2] < 1e-12
    assert chance_of_sup_f(9.0, 400, 60, 340) > chance_of_sup_f(9.0, 400, 120, 280)


def test_change_moved_stretched_and_turned_over():
    y = np.random.default_rng(11).normal(0, 1, 40)
    y[25:] += 2
    plain = change_point(y)
    assert plain.after in range(22, 29)
    for other in (change_point(8 * y + 1e6), change_point(-y)):
        assert other.after == plain.after
        assert (other.f, other.p, other.cusum) == pytest.approx((plain.f, plain.p, plain.cusum), rel=1e-6)
    assert change_point(y[::-1]).after == 40 - plain.after


def test_two_levels_without_scatter():
    found = change_point([1.4] * 5 + [1.5] * 5)
    assert (found.after, found.f, found.p, found.rss_1, found.bic_1) == (5, inf, 0.0, 0.0, None)
    assert found.shift == pytest.approx(0.1)


@pytest.mark.parametrize("value", [0.1, 1.4, 1e9 + 0.1])
def test_equal_readings_have_no_change(value):
    found = change_point([value] * 9)
    assert (found.after, found.p) == (None, None)
    assert "equal" in found.reason
    assert pettitt([value] * 9).p == 1.0


def test_too_few_readings_for_a_change():
    found = change_point([1.4, 1.5, 1.4])
    assert (found.n, found.after) == (3, None)
    assert found.reason == "A change needs 6 readings or more."


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: slope([1, 2, 3], [1.4, float("nan"), 1.4]), "row 2"),
        (lambda: slope([1, float("inf"), 3], [1.4, 1.4, 1.4]), "row 2"),
        (lambda: slope([1, 2], [1.4]), "needs its place"),
        (lambda: slope([], []), "at least one value"),
        (lambda: slope([1, 2], [1.4, 1.5], ["a", None]), "Row 2 has no group"),
        (lambda: slope([1, 2], [1.4, 1.5], coverage=1), "between 0 and 1"),
        (lambda: change_point([1.4, 1.5, float("nan")]), "row 3"),
        (lambda: change_point([1.4] * 6, trim=0.5), "less than a half"),
        (lambda: pettitt([1.4]), "At least 2"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(ValueError, match=says):
        call()
