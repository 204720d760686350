"""A plan for other cups: masses by one factor, sums exact, times only where a pour would run into the next.

That brew time and bed depth do not follow the cups is common practice, no source.
"""

from dataclasses import replace
from itertools import pairwise, product

import pytest

from recipes.brewing.plan import (
    Brewer,
    Kettle,
    Pattern,
    Pour,
    PourPlan,
    Severity,
    added_g,
    ends_at_s,
    review,
    scale,
)
from recipes.brewing.scaling import what_does_not_scale


def a_pour(starts_at_s, to_g, flow_g_s=5.0, **more):
    return Pour(starts_at_s, to_g, Pattern.CIRCLE, flow_g_s, 60.0, **more)


# 15 g to 250 g, a bloom and two equal pours: the usual trial (common practice, no source).
USUAL = PourPlan(
    15.0,
    250.0,
    93.0,
    False,
    (a_pour(0, 50), a_pour(40, 150), a_pour(80, 250)),
    tds_target=1.4,
    tds_tolerance=0.1,
    brew_time_s=165.0,
    brew_time_tolerance_s=15.0,
)
IN_TENTHS = replace(
    USUAL, water_g=240.5, pours=(a_pour(0, 45.5), a_pour(35, 130), a_pour(60, 180), a_pour(75, 240.5))
)
ONE_STREAM = replace(USUAL, pours=(a_pour(0, 50), a_pour(40, 150), a_pour(60, 200), a_pour(70, 250, 4.0)))
QUICK = replace(USUAL, dose_g=18.0, water_g=300.0, pours=(a_pour(0, 60, 8.0), a_pour(30, 300, 8.0)))
PLANS = {"usual": USUAL, "in tenths": IN_TENTHS, "one stream": ONE_STREAM, "quick": QUICK}
FACTORS = (0.5, 2.0, 2 / 3, 22 / 15, 3.0, 1.013, 0.31)
BOTH = pytest.mark.parametrize(("name", "factor"), list(product(PLANS, FACTORS)))


@BOTH
def test_the_ratio_stays_and_the_last_pour_ends_at_the_water(name, factor):
    plan, scaled = PLANS[name], scale(PLANS[name], factor).plan
    assert scaled.dose_g == pytest.approx(factor * plan.dose_g, abs=0.05 + 1e-9)
    # Rounding the water by half a gram at most is what the ratio may lose.
    assert scaled.water_g / scaled.dose_g == pytest.approx(
        plan.water_g / plan.dose_g, abs=0.5 / scaled.dose_g
    )
    assert scaled.pours[-1].to_g == scaled.water_g
    assert sum(added_g(scaled)) == pytest.approx(scaled.water_g, abs=1e-9)


@BOTH
def test_every_pour_keeps_its_share_of_the_water(name, factor):
    plan, scaled = PLANS[name], scale(PLANS[name], factor).plan
    for old, new in zip(plan.pours, scaled.pours, strict=True):
        assert new.to_g / scaled.water_g == pytest.approx(old.to_g / plan.water_g, abs=0.5 / scaled.water_g)
    assert all(later.to_g > earlier.to_g for earlier, later in pairwise(scaled.pours))


@BOTH
def test_nothing_overlaps_and_starts_are_whole_seconds(name, factor):
    scaled = scale(PLANS[name], factor).plan
    for end, following in zip(ends_at_s(scaled), scaled.pours[1:], strict=False):
        assert following.starts_at_s >= end - 1e-6
        assert following.starts_at_s == int(following.starts_at_s)
    assert scaled.pours[0].starts_at_s == 0
    codes = {finding.code for finding in review(scaled)}
    assert not codes & {"overlap", "time-order", "weight-order", "water-missing", "water-over"}


@BOTH
def test_what_the_stream_is_stays(name, factor):
    plan, scaled = PLANS[name], scale(PLANS[name], factor).plan
    for old, new in zip(plan.pours, scaled.pours, strict=True):
        assert replace(new, starts_at_s=None, to_g=None) == replace(old, starts_at_s=None, to_g=None)
    kept = ("tds_target", "tds_tolerance", "brew_time_s", "brew_time_tolerance_s", "water_temperature_C")
    assert all(getattr(scaled, field) == getattr(plan, field) for field in kept)


def test_two_cups_of_the_usual_trial_by_hand():
    """Pour 2 adds 200 g at 5 g/s from 0:40, so it ends at 1:20: just when pour 3 begins."""
    scaled, findings = (two := scale(USUAL, 2)).plan, two.findings
    assert (scaled.dose_g, scaled.water_g) == (30, 500)
    assert [(pour.starts_at_s, pour.to_g) for pour in scaled.pours] == [(0, 100), (40, 300), (80, 500)]
    assert [finding.code for finding in findings] == ["time-not-scaled"]


def test_a_pour_that_would_be_run_into_begins_later_and_says_so():
    """Three times: pour 2 adds 300 g at 5 g/s, one minute from 0:40 on, so pour 3 waits from 1:20 to 1:40."""
    three = scale(USUAL, 3)
    assert [pour.starts_at_s for pour in three.plan.pours] == [0, 40, 100]
    moved = [finding for finding in three.findings if finding.code == "pour-moved"]
    assert [(finding.where, finding.field) for finding in moved] == [(2, "starts_at_s")]
    assert "begins at 1:40 instead of 1:20" in moved[0].what
    assert "pause between them is gone" in moved[0].what


def test_a_pour_that_goes_on_without_a_pause_still_does():
    """Pour 3 goes on where pour 2 ends; with half the water that is earlier, and no pause opens between them."""
    half = scale(ONE_STREAM, 0.5)
    assert [pour.starts_at_s for pour in half.plan.pours] == [0, 40, 50, 55]
    assert [finding.where for finding in half.findings if finding.code == "pour-moved"] == [2, 3]


def test_whole_grams_stay_whole_unless_the_ratio_or_a_small_pour_would_show_it():
    assert [pour.to_g for pour in scale(USUAL, 22 / 15).plan.pours] == [73, 220, 367]
    # 83 g on 5 g would show as 1:16.6.
    assert scale(USUAL, 1 / 3).plan.water_g == 83.3
    with_a_small_one = replace(USUAL, pours=(a_pour(0, 15), a_pour(40, 250)))
    assert [pour.to_g for pour in scale(with_a_small_one, 0.5).plan.pours] == [7.5, 125]
    assert scale(IN_TENTHS, 2 / 3).plan.water_g == 160.3


def test_bypass_and_ice_grow_with_the_cups():
    scaled = scale(replace(USUAL, bypass_g=30.0, ice_g=80.0), 2).plan
    assert (scaled.bypass_g, scaled.ice_g) == (60, 160)


def test_the_same_amount_is_the_same_plan():
    assert scale(IN_TENTHS, 1).plan is IN_TENTHS
    assert scale(IN_TENTHS, 1).findings == ()


@pytest.mark.parametrize("factor", [0, -1, float("nan"), float("inf")])
def test_a_factor_that_is_none_is_refused(factor):
    with pytest.raises(ValueError, match="above 0"):
        scale(USUAL, factor)


def test_what_a_draft_leaves_open_stays_open():
    open_plan = replace(USUAL, dose_g=None, pours=(a_pour(0, 50), a_pour(None, None, None), a_pour(80, 250)))
    scaled = scale(open_plan, 2).plan
    assert (scaled.dose_g, scaled.water_g) == (None, 500)
    assert [(pour.starts_at_s, pour.to_g) for pour in scaled.pours] == [(0, 100), (None, None), (80, 500)]
    assert scale(replace(USUAL, water_g=None, pours=()), 2).plan.dose_g == 30


def test_a_mistake_in_the_pours_is_not_hidden_by_scaling():
    short = replace(USUAL, pours=(a_pour(0, 50), a_pour(40, 220)))
    assert "water-missing" in {finding.code for finding in review(scale(short, 2).plan)}


@pytest.mark.parametrize(
    ("dose_g", "bed", "grind"), [(30.0, "deeper and drains more slowly", "coarser"), (7.5, "faster", "finer")]
)
def test_time_and_bed_depth_do_not_scale(dose_g, bed, grind):
    (said,) = what_does_not_scale(USUAL, replace(USUAL, dose_g=dose_g))
    assert said.severity is Severity.WARNING
    assert bed in said.what
    assert grind in said.mend
    assert "2:45 is still the old one" in said.mend
    (later,) = what_does_not_scale(USUAL, replace(USUAL, dose_g=dose_g, brew_time_s=210.0))
    assert "old one" not in later.mend


def test_the_same_dose_has_nothing_that_does_not_scale():
    assert list(what_does_not_scale(USUAL, replace(USUAL, brew_time_s=200.0))) == []


@pytest.mark.parametrize(("largest", "said"), [(None, 0), (15.0, 0), (14.9, 1)])
def test_a_dose_that_the_brewer_does_not_take(largest, said):
    found = review(USUAL, brewer=Brewer(name="Cone", largest_dose_g=largest))
    assert [finding.code for finding in found].count("dose-too-large") == said


def test_flow_is_not_scaled_so_the_kettle_still_holds_it():
    kettle = Kettle("Long", 2.0, 6.0, 1500.0)
    assert not [finding for finding in review(scale(USUAL, 3).plan, kettle) if finding.code == "flow-range"]
