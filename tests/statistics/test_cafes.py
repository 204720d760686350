"""Cafés compared: by least squares of single brews, a balanced closed form, what cannot be compared, and coverage."""

from math import sqrt

import numpy as np
import pytest
from scipy import stats

from calibration.statistics.cafes import cafes_compared
from calibration.statistics.sums import Sums
from tests.statistics.cafes_invented import company, crews_effect, many_held, pair_held


def balanced(rng, people, days, each, sds, linked=False):
    """Two cafés, one batch, every person every day ``each`` brews. Values of shape (2, people, days, each)."""
    staff = rng.normal(0, sds[0], (2, people, 1, 1))
    if linked:
        staff[1] = staff[0]
    day, both = rng.normal(0, sds[1], (2, 1, days, 1)), rng.normal(0, sds[2], (2, people, days, 1))
    value = 1.4 + staff + day + both + rng.normal(0, sds[3], (2, people, days, each))
    cafe, who, when = (code.ravel() for code in np.indices((2, people, days)))
    if not linked:
        who = who + people * cafe
    n = np.full(len(cafe), each)
    total, squares = value.sum(3).ravel(), (value**2).sum(3).ravel()
    return value, cafe, Sums.of(who, when, n, total, squares)


def test_balanced_closed_form():
    value, cafe, sums = balanced(np.random.default_rng(1), 6, 9, 2, (0.04, 0.03, 0.01, 0.02))
    pair = cafes_compared(cafe, sums, {0: 0.0, 1: 0.0}).pairs[0]
    assert pair.difference == pytest.approx(value[0].mean() - value[1].mean())
    # of people's means, of days' and of both: Cameron, Gelbach and Miller 2011
    people, days = value.mean((2, 3)), value.mean((1, 3))
    cells = value.mean(3).reshape(2, -1)
    parts = [(each.var(axis=1, ddof=1) / each.shape[1]).sum() for each in (people, days, cells)]
    dfs = [2 * (each.shape[1] - 1) for each in (people, days, cells)]
    variance = max(parts[0] + parts[1] - parts[2], *parts[:2])
    df = variance**2 / sum(part**2 / df for part, df in zip(parts, dfs, strict=True))
    df = max(df, min(dfs))
    reach = stats.t.ppf(0.975, df) * sqrt(variance)
    assert pair.anyone.high - pair.difference == pytest.approx(reach)
    # these crews: only what days do about each person's own mean
    left = (value - value.mean((2, 3), keepdims=True)).mean((1, 3))
    crews = (left**2).sum() / 9**2 / (1 - 1 / 9)
    reach = stats.t.ppf(0.975, 2 * 8) * sqrt(crews)
    # neighbours may resemble each other by chance, which only widens it
    assert pair.crews.high - pair.difference >= reach * (1 - 1e-9)
    assert (pair.n_one, pair.n_other, pair.lots, pair.linking) == (108, 108, 1, 0)


def test_people_who_work_in_both_are_no_news():
    spread = (0.05, 0.005, 0.005, 0.01)
    _value, cafe, sums = balanced(np.random.default_rng(2), 6, 12, 2, spread, linked=True)
    linked = cafes_compared(cafe, sums, {0: 0.0, 1: 0.0}).pairs[0]
    _value, cafe, sums = balanced(np.random.default_rng(2), 6, 12, 2, spread)
    apart = cafes_compared(cafe, sums, {0: 0.0, 1: 0.0}).pairs[0]
    assert linked.linking == 6
    assert linked.anyone.high - linked.anyone.low < (apart.anyone.high - apart.anyone.low) / 5


@pytest.mark.parametrize("seed", range(3))
def test_difference_is_least_squares_of_brews(seed):
    rng = np.random.default_rng(seed)
    cafe, sums, _staff = company(rng, [{0, 1, 2}, {2, 3, 4, 5}], 15, (0.02, 0.0), lots=4)
    pair = cafes_compared(cafe, sums, {0: 0.01, 1: 0.02}).pairs[0]
    shared = np.isin(sums.lot, [lot for lot in range(4) if len(set(cafe[sums.lot == lot])) == 2])
    rows = np.repeat(np.flatnonzero(shared), sums.n[shared].astype(int))
    X = np.column_stack([cafe[rows] == 0, *(sums.lot[rows] == lot for lot in np.unique(sums.lot[rows]))])
    beta = np.linalg.lstsq(X.astype(float), sums.means[rows], rcond=None)[0]
    assert pair.difference == pytest.approx(beta[0])
    assert pair.n_one + pair.n_other == len(rows)
    assert pair.u_instruments == pytest.approx(sqrt(0.0005))


def test_order_and_names_do_not_matter():
    rng = np.random.default_rng(3)
    cafe, sums, _staff = company(rng, [range(3), range(3, 7), range(7, 9)], 12, (0.02, 0.0, 0.01))
    order = rng.permutation(len(sums))
    one = cafes_compared(cafe, sums, {0: 0.01, 1: 0.01, 2: 0.0}).pairs
    named = Sums.of(
        *(getattr(sums, key)[order] for key in ("who", "day", "n", "total", "squares")),
        lot=5 * sums.lot[order],
    )
    other = cafes_compared(10 * cafe[order] + 1, named, {1: 0.01, 11: 0.01, 21: 0.0}).pairs
    assert [(pair.one, pair.other) for pair in other] == [(1, 11), (1, 21), (11, 21)]
    for a, b in zip(one, other, strict=True):
        assert b.difference == pytest.approx(a.difference)
        assert b.crews.low == pytest.approx(a.crews.low)
        assert b.anyone.high == pytest.approx(a.anyone.high)


def test_the_instruments_own_error_is_added():
    cafe, sums, _staff = company(np.random.default_rng(4), [range(4), range(4, 8)], 20, (0.0, 0.0))
    exact = cafes_compared(cafe, sums, {0: 0.0, 1: 0.0}).pairs[0]
    known = cafes_compared(cafe, sums, {0: 0.02, 1: 0.02}).pairs[0]
    assert known.difference == exact.difference
    assert known.crews.high - known.crews.low > 2 * 1.96 * 0.02 * sqrt(2) - 1e-9
    assert known.crews.high > exact.crews.high


def test_what_cannot_be_compared():
    def one(cafe, lots, **kept):
        n = len(cafe)
        columns = (np.arange(n) % 3, np.arange(n), np.ones(n), np.full(n, 1.4), np.full(n, 1.96))
        return cafes_compared(cafe, Sums.of(*columns, lot=lots), {0: 0.0, 1: 0.0}, **kept)

    apart = one([0, 0, 1, 1], [1, 1, 2, 2]).pairs[0]
    assert (apart.difference, apart.crews, apart.is_seen) == (None, None, False)
    assert "No recipe and batch" in apart.reason
    single = one([0, 0, 0, 1], [1, 1, 1, 1]).pairs[0]
    assert "one day only" in single.reason
    untold = one([0] * 4 + [1] * 4, [1] * 8, cannot={1: "No check standard passed."}).pairs[0]
    assert untold.reason == "No check standard passed."
    assert one([0, 0], [1, 1]).pairs == ()
    assert "one café only" in one([0, 0], [1, 1]).notes[0]
    once = cafes_compared(
        [0, 0, 1, 1], Sums.of([1, 2, 3, 4], [1, 2, 1, 2], [2] * 4, [2.8] * 4, [3.92] * 4), {0: 0.0, 1: 0.0}
    ).pairs[0]
    assert "Nobody brewed" in once.reason
    with pytest.raises(ValueError, match="its café"):
        cafes_compared([0], Sums.of([1, 1], [1, 2], [1, 1], [1, 1], [1, 1]), {0: 0.0})
    with pytest.raises(ValueError, match="uncertainty"):
        cafes_compared([0, 1], Sums.of([1, 1], [1, 2], [1, 1], [1, 1], [1, 1]), {0: 0.0})


def test_few_people_and_no_scatter():
    rng = np.random.default_rng(5)
    cafe, sums, _staff = company(rng, [{0, 1}, {2, 3}], 15, (0.02, 0.0))
    few = cafes_compared(cafe, sums, {0: 0.0, 1: 0.0}).pairs[0]
    assert few.anyone is None
    assert few.crews is not None
    flat = Sums.of(np.tile(np.arange(6), 4), np.repeat([0, 1, 2, 3], 6), [1] * 24, [1.5] * 24, [2.25] * 24)
    none = cafes_compared(np.tile([0, 0, 0, 1, 1, 1], 4), flat, {0: 0.0, 1: 0.0}).pairs[0]
    assert none.difference == pytest.approx(0, abs=1e-12)
    assert none.crews.high - none.crews.low < 1e-9


def test_the_intervals_hold():
    # three standard errors of 60 draws below what the slow tests find
    held = pair_held(np.random.default_rng(6), [range(4), range(3, 7)], 20, 0.01, 60, cafes_compared)
    assert (held >= 0.83).all()


def test_crews_effect_is_what_the_difference_aims_at():
    rng = np.random.default_rng(7)
    cafe, sums, staff = company(rng, [range(4), range(4, 8)], 25, (0.0, 0.0), (0.05, 0.0, 0.0, 0.0), fill=0.7)
    pair = cafes_compared(cafe, sums, {0: 0.0, 1: 0.0}).pairs[0]
    assert pair.difference == pytest.approx(crews_effect(cafe, sums, staff))


@pytest.mark.slow
@pytest.mark.parametrize(
    "crews",
    [
        [{0, 1, 2}, {3, 4}],
        [range(4), range(4, 8)],
        [range(5), range(4, 8)],
        [range(5)] * 2,
        [range(8), range(8, 16)],
    ],
    ids=["3+2", "4+4", "5+4 one in both", "5 in both", "8+8"],
)
@pytest.mark.parametrize("days", [12, 26, 60])
@pytest.mark.parametrize("u", [0.0, 0.02])
def test_how_often_pairs_hold(crews, days, u):
    held = pair_held(np.random.default_rng(days), crews, days, u, 500, cafes_compared)
    print([len(crew) for crew in crews], days, u, held)
    # three standard errors of 500 draws below what the docstring of the module tells
    assert (held >= 0.88).all()


@pytest.mark.slow
@pytest.mark.parametrize(("cafes", "people"), [(5, 3), (8, 4), (12, 5)])
@pytest.mark.parametrize("spread", [0.0, 0.02, 0.04, 0.08])
def test_how_often_effects_hold(cafes, people, spread):
    held, seen = many_held(np.random.default_rng(cafes), cafes, people, spread, 200, cafes_compared)
    print(cafes, people, spread, held, seen)
    assert held >= 0.90
    if spread == 0:
        assert seen < 0.05
