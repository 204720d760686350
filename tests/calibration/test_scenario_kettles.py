"""What was measured of the invented kettles fits what is true of them."""

from datetime import date, timedelta

import numpy as np
import pytest
from django.utils import timezone

from calibration import demo_data, loading
from calibration.scenario import Scenario, build
from recipes import measuring
from recipes.models import BreakupPoint, Kettle


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return build(date(2026, 6, 17), np.random.default_rng(demo_data.SEED))


def test_points_are_measured_by_the_rules(scenario: Scenario) -> None:
    flows = {kettle.key: (kettle.flow_min_g_s, kettle.flow_max_g_s) for kettle in scenario.kettles}
    for point in scenario.breakup_points:
        low, high = flows[point.kettle]
        assert low <= point.flow_g_s <= high
        assert point.height_mm <= measuring.MEASURING_ENDS_MM
        assert point.broke or point.height_mm == measuring.MEASURING_ENDS_MM
    of_one = [point.temperature_C for point in scenario.breakup_points if point.kettle == "heron"]
    assert of_one[0] < 30 < of_one[-2], "cold water comes first; the slip stands last"


@pytest.mark.django_db
def test_one_kettle_is_fitted_to_what_is_true_one_has_begun_and_the_rest_are_not_measured(
    scenario: Scenario,
) -> None:
    loading.load(scenario, timezone.now() + timedelta(days=4000), signals=False)
    assert BreakupPoint.objects.exclude(taken_back_at=None).count() == 1
    fits = {kettle.name: kettle.limits().growth for kettle in Kettle.objects.all()}
    heron, pelican = fits.pop("The Heron"), fits.pop("The Pelican")
    assert (heron.fitted, heron.broken, heron.whole) == (True, 4, 1)
    assert heron.low < scenario.truth.stream_n["heron"] < heron.high
    assert (pelican.fitted, pelican.points) == (False, 1)
    assert pelican.low < scenario.truth.stream_n["pelican"] < pelican.high
    assert set(fits.values()) == {None}
