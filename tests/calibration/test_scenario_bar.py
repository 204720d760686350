"""What happened at the invented bars fits what is true of them."""

from collections import Counter
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from django.utils import timezone

from calibration import demo_data, loading
from calibration.models import InstrumentCheck, Reading
from calibration.scenario import Scenario, build
from calibration.scenario.rows import InstrumentCheck as InstrumentCheckRow
from recipes import happenings
from recipes.models import BarEvent, BrewWater, GrinderMatch

TODAY = date(2026, 6, 17)


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return build(TODAY, np.random.default_rng(demo_data.SEED))


def error(scenario: Scenario, check: InstrumentCheckRow) -> float:
    """Above what the instrument shows of water, or of a solution of that many degrees Brix, when it is right."""
    brix = 100 * check.sucrose_g / check.solution_g if check.sucrose_g and check.solution_g else 0.0
    return check.read_tds - brix * scenario.truth.shows_of_sucrose[check.refractometer]


def test_a_check_standard_sees_the_gain_error_and_a_water_zero_does_not(scenario: Scenario) -> None:
    wrong = scenario.truth.gain_error
    off = [check for check in scenario.checks if abs(error(scenario, check)) > 0.05]
    assert [(check.refractometer, check.kind, check.checked_at.date()) for check in off] == [
        (wrong.instrument, "standard", wrong.last_day)
    ]
    meanwhile = [
        check
        for check in scenario.checks
        if check.refractometer == wrong.instrument
        and check.kind == "zero"
        and wrong.first_day <= check.checked_at.date() <= wrong.last_day
    ]
    assert len(meanwhile) == 7, "it was looked at on water every morning while it read wrong"


def test_the_last_standard_before_the_wrong_week_was_right_and_so_was_the_next_after_it(
    scenario: Scenario,
) -> None:
    wrong = scenario.truth.gain_error
    days = [
        (check.checked_at.date() - wrong.first_day).days
        for check in scenario.checks
        if check.refractometer == wrong.instrument and check.kind == "standard"
    ]
    assert [day for day in days if -2 < day < 8] == [-1, 6, 7]


def test_water_is_read_on_nearly_every_morning_and_a_standard_every_week(scenario: Scenario) -> None:
    for instrument in scenario.refractometers:
        of_kind = {
            kind: [
                check.checked_at.date()
                for check in scenario.checks
                if (check.refractometer, check.kind) == (instrument.key, kind)
            ]
            for kind in ("zero", "standard")
        }
        assert 67 <= len(of_kind["zero"]) == len(set(of_kind["zero"])) <= 69
        days = of_kind["standard"]
        gaps = [(later - day).days for day, later in pairwise(days)]
        assert len(days) >= 10
        assert max(gaps) <= 7


def test_every_event_is_at_home_in_its_cafe_and_over_before_it_was_noted(scenario: Scenario) -> None:
    things = {row.key: row.cafe for row in (*scenario.kettles, *scenario.grinders, *scenario.waters)}
    for event in scenario.events:
        assert event.happened_at <= event.noted_at
        for name in ("kettle", "grinder", "brew_water"):
            if key := getattr(event, name):
                assert things[key] == event.cafe
        named = [name for name in BarEvent.THINGS if getattr(event, name, None)]
        assert "".join(named) in happenings.HAPPENS_TO[event.kind]
    assert Counter(event.cafe for event in scenario.events if event.kind == "water") == {
        cafe.key: 1 for cafe in scenario.cafes
    }


@pytest.mark.django_db
def test_the_demo_has_them_all(scenario: Scenario) -> None:
    company = loading.load(scenario, timezone.now() + timedelta(days=4000), signals=False)
    cafes = company.cafes.all()
    assert BarEvent.objects.count() == len(scenario.events)
    assert GrinderMatch.objects.count() == 1
    assert InstrumentCheck.objects.count() == len(scenario.checks)
    failed = InstrumentCheck.objects.filter(passed=False, unclear=False)
    assert [check.refractometer.name for check in failed] == ["Station refractometer"]
    in_use = BrewWater.objects.filter(in_use_since__isnull=False)
    assert {water.cafe for water in in_use} == set(cafes)
    for cafe in cafes:
        water = happenings.water_at(cafe, timezone.now())
        assert water in in_use
        assert not Reading.objects.filter(cafe=cafe).exclude(brew_water=water).exists()
