"""Equipment as the pure package sees it: what is not known is open, or as usual."""

import pytest

from recipes.brewing.bed import Brewer, Shape
from recipes.brewing.slurry import cold_wall_J_K
from recipes.brewing.stream import Observation, fit_n
from tests import factories as make

POINTS = ((4, 95), (5, 118), (6, 140))


@pytest.fixture
def cafe(db):
    return make.cafe()


def test_a_cone_is_told_by_the_angle_between_its_walls(cafe):
    wide = make.brewer(cafe.company, shape="cone", wall_angle_deg="72.0").limits()
    assert (wide.shape, wide.half_angle_deg) == (Shape.CONE, 36)
    assert make.brewer(cafe.company, shape="cone").limits().half_angle_deg == Brewer().half_angle_deg


def test_a_wedge_counts_as_a_cone_and_the_others_by_their_diameter(cafe):
    assert make.brewer(cafe.company, shape="wedge").limits().shape is Shape.CONE
    flat = make.brewer(cafe.company, shape="flat", diameter_mm="82.5").limits()
    assert (flat.shape, flat.diameter_mm) == (Shape.FLAT, 82.5)


@pytest.mark.parametrize(("body", "cold"), [("ceramic", cold_wall_J_K()), ("metal", None), ("", None)])
def test_a_preheated_brewer_takes_no_heat_and_a_cold_one_by_what_it_is_made_of(cafe, body, cold):
    brewer = make.brewer(cafe.company, body=body)
    assert brewer.limits(preheated=True).heat_capacity_J_K == 0
    assert brewer.limits().heat_capacity_J_K == cold


def test_a_kettle_knows_what_was_measured_and_not_taken_back(cafe):
    kettle = make.kettle(cafe, spout_bore_mm="7.0")
    assert kettle.limits().growth is None
    for flow, height in POINTS:
        make.breakup_point(kettle, flow, height, temperature_C=93)
    slip = make.breakup_point(kettle, 5, 30, temperature_C=93)
    slip.taken_back_at, slip.taken_back_by = slip.measured_at, slip.measured_by
    slip.save(update_fields=["taken_back_at", "taken_back_by"])
    kettle = type(kettle).objects.get(pk=kettle.pk)
    seen = [Observation(flow, 93, height) for flow, height in POINTS]
    assert kettle.limits().growth == fit_n(reversed(seen), 7.0)
    assert kettle.limits().bore_mm == 7.0
