"""How far people lie from the others of the same days: against least squares and against simulated crews."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.statistics.alongside import alongside
from calibration.statistics.spreads import Spreads

SD = Spreads(staff=0.03, day=0.02, staff_day=None, brew=0.025)


def by_least_squares(y, who, day, person):
    """Dummies for everybody and every day, and the contrast of one person with the mean of the others."""
    people, days = sorted(set(who)), sorted(set(day))
    X = np.array(
        [[*(w == p for p in people), *(d == t for t in days)] for w, d in zip(who, day, strict=True)], float
    )
    effects = np.linalg.lstsq(X, np.array(y), rcond=None)[0][: len(people)]
    i = people.index(person)
    return effects[i] - np.delete(effects, i).mean()


def ragged(rng, people=5, days=20):
    rows = [(p, d) for d in range(days) for p in range(people) if rng.random() < 0.6]
    who, day = zip(*rows, strict=True)
    return list(who), list(day)


def test_unshrunk_it_is_least_squares_of_people_and_days():
    rng = np.random.default_rng(2)
    who, day = ragged(rng)
    y = rng.normal(1.4, 0.05, len(who))
    for one in alongside(y, who, day, SD):
        assert one.raw == pytest.approx(by_least_squares(y, who, day, one.person), abs=1e-9)
        assert min(0.0, one.raw) <= one.estimate <= max(0.0, one.raw)
        assert one.low < one.estimate < one.high


def test_whatever_a_day_brought_to_all_is_nobodys():
    rng = np.random.default_rng(3)
    who, day = ragged(rng)
    y = rng.normal(1.4, 0.05, len(who))
    moved = y + 5.0 * np.array(day)
    for one, other in zip(alongside(y, who, day, SD), alongside(moved, who, day, SD), strict=True):
        assert other.estimate == pytest.approx(one.estimate, abs=1e-9)
        assert (other.low, other.high) == pytest.approx((one.low, one.high), abs=1e-7)


def test_limits_hold_as_often_as_they_say():
    """400 crews of 6 with 4 weeks each: 2,400 limits of 95 %; the binomial interval of 99.9 % is ±1.5 points, and
    limits of one crew are not quite independent."""
    rng = np.random.default_rng(4)
    held = []
    for _crew in range(400):
        who, day = ragged(rng, people=6, days=28)
        staff, days = rng.normal(0, 0.03, 6), rng.normal(0, 0.02, 28)
        y = [staff[p] + days[d] + rng.normal(0, 0.025) for p, d in zip(who, day, strict=True)]
        told = alongside(y, who, day, SD)
        for one in told:
            others = [staff[other.person] for other in told if other is not one]
            held.append(one.low <= staff[one.person] - np.mean(others) <= one.high)
    assert 0.93 <= np.mean(held) <= 0.97


def test_more_brews_of_a_day_are_worth_less_than_more_days_where_people_vary_by_day():
    y, day = [1.5, 1.4, 1.5, 1.4] * 4, [0, 0, 1, 1] * 4
    who = ["A", "B"] * 8
    steady = alongside(y, who, day, Spreads(0.03, 0.02, 0.0, 0.025))
    moody = alongside(y, who, day, Spreads(0.03, 0.02, 0.03, 0.025))
    assert moody[0].high - moody[0].low > steady[0].high - steady[0].low
    assert (steady[0].brews, steady[0].days, steady[0].others) == (8, 2, 1)


def test_who_was_always_alone_is_left_out():
    y, who, day = [1.4, 1.5, 1.9], ["A", "B", "C"], [0, 0, 1]
    assert [one.person for one in alongside(y, who, day, SD)] == ["A", "B"]


@pytest.mark.parametrize(
    ("y", "who", "day"),
    [([], [], []), ([1.4], ["A"], [0]), ([1.4, 1.5], ["A", "A"], [0, 1]), ([1.4, 1.5], ["A", "B"], [0, 1])],
)
def test_where_nobody_was_beside_anybody_nothing_is_said(y, who, day):
    assert alongside(y, who, day, SD) == ()


def test_without_a_spread_of_brews_nothing_is_said():
    assert alongside([1.4, 1.5], ["A", "B"], [0, 0], Spreads(None, None, None, None)) == ()


def test_two_pairs_that_never_met_are_not_compared_as_measured():
    y, who, day = [1.4, 1.5, 1.4, 1.6], ["A", "B", "C", "D"], [0, 0, 1, 1]
    assert [one.raw for one in alongside(y, who, day, SD)] == [None] * 4


def test_all_alike_lie_nowhere():
    for one in alongside([1.4] * 12, ["A", "B", "C"] * 4, [0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3], SD):
        assert one.estimate == pytest.approx(0.0, abs=1e-12)
        assert one.low == pytest.approx(-one.high, abs=1e-9)
