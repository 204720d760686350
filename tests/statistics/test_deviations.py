"""Deviations from the others, beside a slow version that goes through the brews one by one, and in closed form."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.statistics.deviations import (
    FEWEST_BREWS,
    FEWEST_FOR_OWN_SD,
    Deviations,
    Standing,
    between_staff,
    box_of,
    compared,
    from_others,
    over_time,
)
from calibration.statistics.sums import Noise, Sums, at_one_level, noise_of, parted

DAY = 739_000


def sums_of(rows):
    """rows: (who, day, value) or (who, day, value, recipe)."""
    rows = [(*row, 0)[:4] for row in rows]
    groups = sorted({(who, day, recipe) for who, day, _y, recipe in rows})
    of = [[y for w, d, y, r in rows if (w, d, r) == group] for group in groups]
    who, day, recipe = zip(*groups, strict=True) if groups else ((), (), ())
    return Sums.of(
        who, day, [len(v) for v in of], [sum(v) for v in of], [sum(y * y for y in v) for v in of], recipe
    )


def balanced(staff=6, days=10, repeats=2, seed=3):
    rng = np.random.default_rng(seed)
    a, d = rng.normal(0, 0.05, staff), rng.normal(0, 0.03, days)
    return [
        (i, DAY + t, 1.4 + a[i] + d[t] + rng.normal(0, 0.02))
        for i in range(staff)
        for t in range(days)
        for _again in range(repeats)
    ]


def slowly(rows, staff_day, brew):
    """Each person's deviation on each day, from the brews themselves."""
    found = {}
    for who, day, recipe in {(w, d, r) for w, d, _y, r in rows}:
        own = [y for w, d, y, r in rows if (w, d, r) == (who, day, recipe)]
        others = {
            w: [y for x, d, y, r in rows if (x, d, r) == (w, day, recipe)]
            for w, d, _y, r in rows
            if (d, r) == (day, recipe) and w != who
        }
        if not others:
            continue
        weights = {w: 1 / (staff_day + brew / len(ys)) for w, ys in others.items()}
        mean = sum(weights[w] * sum(ys) / len(ys) for w, ys in others.items()) / sum(weights.values())
        found[who, day, recipe] = (
            sum(own) / len(own) - mean,
            staff_day + brew / len(own) + 1 / sum(weights.values()),
            len(others),
        )
    return found


@given(st.integers(0, 10**6), st.integers(1, 6), st.integers(1, 6), st.integers(1, 40))
@settings(max_examples=40, deadline=None, derandomize=True)
def test_the_same_from_sums_as_from_brews(seed, staff, days, brews):
    rng = np.random.default_rng(seed)
    rows = [
        (int(rng.integers(staff)), DAY + int(rng.integers(days)), rng.normal(1.4, 0.1), int(rng.integers(2)))
        for _each in range(brews)
    ]
    found = from_others(sums_of(rows), Noise(0.0004, 0.0009, joined=False, df=50))
    expected = slowly(rows, 0.0004, 0.0009)
    keys = list(zip(found.who.tolist(), found.day.tolist(), found.recipe.tolist(), strict=True))
    assert set(keys) == set(expected)
    for i, key in enumerate(keys):
        deviation, spread, others = expected[key]
        assert found.deviation[i] == pytest.approx(deviation, abs=1e-9)
        assert found.variance[i] == pytest.approx(spread)
        assert found.others[i] == others


def test_balanced_days_have_a_closed_form():
    """With k people alike, a person's raw deviation is k/(k - 1) of that from the mean of all, and the prediction is
    that from the mean, shrunk by the spread of people over that of their means (Henderson 1975)."""
    rows = balanced()
    crew = between_staff(sums_of(rows))
    mean = np.mean([y for _w, _d, y in rows])
    own = {i: np.mean([y for w, _d, y in rows if w == i]) - mean for i in range(6)}
    fit = crew.fit
    a2 = fit.components["staff"].variance
    of_mean = a2 + crew.noise.staff_day / 10 + crew.noise.brew / 20
    for one in crew.standings:
        assert one.raw == pytest.approx(6 / 5 * own[one.who])
        assert one.raw_se == pytest.approx(sqrt(6 / 5 * (of_mean - a2)))
        assert one.estimate == pytest.approx(a2 / of_mean * own[one.who], rel=1e-6)
        assert (one.brews, one.days, one.alone) == (20, 10, 0)
        assert one.low < one.estimate < one.high
    estimates = [one.estimate for one in crew.standings]
    assert estimates == sorted(estimates, reverse=True)


def test_with_four_people_nothing_is_shrunk_and_it_is_said():
    crew = between_staff(sums_of(balanced(staff=4)))
    assert not crew.shrunk
    assert crew.staff_sd is None
    assert all(one.estimate is None and one.best == one.raw for one in crew.standings)
    assert "fewer than 5 people" in crew.notes[0]


def test_a_day_with_one_brewer_says_nothing():
    rows = [*balanced(staff=5), *((0, DAY + 50 + t, 9.9) for t in range(5))]
    with_lonely, without = between_staff(sums_of(rows)), between_staff(sums_of(balanced(staff=5)))
    for one, other in zip(with_lonely.standings, without.standings, strict=True):
        assert one.estimate == pytest.approx(other.estimate)
        assert one.alone == (5 if one.who == 0 else 0)
    assert len(compared(sums_of(rows)).days) == 10


def test_another_recipe_is_another_day():
    rows = [(0, DAY, 1.4, 1), (1, DAY, 1.5, 2)]
    crew = between_staff(sums_of(rows))
    assert crew.deviations is None
    assert all(one.too_few and one.alone == 1 for one in crew.standings)
    assert "nobody can be compared" in crew.notes[0]
    assert between_staff(sums_of([])).standings == ()


def test_few_brews_are_too_few_to_say():
    rows = [*balanced(), *((99, DAY + t, 2.4) for t in range(FEWEST_BREWS - 1))]
    crew = between_staff(sums_of(rows))
    assert crew.standings[-1].who == 99
    assert crew.standings[-1].side(0.05) == "few"


def test_brews_that_never_differ_put_nobody_off():
    crew = between_staff(sums_of([(i, DAY + t, 1.4) for i in range(5) for t in range(6) for _ in range(2)]))
    assert all(one.raw == pytest.approx(0, abs=1e-12) for one in crew.standings)
    assert {one.side(0.05) for one in crew.standings} <= {"inside", "few"}


@pytest.mark.parametrize(
    ("low", "high", "smallest", "side"),
    [
        (0.06, 0.1, 0.05, "high"),
        (-0.1, -0.06, 0.05, "low"),
        (-0.04, 0.04, 0.05, "inside"),
        (0.01, 0.09, 0.05, "close"),
        (0.01, 0.09, None, "none"),
    ],
)
def test_off_is_a_whole_interval_beyond_what_matters(low, high, smallest, side):
    assert Standing(1, 9, 9, 0, 0.0, 0.1, -1, 1, (low + high) / 2, low, high).side(smallest) == side


def test_recipes_are_brought_to_one_level():
    rng = np.random.default_rng(1)
    rows = [
        (i, DAY + t, 1.4 + 0.3 * r + rng.normal(0, 0.01), r)
        for i in range(5)
        for t in range(8)
        for r in (0, 1)
    ]
    sums = sums_of(rows)
    level = at_one_level(sums, parted(sums))
    assert len(level) == 40
    assert level.brews == 80
    assert np.ptp(level.means) < 0.06
    assert level.means.mean() == pytest.approx(1.55, abs=0.005)


def test_what_is_left_to_brews_is_measured_with_so_many_degrees():
    sums = sums_of(balanced())
    noise = noise_of(parted(sums), sums)
    assert not noise.joined
    assert noise.df == 60
    once = sums_of(balanced(repeats=1))
    assert noise_of(parted(once), once).joined


def test_an_average_over_time_by_its_recursion():
    n = 12
    d = np.linspace(-0.02, 0.05, n)
    own = Deviations(
        np.zeros(n, int),
        DAY + np.arange(n),
        np.zeros(n, int),
        d,
        np.full(n, 0.0009),
        np.full(n, 3),
        np.ones(n),
    )
    found = over_time(own, 0.2)
    z = baseline = d.mean()
    for t in range(n):
        z = 0.2 * d[t] + 0.8 * z
        assert found.z[t] == pytest.approx(z)
    # Roberts 1959: λ/(2 - λ)·(1 - (1 - λ)^2t) of the variance of one
    v = 0.0009 * (0.2 / 1.8 * (1 - 0.8 ** (2 * n)) + 1 / n)
    assert found.high[-1] - baseline == pytest.approx(3 * sqrt(v))
    assert not found.own_sd
    assert over_time(own.of(5)) is None


def test_own_scatter_counts_only_from_so_many_brews():
    def limits(n):
        rng = np.random.default_rng(0)
        own = Deviations(
            np.zeros(n, int), DAY + np.arange(n), np.zeros(n, int), rng.normal(0, 0.06, n), np.full(n, 0.0009),
            np.full(n, 3), np.ones(n),
        )  # fmt: skip
        return over_time(own)

    assert not limits(FEWEST_FOR_OWN_SD - 1).own_sd
    wide = limits(FEWEST_FOR_OWN_SD)
    assert wide.own_sd
    assert wide.high[-1] - wide.baseline > 1.5 * (
        limits(FEWEST_FOR_OWN_SD - 1).high[-1] - limits(49).baseline
    )


def test_a_box_from_sums_is_the_normal_one():
    y = np.random.default_rng(2).normal(1.4, 0.1, 400)
    low, high = box_of(len(y), y.sum(), (y * y).sum())
    # 1.2816: NIST/SEMATECH e-Handbook 1.3.6.7.1, standard normal table, 0.90
    assert high - low == pytest.approx(2 * 1.2816 * y.std(ddof=1), rel=1e-4)
    assert box_of(1, 1.4, 1.96) is None


def test_columns_of_several_lengths_and_empty_groups_are_refused():
    with pytest.raises(ValueError, match="Every group needs"):
        Sums.of([1], [DAY], [1], [1.4, 1.5], [2.0])
    with pytest.raises(ValueError, match="Group 1 has no values"):
        Sums.of([1], [DAY], [0], [0.0], [0.0])
