"""Precision of a process from its components: sums of them, what cannot be told, and how often the limits hold."""

from math import sqrt

import numpy as np
import pytest

from calibration.statistics.intermediate import pooled_drops, pooled_drops_of, process_precision
from calibration.statistics.sums import Sums, parted
from calibration.statistics.variance import within_brews


def brews(rng, people, days, sds, each=2):
    staff, day = rng.normal(0, sds[0], people), rng.normal(0, sds[1], days)
    both = rng.normal(0, sds[2], (people, days))
    who, when = (code.ravel() for code in np.meshgrid(np.arange(people), np.arange(days), indexing="ij"))
    who, when = np.repeat(who, each), np.repeat(when, each)
    value = 1.4 + staff[who] + day[when] + both[who, when] + rng.normal(0, sds[3], len(who))
    return who, when, value


def fitted(who, when, value):
    sums = Sums.of(who, when, np.ones(len(who)), value, value**2).by("who", "day")
    return parted(sums, intervals=True)


def test_adds_up():
    fit = fitted(*brews(np.random.default_rng(1), 7, 12, (0.03, 0.02, 0.015, 0.025)))
    found = process_precision(fit)
    size = {name: part.variance for name, part in fit.components.items()}
    same = size["day"] + size["staff:day"] + size["brew"]
    assert found.same_hands.sd == pytest.approx(sqrt(same))
    assert found.any_hands.sd == pytest.approx(sqrt(same + size["staff"]))
    assert found.any_hands.limit == pytest.approx(2.8 * sqrt(same + size["staff"]))
    for spread in (found.same_hands, found.any_hands):
        assert spread.low < spread.sd < spread.high
    assert (found.drops.sd, found.drops.reason) == (None, "No drops were saved one by one.")


def test_few_people_and_one_day():
    few = process_precision(fitted(*brews(np.random.default_rng(2), 4, 12, (0.03, 0.02, 0.015, 0.025))))
    assert few.any_hands.sd is None
    assert few.any_hands.limit is None
    assert "fewer than 5 people" in few.any_hands.reason
    assert few.same_hands.sd is not None
    one_day = process_precision(fitted(*brews(np.random.default_rng(3), 6, 1, (0.03, 0.02, 0.015, 0.025))))
    assert one_day.same_hands.sd is None
    assert one_day.same_hands.reason


def test_one_brew_a_day_joins_what_cannot_be_told_apart():
    found = process_precision(
        fitted(*brews(np.random.default_rng(4), 6, 15, (0.03, 0.02, 0.015, 0.025), each=1))
    )
    assert found.same_hands.sd is not None
    assert "one here" in found.notes[0]


def test_people_who_never_share_a_day_cannot_be_told_from_days():
    rng = np.random.default_rng(5)
    # six people, one day each
    who = np.repeat(np.arange(6), 4)
    value = 1.4 + rng.normal(0, 0.03, 6)[who] + rng.normal(0, 0.02, 24)
    found = process_precision(fitted(who, who + 10, value))
    assert found.same_hands.sd is None
    assert "cannot be told apart" in found.same_hands.reason
    assert found.any_hands.sd is not None


def test_nothing_scatters():
    found = process_precision(fitted(*brews(np.random.default_rng(6), 6, 5, (0.0, 0.0, 0.0, 0.0))))
    assert found.any_hands.sd == 0
    assert found.any_hands.high is None


def test_drops_however_they_come():
    rng = np.random.default_rng(7)
    brew = np.repeat(np.arange(30), rng.integers(1, 4, 30))
    drop = np.round(1.4 + rng.normal(0, 0.05, 30)[brew] + rng.normal(0, 0.01, len(brew)), 2)
    one = within_brews(drop, brew)
    m, total, squares = (np.bincount(brew, w) for w in (np.ones(len(brew)), drop, drop**2))
    other = pooled_drops_of(m, total, squares)
    assert other.sd == pytest.approx(one.sd)
    assert (other.df, other.brews) == (one.df, one.brews)
    third = pooled_drops(one.df, one.variance * one.df, one.brews)
    assert third.sd == pytest.approx(one.sd)
    found = process_precision(fitted(*brews(rng, 6, 10, (0.03, 0.02, 0.015, 0.025))), other).drops
    assert found.low < found.sd < found.high


def test_drops_without_a_second_one_or_without_scatter():
    assert pooled_drops_of([1, 1], [1.4, 1.5], [1.96, 2.25]).reason
    equal = pooled_drops_of([2, 2], [2.8, 3.0], [2 * 1.4**2, 4.5])
    assert equal.sd == 0
    with pytest.raises(ValueError, match="Brew 2 has no drops"):
        pooled_drops_of([2, 0], [1, 1], [1, 1])
    with pytest.raises(ValueError, match="Every brew needs"):
        pooled_drops_of([2, 2], [1], [1, 1])


@pytest.mark.slow
@pytest.mark.parametrize("people", [5, 9, 15])
@pytest.mark.parametrize("days", [12, 26])
@pytest.mark.parametrize(
    "sds", [(0.03, 0.02, 0.015, 0.025), (0.01, 0.03, 0.0, 0.025), (0.03, 0.0, 0.015, 0.02)]
)
def test_how_often_the_limits_hold(people, days, sds):
    rng = np.random.default_rng([people, days, *(round(1000 * sd) for sd in sds)])
    held = np.zeros(2)
    for _ in range(60):
        found = process_precision(fitted(*brews(rng, people, days, sds)))
        for place, (spread, parts) in enumerate(((found.same_hands, sds[1:]), (found.any_hands, sds))):
            held[place] += spread.low <= sqrt(sum(sd**2 for sd in parts)) <= spread.high
    print(f"{people} people, {days} days, {sds}: {held / 60}")
    # three standard errors of 60 draws below what the docstring of the module tells
    assert (held / 60 >= 0.75).all()
