"""How far brews scatter, and whether the cup wanders, of simulated cafés whose spreads are known."""

import numpy as np
import pytest

from calibration.scenario.truth import Components
from calibration.statistics import variance
from calibration.statistics.spreads import moved, spreads_of
from tests.statistics.following_cafes import TRUE, attendance


def cafe(seed, added=None, days=140, **changed):
    rng = np.random.default_rng(seed)
    there = attendance(rng, days)
    brews = there.brews(rng, true=Components(**changed))[:, 0]
    if added is not None:
        brews = brews + added(rng, there.days)
    return brews, there.people, there.days


def wander(step):
    return lambda rng, days: np.cumsum(rng.normal(0, step, days.max() + 1))[days]


def batch(_rng, days):
    return 0.06 * (days >= 61)


def test_the_true_spreads_come_back_on_average():
    found = [spreads_of(*cafe(seed)) for seed in range(15)]
    for name in ("day", "staff_day", "brew"):
        sds = np.array([getattr(spreads, name) for spreads in found])
        assert abs(sds.mean() - getattr(TRUE, name)) < 3 * sds.std() / 15**0.5 + 0.0005
    assert np.mean([spreads.wander > 0 for spreads in found]) < 0.25


def test_a_cup_that_wanders_is_told_from_days_that_scatter():
    found = [spreads_of(*cafe(seed, wander(0.008))) for seed in range(12)]
    assert np.median([spreads.wander for spreads in found]) == pytest.approx(0.008, rel=0.5)
    assert np.median([spreads.day for spreads in found]) == pytest.approx(TRUE.day, rel=0.3)


def test_a_batch_that_nobody_named_is_neither_a_wander_nor_scatter():
    for seed in range(8):
        plain, other = spreads_of(*cafe(seed)), spreads_of(*cafe(seed, batch))
        assert other.wander == pytest.approx(plain.wander, abs=0.003)
        assert other.day == pytest.approx(plain.day, abs=0.003)
        assert other.brew == pytest.approx(plain.brew, rel=0.02)


def test_known_steps_and_versions_have_levels_of_their_own():
    brews, people, days = cafe(1)
    late = days >= 61
    plain = spreads_of(brews, people, days, steps=[61])
    moved_brews = brews + 0.5 * late
    assert spreads_of(moved_brews, people, days, steps=[61]).day == pytest.approx(plain.day, rel=1e-3)
    by_version = spreads_of(moved_brews, people, days, versions=np.where(late, "version 2", "version 1"))
    assert by_version.day == pytest.approx(plain.day, rel=0.02)


def test_changes_are_found_where_they_are():
    rng = np.random.default_rng(0)
    mean = rng.normal(0, 0.02, 90) + np.repeat([0.0, 0.1, -0.1], 30)
    new = np.zeros(90, dtype=bool)
    found = np.flatnonzero(moved(mean, np.full(90, 0.0002), new))
    assert len(found) == 2
    assert np.abs(found - [30, 60]).max() <= 2
    new[30] = True
    np.testing.assert_array_equal(np.flatnonzero(moved(mean, np.full(90, 0.0002), new))[:1], [30])
    quiet = [
        moved(rng.normal(0, 0.02, 90), np.full(90, 0.0), np.zeros(90, dtype=bool)).any() for _ in range(40)
    ]
    assert np.mean(quiet) < 0.2


def test_the_parts_are_those_of_the_fit():
    brews, people, days = cafe(2)
    fit = variance.fit(
        brews, {"staff": people, "day": days}, ("staff", "day", "staff:day"), intervals=False, residual="brew"
    )
    found = spreads_of(brews, people, days)
    assert found.staff == pytest.approx(fit.components["staff"].sd)
    assert found.staff_day == pytest.approx(fit.components["staff:day"].sd)
    assert found.brew == pytest.approx(fit.components["brew"].sd)


def test_without_repeats_a_persons_day_is_in_the_brew():
    brews, people, days = cafe(3)
    _cells, first = np.unique([f"{p} {d}" for p, d in zip(people, days, strict=True)], return_index=True)
    found = spreads_of(brews[first], [people[i] for i in first], days[first])
    assert found.staff_day is None
    assert found.brew == pytest.approx((TRUE.staff_day**2 + TRUE.brew**2) ** 0.5, rel=0.1)


def test_few_people_have_no_spread():
    brews, people, days = cafe(4)
    few = np.array([person in {"rhys", "ines", "jun", "kofi"} for person in people])
    found = spreads_of(brews[few], [p for p, kept in zip(people, few, strict=True) if kept], days[few])
    assert found.staff is None
    assert any("nobody's spread" in note for note in found.notes)
    assert found.brew == pytest.approx(TRUE.brew, rel=0.2)


@pytest.mark.parametrize("n", [0, 1, 2, 3])
def test_too_few_brews_have_no_spread_that_could_be_used(n):
    found = spreads_of([1.4, 1.42, 1.39][:n], ["Ada", "Bo", "Ada"][:n], [1, 1, 2][:n])
    assert found.staff is None
    assert not found.wander


def test_equal_brews_have_no_spread():
    found = spreads_of([1.4] * 40, ["Ada", "Bo"] * 20, np.repeat(range(20), 2))
    assert not found.brew


def test_bad_rows_are_named():
    with pytest.raises(ValueError, match="row 2"):
        spreads_of([1.4, float("inf"), 1.3], ["Ada", "Bo", "Cy"], [1, 2, 3])
