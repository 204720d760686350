"""The invented crews brew their café's check at every shift, or it is known why not."""

from collections import defaultdict
from datetime import date, timedelta

import numpy as np
import pytest

from calibration import demo_data
from calibration.scenario import Scenario, build
from calibration.scenario.rows import Reading

TODAY = date(2026, 6, 17)

Shift = tuple[str, date]


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return build(TODAY, np.random.default_rng(demo_data.SEED))


def recipe_of(scenario: Scenario) -> dict[str, tuple[str, str]]:
    """Café and recipe of each slot."""
    stations = {row.key: row.cafe for row in scenario.stations}
    cards = {row.key: (stations[row.station], row.recipe) for row in scenario.cards}
    return {row.key: cards[row.card] for row in scenario.slots}


def checks_of(scenario: Scenario) -> dict[Shift, list[Reading]]:
    """Check brews of the check recipe, whatever became of them, by who and when."""
    asked = {(plan.cafe, plan.recipe) for plan in scenario.check_plans}
    slots, found = recipe_of(scenario), defaultdict(list)
    for reading in scenario.readings:
        if reading.kind == "check" and slots[reading.slot] in asked:
            found[reading.barista, reading.business_day].append(reading)
    return found


def test_the_check_recipe_repeats_and_stood_on_the_board_all_the_time(scenario: Scenario) -> None:
    assert {plan.cafe for plan in scenario.check_plans} == {cafe.key for cafe in scenario.cafes}
    slots = recipe_of(scenario)
    versions = {row.key: row for row in scenario.versions}
    for plan in scenario.check_plans:
        stood = [row for row in scenario.slots if slots[row.key] == (plan.cafe, plan.recipe)]
        assert min(row.published_at for row in stood).date() <= scenario.first_day
        assert sum(row.withdrawn_at is None for row in stood) == 1
        patterns = {pour.pattern for row in stood for pour in versions[row.version].pours}
        assert not patterns & {"rise-and-fall", "wall"}


def test_whoever_signed_in_brewed_the_check_first_or_was_too_busy_or_missed_it(scenario: Scenario) -> None:
    brews: dict[Shift, list[Reading]] = defaultdict(list)
    for reading in scenario.readings:
        brews[reading.barista, reading.business_day].append(reading)
    on_duty = {(row.user, row.business_day): row for row in scenario.on_duty}
    assert len(on_duty) == len(scenario.on_duty)
    assert brews.keys() <= on_duty.keys()
    checks = checks_of(scenario)
    for shift, readings in brews.items():
        first = min(readings, key=lambda reading: reading.brewed_at)
        assert first in checks[shift]
        assert first.attempt == "first"
        assert on_duty[shift].since < first.brewed_at
    before_today = {shift: row for shift, row in on_duty.items() if row.business_day < TODAY}
    busy = {shift for shift, row in before_today.items() if row.too_busy_at}
    missed = before_today.keys() - brews.keys() - busy
    assert not busy & brews.keys()
    assert all(before_today[shift].too_busy_note for shift in busy)
    assert 3 <= len(busy) <= 25
    assert 3 <= len(missed) <= 25


def test_two_to_five_people_brew_the_same_recipe_on_nearly_every_day(scenario: Scenario) -> None:
    crews: dict[tuple[str, date], set[str]] = {
        (cafe.key, scenario.first_day + timedelta(days=n)): set()
        for cafe in scenario.cafes
        for n in range(69)
    }
    slots = recipe_of(scenario)
    for (person, day), readings in checks_of(scenario).items():
        if day < TODAY:
            crews[slots[readings[0].slot][0], day].add(person)
    sizes = [len(crew) for crew in crews.values()]
    assert max(sizes) <= 5
    assert sum(size >= 2 for size in sizes) > 0.97 * len(sizes)
    assert sum(size >= 3 for size in sizes) > 0.75 * len(sizes)


def test_who_brews_twice_was_drawn_before_and_stands_with_who_was_on(scenario: Scenario) -> None:
    checks = checks_of(scenario)
    for row in scenario.on_duty:
        assert row.asked_twice == ((row.user, row.business_day) in scenario.asked_twice)
        attempts = [reading.attempt for reading in checks[row.user, row.business_day]]
        if attempts and row.business_day < TODAY:
            assert ("repeat" in attempts) == row.asked_twice
    assert sum(row.asked_twice for row in scenario.on_duty) == pytest.approx(
        0.2 * len(scenario.on_duty), abs=3 * np.sqrt(0.16 * len(scenario.on_duty))
    )


def test_practice_is_mostly_that_of_whoever_is_in_training(scenario: Scenario) -> None:
    trainee = next(person.key for person in scenario.people if person.trainee)
    practised = [reading.barista for reading in scenario.readings if reading.kind == "practice"]
    assert 10 <= len(practised) <= 60
    assert all(practised.count(trainee) > practised.count(other) for other in {*practised} - {trainee})


def test_some_checks_were_cups_for_a_guest(scenario: Scenario) -> None:
    checks = [reading for readings in checks_of(scenario).values() for reading in readings]
    served = [reading for reading in scenario.readings if reading.was_served]
    assert all(reading in checks for reading in served)
    assert 0.05 < len(served) / len(checks) < 0.2


def test_this_morning_one_check_is_under_way_and_somebody_is_still_due(scenario: Scenario) -> None:
    (run,) = scenario.runs
    here = {row.user: row for row in scenario.on_duty if row.business_day == TODAY}
    checked = {person for person, day in checks_of(scenario) if day == TODAY}
    assert run.business_day == TODAY
    assert run.barista in here.keys() - checked
    assert here[run.barista].since < run.opened_at < run.poured_at
    assert len(here.keys() - checked) >= 2
