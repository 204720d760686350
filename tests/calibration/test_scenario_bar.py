"""What happened at the invented bars fits what is true of them."""

from collections import Counter
from datetime import date, timedelta

import numpy as np
import pytest
from django.utils import timezone

from calibration import demo_data, loading
from calibration.models import InstrumentCheck, Reading
from calibration.scenario import Scenario, build
from recipes import happenings
from recipes.models import BarEvent, BrewWater, GrinderMatch

TODAY = date(2026, 6, 17)


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return build(TODAY, np.random.default_rng(demo_data.SEED))


def test_a_check_standard_sees_the_gain_error_and_a_water_zero_does_not(scenario: Scenario) -> None:
    wrong = scenario.truth.gain_error
    off = [check for check in scenario.checks if abs(check.read_tds - check.expected_tds) > 0.035]
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
    assert meanwhile, "it was looked at on water while it read wrong"


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
    company = loading.load(scenario, timezone.now() + timedelta(days=4000))
    cafes = company.cafes.all()
    assert BarEvent.objects.count() == len(scenario.events)
    assert GrinderMatch.objects.count() == 1
    failed = InstrumentCheck.objects.filter(passed=False)
    assert [check.refractometer.name for check in failed] == ["Station refractometer"]
    in_use = BrewWater.objects.filter(in_use_since__isnull=False)
    assert {water.cafe for water in in_use} == set(cafes)
    for cafe in cafes:
        water = happenings.water_at(cafe, timezone.now())
        assert water in in_use
        assert not Reading.objects.filter(cafe=cafe).exclude(brew_water=water).exists()
