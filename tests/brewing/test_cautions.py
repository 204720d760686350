"""What is warned of and does not block. Boundaries are set on either side on purpose."""

from dataclasses import replace

import pytest

from recipes.brewing.plan import Conditions, Instrument, Kettle, Pattern, Pour, PourPlan, Severity, review
from recipes.brewing.water import boiling_point_C

FIRST, SECOND, THIRD = (
    Pour(0, 40, Pattern.CIRCLE, 4, 80),
    Pour(45, 150, Pattern.CIRCLE, 5, 80),
    Pour(120, 250, Pattern.CENTRE, 5, 80),
)
GOOD = PourPlan(15, 250, 93, False, (FIRST, SECOND, THIRD))
KETTLE = Kettle("Long Neck", flow_min_g_s=2, flow_max_g_s=8, capacity_g=900)


def codes(plan, **where):
    return [(finding.code, finding.where) for finding in review(plan, **where)]


def second(**changes):
    return replace(GOOD, pours=(FIRST, replace(SECOND, **changes), THIRD))


@pytest.mark.parametrize(
    ("flow", "found"), [(8, []), (8.1, [("flow-range", 1)]), (2, []), (1.9, [("flow-range", 1)])]
)
def test_flow_outside_the_kettles_range(flow, found):
    assert codes(second(flow_g_s=flow), kettle=KETTLE) == found


def test_a_dripping_flow_unless_the_kettle_is_known_to_hold_it():
    slow = second(flow_g_s=1.4, starts_at_s=20)
    assert codes(slow) == [("flow-drips", 1)]
    assert codes(slow, kettle=replace(KETTLE, flow_min_g_s=None)) == [("flow-drips", 1)]
    assert codes(slow, kettle=replace(KETTLE, flow_min_g_s=1)) == []
    assert codes(second(flow_g_s=1.5, spout_height_mm=60)) == []


def test_a_sideways_pour_from_a_kettle_too_full():
    # filled with the 250 g of brew water: 250 g at the first pour, 210 g at the second, 100 g at the third
    kettle = replace(KETTLE, capacity_g=400)
    first = replace(GOOD, pours=(replace(FIRST, pattern=Pattern.SIDEWAYS), SECOND, THIRD))
    assert codes(first, kettle=kettle) == [("kettle-too-full", 0)]
    assert codes(second(pattern=Pattern.SIDEWAYS), kettle=kettle) == [("kettle-too-full", 1)]
    assert codes(second(pattern=Pattern.SIDEWAYS), kettle=replace(kettle, capacity_g=420)) == []
    last = replace(GOOD, pours=(FIRST, SECOND, replace(THIRD, pattern=Pattern.SIDEWAYS)))
    assert codes(last, kettle=kettle) == []
    assert codes(first) == []
    assert "210 g of water" in review(second(pattern=Pattern.SIDEWAYS), kettle=kettle)[0].what


def test_water_above_the_local_boiling_point():
    plan = replace(GOOD, water_temperature_C=96)
    assert codes(plan) == []
    (found,) = review(plan, cafe=Conditions(1500))
    assert (found.code, found.where, found.field) == ("above-boiling", "plan", "water_temperature_C")
    assert found.what == "The plan asks for water at 96 °C, but here it boils at 95.0 °C."
    assert found.mend == "Choose 'at the boil', or 94 °C or less."
    assert codes(replace(plan, at_the_boil=True), cafe=Conditions(1500)) == []


def test_boiling_is_compared_as_it_is_shown():
    # 99.97 °C at sea level is shown as 100.0 °C
    assert codes(replace(GOOD, water_temperature_C=100)) == []
    assert codes(replace(GOOD, water_temperature_C=100.1)) == [("above-boiling", "plan")]


def test_a_pours_own_temperature_above_boiling():
    plan = replace(second(temperature_C=97), at_the_boil=True)
    assert codes(plan, cafe=Conditions(1500)) == [("above-boiling", 1)]
    assert codes(plan) == []


@pytest.mark.parametrize(
    ("height", "found"), [(150, []), (150.1, [("spout-high", 1)]), (300, [("spout-high", 1)])]
)
def test_high_spout(height, found):
    assert codes(second(spout_height_mm=height)) == found


@pytest.mark.parametrize("temperature", [98.0, 99.0])
def test_a_high_pour_near_boiling(temperature):
    plan = replace(second(spout_height_mm=120), water_temperature_C=temperature)
    assert codes(plan) == [("high-near-boiling", 1)]
    assert codes(replace(plan, water_temperature_C=97.9)) == []
    assert codes(replace(second(spout_height_mm=100), water_temperature_C=temperature)) == []


def test_a_high_pour_near_the_local_boiling_point():
    plan = second(spout_height_mm=120)
    assert codes(plan, cafe=Conditions(1000)) == []
    assert boiling_point_C(2000) == pytest.approx(93.3, abs=0.05)
    assert codes(plan, cafe=Conditions(2000)) == [("high-near-boiling", 1)]
    boiling = replace(plan, water_temperature_C=None, at_the_boil=True)
    assert codes(boiling) == [("high-near-boiling", 1)]
    cooler = replace(boiling, pours=(FIRST, replace(boiling.pours[1], temperature_C=90), THIRD))
    assert codes(cooler) == []


@pytest.mark.parametrize(
    ("pattern", "found"),
    [
        (Pattern.WALL, [("pattern-wall", 1)]),
        (Pattern.RISE_AND_FALL, [("pattern-rise-and-fall", 1)]),
        (Pattern.OFF_CENTRE, []),
        (Pattern.BROKEN_STREAM, []),
    ],
)
def test_patterns_that_do_not_repeat(pattern, found):
    assert codes(second(pattern=pattern)) == found


def test_a_tolerance_finer_than_the_instrument_tells():
    plan = replace(GOOD, tds_target=1.40, tds_tolerance=0.05)
    assert codes(plan, instrument=Instrument("Bench", 0.039)) == []
    (found,) = review(plan, instrument=Instrument("Bench", 0.05))
    assert (found.code, found.where, found.field) == ("tolerance-too-fine", "plan", "tds_tolerance")
    assert "Bench tells ±0.050 %" in found.what
    assert found.mend == "Widen it to ±0.10 %."
    coarse = review(replace(plan, tds_tolerance=0.10), instrument=Instrument("Old", 0.12))
    assert coarse[0].mend == "Make it wider than ±0.120 %."
    assert codes(plan) == []


@pytest.mark.parametrize(("water", "unusual"), [(180, False), (179, True), (300, False), (301, True)])
def test_brew_ratio_far_from_usual(water, unusual):
    pours = (FIRST, SECOND, replace(THIRD, to_g=water))
    assert codes(replace(GOOD, water_g=water, pours=pours)) == (
        [("ratio-unusual", "plan")] if unusual else []
    )


def test_errors_come_first_and_then_the_plan_before_its_pours():
    plan = replace(
        GOOD,
        water_g=400,
        water_temperature_C=101,
        pours=(replace(FIRST, pattern=Pattern.WALL), replace(SECOND, spout_height_mm=310), THIRD),
    )
    findings = review(plan)
    assert [(f.severity, f.where) for f in findings] == [
        (Severity.ERROR, 1),
        (Severity.ERROR, 2),
        (Severity.WARNING, "plan"),
        (Severity.WARNING, "plan"),
        (Severity.WARNING, 0),
        (Severity.WARNING, 1),
    ]


def test_every_finding_says_what_and_what_mends_it():
    worst = PourPlan(
        0,
        10,
        120,
        False,
        (
            Pour(0, 40, Pattern.WALL, 20, 200),
            Pour(1, 30, Pattern.RISE_AND_FALL, 0.5, 400, 130),
            Pour(0, None, Pattern.SIDEWAYS, None, None),
        ),
        tds_target=1.4,
        tds_tolerance=0.01,
        brew_time_s=1,
    )
    findings = review(worst, kettle=replace(KETTLE, capacity_g=5), instrument=Instrument("Bench", 0.04))
    assert len(findings) > 12
    for finding in findings:
        assert finding.what[0].isupper()
        assert finding.what.endswith(".")
        assert finding.mend[0].isupper()
        assert finding.mend.endswith(".")
