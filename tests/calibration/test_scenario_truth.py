"""The readings come from the written truth, and plain estimators find it again."""

from datetime import date, timedelta

import numpy as np
import pytest

from calibration.scenario import Scenario, build
from calibration.scenario.rows import Reading
from calibration.scenario.truth import Components, draw_brew, draw_drop, draw_effects

# variance of a rectangular distribution as wide as one step of the display (JCGM 100:2008, 4.3.7)
ROUNDING = 0.01**2 / 12


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return build(date(2026, 6, 17), np.random.default_rng(1))


def standing(scenario: Scenario) -> list[Reading]:
    replaced = {r.corrects for r in scenario.readings}
    return [r for r in scenario.readings if not r.void and r.key not in replaced]


def test_components_are_those_of_the_specification(scenario: Scenario) -> None:
    assert scenario.truth.components == Components(
        staff=0.03, day=0.02, staff_day=0.015, brew=0.025, drop=0.01
    )


def test_analysis_of_variance_of_a_large_balanced_draw_finds_the_components() -> None:
    """Two crossed random factors, replicates, drops nested in brews: moment estimators from mean squares.

    Montgomery, Design and Analysis of Experiments, 8th ed., chapter 13, two-factor factorial with random
    factors; chapter from memory. With 200 levels the standard error of an SD is 5 % (1 / sqrt(2 x 199)):
    tolerance four of them for staff and day, 5 % for the others, whose degrees of freedom are about 40,000.
    """
    components, rng = Components(), np.random.default_rng(20)
    a = b = 200
    people = [f"p{i}" for i in range(a)]
    days = [date(2026, 1, 1) + timedelta(days=j) for j in range(b)]
    pairs = [(person, day) for person in people for day in days]
    effects = draw_effects(components, people, [("here", day) for day in days], pairs, rng)
    drops = np.empty((a, b, 2, 2))
    for i, person in enumerate(people):
        for j, day in enumerate(days):
            for k in range(2):
                cup = 1.4 + effects.of(person, "here", day) + draw_brew(components, rng)
                drops[i, j, k] = [draw_drop(cup, 1.0, components, rng) for _ in range(2)]

    brews = drops.mean(axis=3)
    cells, rows, columns, grand = (
        brews.mean(axis=2),
        brews.mean(axis=(1, 2)),
        brews.mean(axis=(0, 2)),
        brews.mean(),
    )
    ms_drop = drops.var(axis=3, ddof=1).mean()
    ms_brew = brews.var(axis=2, ddof=1).mean()
    ms_cell = 2 * ((cells - rows[:, None] - columns + grand) ** 2).sum() / ((a - 1) * (b - 1))
    ms_staff, ms_day = 2 * b * rows.var(ddof=1), 2 * a * columns.var(ddof=1)

    assert np.sqrt(ms_drop) == pytest.approx(np.sqrt(components.drop**2 + ROUNDING), rel=0.05)
    assert np.sqrt(ms_brew - ms_drop / 2) == pytest.approx(components.brew, rel=0.05)
    assert np.sqrt((ms_cell - ms_brew) / 2) == pytest.approx(components.staff_day, rel=0.05)
    assert np.sqrt((ms_staff - ms_cell) / (2 * b)) == pytest.approx(components.staff, rel=0.20)
    assert np.sqrt((ms_day - ms_cell) / (2 * a)) == pytest.approx(components.day, rel=0.20)


def test_pairs_brewed_twice_on_a_day_show_brew_and_drop(scenario: Scenario) -> None:
    """SD from n duplicates: s^2 = sum d^2 / 2n, as in ISO 5725-2 for two replicates (clause from memory).

    Its standard error is 6 % for 140 pairs, 2.4 % for 900; the tolerances are three of them or more.
    """
    components, mishaps = scenario.truth.components, {row.reading for row in scenario.truth.mishaps}
    rows = [r for r in standing(scenario) if r.key not in mishaps]
    firsts = {(r.barista, r.business_day, r.slot): r for r in reversed(rows) if r.attempt == "first"}
    pairs = [
        (r, firsts[r.barista, r.business_day, r.slot])
        for r in rows
        if r.attempt == "repeat" and (r.barista, r.business_day, r.slot) in firsts
    ]
    between = np.array([np.mean(r.drops_tds[:2]) - np.mean(other.drops_tds[:2]) for r, other in pairs])
    expected = np.sqrt(components.brew**2 + (components.drop**2 + ROUNDING) / 2)
    assert np.sqrt((between**2).mean() / 2) == pytest.approx(expected, rel=0.20)
    within = np.array([r.drops_tds[0] - r.drops_tds[1] for r in rows])
    assert np.sqrt((within**2).mean() / 2) == pytest.approx(np.sqrt(components.drop**2 + ROUNDING), rel=0.08)


def test_every_cup_is_the_sum_of_what_the_truth_says(scenario: Scenario) -> None:
    truth = scenario.truth
    slots = {row.key: row for row in scenario.slots}
    cards = {row.key: row for row in scenario.cards}
    cafes = {row.key: row.cafe for row in scenario.stations}
    batches = {row.key: row for row in scenario.batches}
    mishaps = {row.reading: row.tds for row in truth.mishaps}
    for r in scenario.readings:
        slot, batch = slots[r.slot], batches[r.roast_batch]
        cup = (
            truth.level_tds[slot.version]
            + truth.brew_tds[r.key]
            + mishaps.get(r.key.removesuffix("-typo"), 0.0)
        )
        cup += truth.effects.staff[r.barista] + truth.effects.staff_day[r.barista, r.business_day]
        cup += truth.effects.day[cafes[cards[slot.card].station], r.business_day]
        if r.barista == "rhys" and r.business_day > truth.drift.after:
            cup += 0.0015 * (r.business_day - truth.drift.after).days
        if batch.key in truth.batch_step.batches:
            cup += 0.06
        if batch.coffee == "plum":
            cup -= 0.004 * ((r.business_day - batch.roasted_on).days - 15)
        assert truth.cup_tds[r.key] == pytest.approx(cup, abs=1e-12)


def test_the_drift_begins_after_four_weeks(scenario: Scenario) -> None:
    drift = scenario.truth.drift
    assert (drift.after - scenario.first_day).days + 1 == 28
    assert drift.on(drift.person, scenario.today) == pytest.approx(0.0015 * 42)
    assert drift.on("kofi", scenario.today) == 0


def test_the_new_crop_is_brewed_on_both_sides_of_the_step(scenario: Scenario) -> None:
    step = scenario.truth.batch_step
    used = [
        r.roast_batch in step.batches for r in standing(scenario) if r.roast_batch.startswith(step.coffee)
    ]
    assert min(sum(used), len(used) - sum(used)) > 50


def test_one_refractometer_reads_high_for_one_week(scenario: Scenario) -> None:
    """0.04 % at 1.40 % TDS; 24 brews have a standard error of 0.0015, tolerance three of them."""
    error = scenario.truth.gain_error
    assert (error.last_day - error.first_day).days == 6
    off: dict[bool, list[float]] = {True: [], False: []}
    for r in standing(scenario):
        during = r.refractometer == error.instrument and error.first_day <= r.business_day <= error.last_day
        off[during].append(float(np.mean(r.drops_tds)) - scenario.truth.cup_tds[r.key])
    assert len(off[True]) > 12
    assert np.mean(off[True]) == pytest.approx(0.04, abs=0.0045)
    assert np.mean(off[False]) == pytest.approx(0.0, abs=0.001)


def test_the_ageing_coffee_loses_strength(scenario: Scenario) -> None:
    ageing = scenario.truth.ageing
    batches = {row.key: row for row in scenario.batches}
    ages = [
        (r.business_day - batches[r.roast_batch].roasted_on).days
        for r in standing(scenario)
        if "plum" in r.roast_batch
    ]
    assert len(ages) > 40
    assert min(ages) < 12
    assert max(ages) > 22
    assert ageing.of("plum", 25) - ageing.of("plum", 15) == pytest.approx(-0.04)


def test_masses_and_times_are_those_of_a_brew(scenario: Scenario) -> None:
    versions = {row.key: row for row in scenario.versions}
    slots = {row.key: row.version for row in scenario.slots}
    off_tds, off_time, retained, yields = [], [], [], []
    for r in standing(scenario):
        version = versions[slots[r.slot]]
        tds = float(np.mean(r.drops_tds))
        off_tds.append(tds - version.tds_target)
        off_time.append(r.brew_time_s - version.brew_time_s)
        if r.beverage_g is not None:
            retained.append((r.water_g + version.bypass_g - r.beverage_g * (1 - tds / 100)) / r.dose_g)
            yields.append(tds * r.beverage_g / r.dose_g)
    assert np.corrcoef(off_tds, off_time)[0, 1] > 0.4
    assert np.mean(retained) == pytest.approx(2.2, abs=0.02)
    assert min(retained) > 1.8
    assert max(retained) < 2.6
    assert min(yields) > 16
    assert max(yields) < 25
