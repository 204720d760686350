"""Day effects in closed form and beside least squares on the brews themselves; ageing; what days usually do."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.statistics.between import DayEffects, ageing, day_effects, without_ageing
from calibration.statistics.sums import Noise, Sums
from calibration.statistics.usual_days import FEWEST_DAYS, SURE, usual

DAY = 739_000
NOISE = Noise(0.0004, 0.0009, joined=False, df=100)


def added_up(who, day, y, lot=None):
    lot = np.zeros(len(y), int) if lot is None else lot
    groups = sorted(set(zip(who.tolist(), day.tolist(), lot.tolist(), strict=True)))
    masks = [(who == w) & (day == d) & (lot == b) for w, d, b in groups]
    columns = zip(*groups, strict=True)
    whose, when, lots = (np.array(column) for column in columns)
    return Sums.of(
        whose, when, [m.sum() for m in masks], [y[m].sum() for m in masks], [(y[m] ** 2).sum() for m in masks],
        lot=lots,
    )  # fmt: skip


def test_balanced_days_are_their_means():
    rng = np.random.default_rng(1)
    who, day = (each.ravel() for each in np.meshgrid(np.arange(4), DAY + np.arange(6)))
    y = rng.normal(1.4, 0.05, len(who))
    found = day_effects(added_up(who, day, y), NOISE, 0.03)
    means = np.array([y[day == t].mean() for t in found.day])
    assert found.values == pytest.approx(means)
    assert found.level == pytest.approx(y.mean())
    # v/k of each mean, less what the mean of all takes off: Searle, Casella and McCulloch 1992, 3.2
    assert found.se == pytest.approx(np.full(6, sqrt(0.0013 / 4 * (1 - 1 / 6))))
    assert found.people.tolist() == [4] * 6


@given(st.integers(0, 10**6), st.integers(1, 5), st.integers(2, 6), st.booleans())
@settings(max_examples=40, deadline=None, derandomize=True)
def test_the_same_from_sums_as_by_the_whole_covariance_of_the_brews(seed, staff, days, known):
    rng = np.random.default_rng(seed)
    n = 30
    who, day = rng.integers(0, staff, n), DAY + rng.integers(0, days, n)
    y = rng.normal(1.4, 0.05, n)
    found = day_effects(added_up(who, day, y), NOISE, 0.05 if known else None)
    cell = who * 100_000_000 + day
    people = 0.05**2 if known else 900 * NOISE.of_cells(np.ones(1))[0]
    V = 0.0009 * np.eye(n) + 0.0004 * (cell[:, None] == cell) + people * (who[:, None] == who)
    X = (day[:, None] == found.day).astype(float)
    inverse = np.linalg.inv(V)
    covariance = np.linalg.inv(X.T @ inverse @ X)
    d = covariance @ X.T @ inverse @ y
    contrast = np.eye(len(d)) - 1 / len(d)
    close = {"abs": 1e-6} if known else {"abs": 3e-3}
    assert found.effect == pytest.approx(contrast @ d, **close)
    if known:
        assert found.se == pytest.approx(np.sqrt((contrast @ covariance @ contrast).diagonal()), abs=1e-6)


def test_a_day_is_not_charged_with_who_was_on():
    """The strong brewer is on every second day alone: days are level."""
    day = np.repeat(DAY + np.arange(10), 4)
    who = np.where(np.arange(40) % 8 < 4, np.arange(40) % 2, np.arange(40) % 4)
    y = 1.4 + 0.1 * (who == 0)
    found = day_effects(added_up(who, day, y), NOISE, None)
    assert np.abs(found.effect).max() < 2e-3


def test_one_barista_and_one_day():
    alone = added_up(np.zeros(6, int), DAY + np.arange(6) // 2, np.array([1.4, 1.4, 1.5, 1.5, 1.3, 1.3]))
    found = day_effects(alone, NOISE, None)
    assert found.values == pytest.approx([1.4, 1.5, 1.3])
    single = day_effects(added_up(np.arange(3), np.full(3, DAY), np.array([1.3, 1.4, 1.5])), NOISE, 0.05)
    assert single.values == pytest.approx([1.4])
    assert "from 8 days on" in usual(single).reason


def ageing_bar(slope, seed=4, lots=3):
    rng = np.random.default_rng(seed)
    day = np.repeat(DAY + np.arange(30), 3)
    lot = 7 + (day - DAY) // (30 // lots)
    roasted = {7 + i: DAY + 30 // lots * i - 8 for i in range(lots)}
    who = np.tile(np.arange(3), 30)
    age = day - np.array([roasted[one] for one in lot.tolist()])
    y = 1.4 + 0.05 * (lot - 7) + slope * age + rng.normal(0, 0.01, len(day))
    return added_up(who, day, y, lot), roasted


def test_ageing_is_read_within_lots_and_taken_out():
    sums, roasted = ageing_bar(-0.004)
    noise = Noise(0, 0.0001, joined=False, df=50)
    found = ageing(sums, roasted, noise, 0.01)
    assert found.low < -0.004 < found.high
    assert found.is_seen
    assert (found.days, found.lots, found.youngest, found.oldest) == (30, 3, 8, 17)
    left = ageing(without_ageing(sums, roasted, found.slope), roasted, noise, 0.01)
    assert left.slope == pytest.approx(0, abs=1e-9)
    assert without_ageing(sums, roasted, -0.004).total.sum() == pytest.approx(sums.total.sum())


def test_no_ageing_where_nothing_is_known_or_too_little():
    sums, roasted = ageing_bar(0)
    assert not ageing(sums, roasted, NOISE, 0.01).is_seen
    assert "roasted" in ageing(sums, {}, NOISE, 0.01).reason
    assert without_ageing(sums, {}, 1.0) is sums
    one_day = sums.only(sums.day == DAY)
    assert "Too few days" in ageing(one_day, roasted, NOISE, 0.01).reason


def days_like(y, se=0.01, gap=1):
    n = len(y)
    return DayEffects(
        DAY + gap * np.arange(n), y - y.mean(), np.broadcast_to(se, n).astype(float), np.full(n, 3.0),
        np.full(n, 3), float(y.mean()),
    )  # fmt: skip


def wander(rng, n, alike, sd):
    y = [rng.normal(0, sd)]
    for _each in range(n - 1):
        y.append(alike * y[-1] + rng.normal(0, sd * sqrt(1 - alike**2)))
    return np.array(y)


def test_one_day_that_is_off_stands_out_and_does_not_widen_what_is_usual():
    rng = np.random.default_rng(3)
    y = rng.normal(0, 0.03, 30)
    before = usual(days_like(y))
    y[20] += 0.25
    after = usual(days_like(y))
    assert np.flatnonzero(after.outside).tolist() == [20]
    assert after.sd == pytest.approx(before.sd, rel=0.25)


def test_a_day_with_few_brews_has_wider_limits():
    rng = np.random.default_rng(3)
    se = np.full(30, 0.01)
    se[5] = 0.08
    found = usual(days_like(rng.normal(0, 0.03, 30), se))
    width = found.high - found.low
    assert width[5] > 1.5 * width[6]


def test_a_step_is_said_and_days_after_it_are_not_all_outside():
    rng = np.random.default_rng(5)
    y = rng.normal(0, 0.02, 30)
    y[18:] += 0.12
    found = usual(days_like(y))
    assert found.step.sure
    assert found.step.first <= DAY + 18 <= found.step.last
    assert found.step.low < 0.12 < found.step.high
    assert not found.outside.any()


def test_too_few_days_and_days_that_are_all_the_same():
    few = usual(days_like(np.zeros(FEWEST_DAYS - 1)))
    assert "from 8 days on" in few.reason
    assert np.isnan(few.low).all()
    flat = usual(days_like(np.zeros(12), se=0.0))
    assert flat.step is None
    assert not flat.outside.any()


@pytest.mark.parametrize("alike", [0.0, 0.8])
def test_usual_days_are_rarely_called_unusual(alike):
    """40 spans of 40 days without any change. Three standard deviations: 0.27 % of days; here up to 1 %."""
    rng = np.random.default_rng(11)
    spans = [usual(days_like(wander(rng, 40, alike, 0.03) + rng.normal(0, 0.01, 40))) for _each in range(40)]
    assert np.mean([one.outside.mean() for one in spans]) < 0.01
    assert np.mean([one.step.sure for one in spans]) < 0.15


@pytest.mark.slow
@pytest.mark.parametrize("alike", [0.0, 0.5, 0.9])
@pytest.mark.parametrize("days", [28, 90])
def test_how_rarely_a_span_without_a_step_is_said_to_have_one(days, alike):
    rng = np.random.default_rng(days)
    gains = np.array(
        [
            usual(days_like(wander(rng, days, alike, 0.03) + rng.normal(0, 0.015, days), 0.015)).step.gain
            for _each in range(400)
        ]
    )
    assert (gains > SURE).mean() < 0.09


def test_a_step_that_may_be_is_no_reason_for_limits_that_hold_whatever_there_is():
    """Nineteen days, the later half higher, are hardly told from days that resemble their neighbours."""
    rng = np.random.default_rng(6)
    y = rng.normal(0, 0.02, 19)
    y[9:] += 0.055
    found = usual(days_like(y, 0.015))
    assert found.step.may_be(smallest=0.03)
    assert not found.step.may_be(smallest=0.2)
    assert not found.step.sure
    assert DAY + 8 <= found.step.day <= DAY + 10
    assert (found.high - found.low).max() < 11 * y.std()
