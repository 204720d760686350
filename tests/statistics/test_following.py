"""What each brew was less what everything else said it would be, against conditioning of one big covariance."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.statistics.crew_days import CrewDays
from calibration.statistics.following import FEWEST_EARLIER, follow, walk
from calibration.statistics.spreads import Spreads
from tests.statistics.dense_following import Case, errors

SPREADS = Spreads(0.03, 0.02, 0.015, 0.025)
CREW = ("Ada", "Bo", "Cy", "Di")


def drawn(seed, people=3, days=16, chance=0.7, twice=0.3):
    """People and days, row by row, and values with the spreads above."""
    rng = np.random.default_rng(seed)
    rows = [
        (CREW[p], d)
        for d in range(days)
        for p in range(people)
        if rng.random() < chance
        for _ in range(1 + (rng.random() < twice))
    ]
    who, when = [row[0] for row in rows], [row[1] for row in rows]
    staff = dict(zip(CREW, rng.normal(0, 0.03, 4), strict=True))
    cells = {row: rng.normal(0, 0.015) for row in rows}
    day = rng.normal(0, 0.02, days)
    values = [1.4 + staff[p] + day[d] + cells[p, d] + rng.normal(0, 0.025) for p, d in rows]
    return values, who, when


def followed(case):
    return follow(case.values, case.people, case.days, case.spreads, **case.arguments)


def same_as_dense(case):
    people, days = errors(case)
    found = followed(case)
    of = found.of_people
    assert set(zip(of.person, of.day, strict=True)) == set(people)
    assert set(found.of_days.day) == set(days)
    listed = [people[key] for key in zip(of.person, of.day, strict=True)]
    # priors of 9e4 times the variance of a brew cost digits, which days add up: still far below a reading of 0.01
    np.testing.assert_allclose(np.c_[of.error, of.se], np.reshape(listed, (-1, 2)), rtol=1e-4, atol=1e-6)
    np.testing.assert_allclose(of.z, of.error / of.se, rtol=1e-12)
    by_day = [days[day] for day in found.of_days.day]
    np.testing.assert_allclose(
        np.c_[found.of_days.error, found.of_days.se], np.reshape(by_day, (-1, 2)), rtol=1e-4, atol=1e-6
    )
    return found


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.integers(0, 10**6),
    st.integers(1, 4),
    st.sampled_from([0.4, 0.7, 1.0]),
    st.sampled_from([None, 0.0, 0.006]),
    st.sampled_from([None, 0.0, 0.015]),
    st.integers(1, 15),
    st.sampled_from(["plain", "steps", "moves", "leaves", "restarts", "both", "versions"]),
)
def test_as_one_big_covariance_conditioned_for_every_error(seed, people, chance, wander, own, at, what):
    values, who, when = drawn(seed, people, chance=chance)
    if not values:
        return
    case = Case(values, who, when, Spreads(0.03, 0.02, own, 0.025, wander))
    match what:
        case "steps":
            case.steps = [at, 12]
        case "moves":
            case.moves, case.steps = [at], [at, 3]
        case "leaves":
            case.leaves = {"Ada": at}
        case "restarts":
            case.restarts = {"Bo": at}
        case "both":
            case.leaves, case.restarts = {"Ada": at}, {"Ada": at + 3}
        case "versions":
            case.versions = ["B" if d > at or (d == at and i % 2) else "A" for i, d in enumerate(when)]
    same_as_dense(case)


def test_enough_of_them_are_compared():
    found = same_as_dense(Case(*drawn(1), SPREADS))
    assert len(found.of_people.z) > 12
    assert len(found.of_days.z) == 15
    assert found.of_people.others.max() == 2
    assert found.of_people.brews.max() == 2


def test_rows_in_any_order_and_their_place():
    values, who, when = drawn(2)
    order = np.random.default_rng(0).permutation(len(values))
    plain = follow(values, who, when, SPREADS)
    mixed = follow([values[i] for i in order], [who[i] for i in order], [when[i] for i in order], SPREADS)
    one, other = (
        {(p, d): z for p, d, z in zip(of.person, of.day, of.z, strict=True)}
        for of in (plain.of_people, mixed.of_people)
    )
    assert one == pytest.approx(other, abs=1e-3)
    np.testing.assert_allclose(plain.of_days.z, mixed.of_days.z, atol=1e-3)
    for of, place in ((plain.of_people, range(len(values))), (mixed.of_people, order)):
        for person, day, row in zip(of.person, of.day, of.row, strict=True):
            assert (who[place[row]], when[place[row]]) == (person, day)


def test_dates_are_days():
    values, who, when = drawn(3)
    dates = [date(2026, 2, 20) + timedelta(d) for d in when]
    numbered, dated = follow(values, who, when, SPREADS), follow(values, who, dates, SPREADS)
    np.testing.assert_array_equal(numbered.of_people.z, dated.of_people.z)
    assert dated.of_people.day[0] == date(2026, 2, 20) + timedelta(numbered.of_people.day[0])


@settings(max_examples=10, deadline=None, derandomize=True)
@given(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(-3, 3))
def test_neither_baselines_nor_the_level_nor_the_unit_matter(of_one, of_other, level):
    values, who, when = drawn(4)
    away = {"Ada": of_one, "Bo": of_other, "Cy": 0.0}
    moved = [level + value + away[person] for value, person in zip(values, who, strict=True)]
    plain = follow(values, who, when, SPREADS)
    other = follow(np.multiply(moved, 60.0), who, when, Spreads(None, 1.2, 0.9, 1.5))
    np.testing.assert_allclose(plain.of_people.z, other.of_people.z, atol=1e-3)
    np.testing.assert_allclose(plain.of_days.z, other.of_days.z, atol=1e-3)


def test_a_known_change_is_charged_to_days_and_not_to_people():
    values, who, when = drawn(5, chance=1.0)
    change = [value + 0.5 * (day >= 9) for value, day in zip(values, when, strict=True)]
    plain = follow(values, who, when, SPREADS, steps=[9])
    moved = follow(change, who, when, SPREADS, steps=[9])
    np.testing.assert_allclose(plain.of_people.z, moved.of_people.z, atol=1e-3)
    assert moved.of_days.z[moved.of_days.day.index(9)] > 10
    assert moved.of_days.z[moved.of_days.day.index(12)] > 10
    taken = follow(change, who, when, SPREADS, moves=[9])
    assert 9 not in taken.of_days.day
    assert np.abs(taken.of_days.z).max() < 4


def test_a_new_version_has_a_level_of_its_own():
    values, who, when = drawn(6, chance=1.0)
    later = [day >= 9 for day in when]
    versions = ["version 2" if late else "version 1" for late in later]
    plain = follow(values, who, when, SPREADS, versions=versions)
    other = follow(np.add(values, np.multiply(later, 0.7)), who, when, SPREADS, versions=versions)
    np.testing.assert_allclose(plain.of_people.z, other.of_people.z, atol=1e-3)
    np.testing.assert_allclose(plain.of_days.z, other.of_days.z, atol=1e-3)
    assert 9 not in other.of_days.day


def test_who_has_left_says_nothing_of_others():
    values, who, when = drawn(7, chance=1.0)
    wild = [v + 0.4 * (p == "Ada" and d >= 9) for v, p, d in zip(values, who, when, strict=True)]
    plain = follow(values, who, when, SPREADS, leaves={"Ada": 9})
    other = follow(wild, who, when, SPREADS, leaves={"Ada": 9})
    for person in ("Bo", "Cy"):
        np.testing.assert_array_equal(plain.of_people.of(person).z, other.of_people.of(person).z)
    ada = other.of_people.of("Ada")
    assert not ada.in_reference[np.array(ada.day) >= 9].any()
    np.testing.assert_allclose(ada.error[-1] - plain.of_people.of("Ada").error[-1], 0.4)
    back = follow(wild, who, when, SPREADS, leaves={"Ada": 9}, restarts={"Ada": [11]})
    ada = back.of_people.of("Ada")
    assert ada.in_reference[np.array(ada.day) > 11].all()
    assert np.abs(ada.z[np.array(ada.day) > 11]).max() < 4


def test_what_a_baseline_learns_of_a_lasting_shift():
    values, who, when = drawn(8, chance=1.0, twice=0.0)
    shift = [float(p == "Ada" and d >= 9) for p, d in zip(who, when, strict=True)]
    plain = follow(values, who, when, SPREADS).of_people.of("Ada")
    moved = follow(np.add(values, shift), who, when, SPREADS).of_people.of("Ada")
    since = np.array(plain.day) >= 9
    left = (moved.error - plain.error)[since]
    kept = np.concatenate(([1.0], np.cumprod(plain.keeps[since])[:-1]))
    assert left[0] == pytest.approx(1.0)
    np.testing.assert_allclose(left, kept, atol=0.06)


def test_several_series_at_once_are_each_as_alone():
    values, who, when = drawn(9)
    other = drawn(10)[0][: len(values)]
    other += values[len(other) :]
    together = walk(np.c_[values, other], CrewDays(len(values), who, when, None, None, None), SPREADS, (), ())
    np.testing.assert_allclose(
        together.of_people.z[:, 1], follow(other, who, when, SPREADS).of_people.z, atol=1e-6
    )
    np.testing.assert_allclose(
        together.of_days.z[:, 0], follow(values, who, when, SPREADS).of_days.z, atol=1e-6
    )


def test_where_baselines_end_up():
    values, who, when = drawn(11, days=60, chance=1.0)
    found = follow(values, who, when, SPREADS).baselines
    means = {p: np.mean([v for v, w in zip(values, who, strict=True) if w == p]) for p in CREW[:3]}
    for person, (mean, se, brews) in found.items():
        assert mean == pytest.approx(means[person] - np.mean(list(means.values())), abs=0.01)
        assert 0.002 < se < 0.008
        assert brews == who.count(person)


@pytest.mark.parametrize("people", [["Ada"] * 12, [CREW[d % 2] for d in range(12)]])
def test_who_brews_alone_is_compared_with_nobody(people):
    found = follow(np.linspace(1.3, 1.5, 12), people, range(12), SPREADS)
    assert len(found.of_people.z) == 0
    assert len(found.of_days.z) > 0


def test_nothing_is_said_of_few_brews():
    empty = follow([], [], [], SPREADS)
    assert empty.reason
    assert len(empty.of_people.of("Ada").z) == 0
    assert follow([1.4, 1.4], ["Ada", "Bo"], [1, 1], Spreads(None, None, None, None)).reason
    one = follow([1.4], ["Ada"], [1], SPREADS)
    assert len(one.of_people.z) == len(one.of_days.z) == 0
    same = follow([1.4] * 20, ["Ada", "Bo"] * 10, np.repeat(range(10), 2), SPREADS)
    np.testing.assert_allclose(same.of_people.z, 0, atol=1e-9)
    assert same.of_people.day[0] == FEWEST_EARLIER


@pytest.mark.parametrize(
    ("values", "people", "days", "said"),
    [
        ([1.4, float("nan")], ["Ada", "Bo"], [1, 1], "row 2"),
        ([1.4, 1.5], ["Ada"], [1, 1], "person"),
        ([1.4, 1.5], ["Ada", "Bo"], [1], "day"),
        ([1.4, 1.5], ["Ada", ""], [1, 1], "Row 2 has no person"),
    ],
)
def test_bad_rows_are_named(values, people, days, said):
    with pytest.raises(ValueError, match=said):
        follow(values, people, days, SPREADS)
