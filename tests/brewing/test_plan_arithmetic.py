from dataclasses import replace

import pytest

from recipes.brewing.plan import Pattern, Pour, PourPlan, added_g, brew_ratio, ends_at_s, gaps, timeline

PLAN = PourPlan(
    dose_g=15,
    water_g=250,
    water_temperature_C=93,
    at_the_boil=False,
    pours=(
        Pour(0, 40, Pattern.CIRCLE, 4, 80),
        Pour(45, 150, Pattern.CIRCLE, 5, 80),
        Pour(90, 250, Pattern.CENTRE, 5, 80),
    ),
)
EMPTY = Pour(None, None, Pattern.CIRCLE, None, None)


def with_pours(*pours):
    return replace(PLAN, pours=pours)


def test_what_each_pour_adds_and_when_it_ends():
    assert added_g(PLAN) == (40, 110, 100)
    assert ends_at_s(PLAN) == (10, 67, 110)
    assert gaps(PLAN) == (35, 23, None)
    assert brew_ratio(PLAN) == pytest.approx(250 / 15)


def test_timeline_has_a_corner_at_every_start_and_end():
    assert timeline(PLAN) == [(0, 0), (10, 40), (45, 40), (67, 150), (90, 150), (110, 250)]


def test_a_change_of_pattern_half_way_leaves_no_gap():
    plan = with_pours(Pour(0, 40, Pattern.CIRCLE, 4, 80), Pour(10, 250, Pattern.CENTRE, 5, 80))
    assert gaps(plan) == (0, None)
    assert timeline(plan) == [(0, 0), (10, 40), (52, 250)]


def test_a_late_first_pour_starts_flat():
    assert timeline(with_pours(Pour(5, 40, Pattern.CIRCLE, 4, 80))) == [(0, 0), (5, 0), (15, 40)]


def test_no_pours():
    plan = with_pours()
    assert (added_g(plan), ends_at_s(plan), gaps(plan), timeline(plan)) == ((), (), (), [(0, 0)])


def test_drafts_leave_open_what_is_open():
    first, second, third = PLAN.pours
    plan = with_pours(first, EMPTY, third)
    assert added_g(plan) == (40, None, None)
    assert ends_at_s(plan) == (10, None, None)
    assert gaps(plan) == (None, None, None)
    assert timeline(plan) == [(0, 0), (10, 40)]
    assert ends_at_s(with_pours(first, replace(second, flow_g_s=None), third)) == (10, None, 110)
    assert brew_ratio(replace(PLAN, dose_g=None)) is None
    assert brew_ratio(replace(PLAN, water_g=None)) is None


@pytest.mark.parametrize("flow", [0, -2])
def test_a_pour_without_flow_never_ends(flow):
    assert ends_at_s(with_pours(replace(PLAN.pours[0], flow_g_s=flow))) == (None,)


def test_a_dose_of_nothing_has_no_ratio():
    assert brew_ratio(replace(PLAN, dose_g=0)) is None
    assert brew_ratio(replace(PLAN, water_g=0)) == 0
