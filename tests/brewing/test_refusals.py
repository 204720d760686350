"""What blocks publishing: each rule is broken on purpose, and what its finding offers is shown to mend it."""

from dataclasses import replace

import pytest

from recipes.brewing.plan import Conditions, Finding, Kettle, Pattern, Pour, PourPlan, Severity, review

FIRST, SECOND, THIRD = (
    Pour(0, 40, Pattern.CIRCLE, 4, 80),
    Pour(45, 150, Pattern.CIRCLE, 5, 80),
    Pour(90, 250, Pattern.CENTRE, 5, 80),
)
GOOD = PourPlan(
    dose_g=15,
    water_g=250,
    water_temperature_C=93,
    at_the_boil=False,
    pours=(FIRST, SECOND, THIRD),
    tds_target=1.40,
    tds_tolerance=0.10,
    ey_target=20.5,
    ey_tolerance=1.5,
    brew_time_s=185,
    brew_time_tolerance_s=15,
)
KETTLE = Kettle("Long Neck", flow_min_g_s=2, flow_max_g_s=8, capacity_g=900)
EMPTY = Pour(None, None, Pattern.CIRCLE, None, None)


def codes(plan, **where):
    return [(finding.code, finding.where) for finding in review(plan, **where)]


def only(plan, **where):
    findings = review(plan, **where)
    assert len(findings) == 1, findings
    return findings[0]


def test_a_sound_plan_has_no_findings():
    assert review(GOOD) == ()
    assert review(GOOD, kettle=KETTLE, cafe=Conditions(500)) == ()


def test_the_missing_water_is_named():
    plan = replace(GOOD, pours=(FIRST, replace(SECOND, to_g=130), replace(THIRD, to_g=220)))
    assert only(plan) == Finding(
        Severity.ERROR,
        "water-missing",
        2,
        "to_g",
        "The pours end at 220 g but the recipe's brew water is 250 g: 30 g is missing.",
        "Raise the last pour to 250 g, or change the brew water to 220 g.",
    )


def test_too_much_water_is_named():
    found = only(replace(GOOD, pours=(FIRST, SECOND, replace(THIRD, to_g=260.5))))
    assert (found.code, found.where, found.field) == ("water-over", 2, "to_g")
    assert found.what.endswith("10.5 g is too much.")


def test_a_tenth_of_a_gram_counts_but_float_noise_does_not():
    assert codes(replace(GOOD, water_g=250.1)) == [("water-missing", 2)]
    assert codes(replace(GOOD, water_g=0.1 + 0.2, pours=(replace(FIRST, to_g=0.3),), dose_g=0.02)) == []


def test_no_pours():
    assert codes(replace(GOOD, pours=())) == [("no-pours", "plan")]


def test_every_missing_number_is_named_where_it_is_missing():
    plan = PourPlan(None, None, None, False, (FIRST, EMPTY), tds_target=1.4)
    assert [(f.where, f.field) for f in review(plan) if f.code == "missing"] == [
        ("plan", "dose_g"),
        ("plan", "water_g"),
        ("plan", "water_temperature_C"),
        ("plan", "tds_tolerance"),
        (1, "starts_at_s"),
        (1, "to_g"),
        (1, "flow_g_s"),
        (1, "spout_height_mm"),
    ]
    assert review(replace(GOOD, pours=(FIRST, SECOND, replace(THIRD, flow_g_s=None))))[0].what == (
        "Pour 3 has no flow."
    )


def test_at_the_boil_needs_no_temperature():
    assert review(replace(GOOD, water_temperature_C=None, at_the_boil=True)) == ()


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("dose_g", 0),
        ("dose_g", -15),
        ("water_g", 0),
        ("water_temperature_C", 0),
        ("bypass_g", -1),
        ("ice_g", -1),
        ("tds_target", 0),
        ("tds_tolerance", 0),
        ("ey_tolerance", -1),
        ("brew_time_tolerance_s", 0),
    ],
)
def test_plan_numbers_out_of_range(field, value):
    found = [f for f in review(replace(GOOD, **{field: value})) if f.code == "out-of-range"]
    assert [(f.where, f.field) for f in found] == [("plan", field)]


@pytest.mark.parametrize(
    ("field", "value"),
    [("starts_at_s", -1), ("to_g", 0), ("flow_g_s", 0), ("spout_height_mm", -1), ("temperature_C", 0)],
)
def test_pour_numbers_out_of_range(field, value):
    plan = replace(GOOD, pours=(replace(FIRST, **{field: value}), SECOND, THIRD))
    assert ("out-of-range", 0) in codes(plan)


def test_zero_is_a_number_where_zero_can_be():
    assert (
        review(replace(GOOD, pours=(replace(FIRST, starts_at_s=0, spout_height_mm=0), SECOND, THIRD))) == ()
    )


def test_weights_must_rise():
    plan = replace(GOOD, pours=(FIRST, replace(SECOND, to_g=40), THIRD))
    found = only(plan)
    assert (found.code, found.where, found.field) == ("weight-order", 1, "to_g")
    assert found.mend.endswith("if it adds 40 g, that is 80 g.")


def test_times_must_rise():
    found = only(replace(GOOD, pours=(FIRST, SECOND, replace(THIRD, starts_at_s=45))))
    assert (found.code, found.where, found.field) == ("time-order", 2, "starts_at_s")
    assert "begins at 0:45" in found.what


def test_an_open_number_does_not_hide_a_fall_after_it():
    plan = replace(GOOD, pours=(FIRST, replace(SECOND, to_g=None, starts_at_s=None), replace(THIRD, to_g=30)))
    assert ("weight-order", 2) in codes(plan)


def test_a_pour_must_end_before_the_next_begins():
    plan = replace(GOOD, pours=(FIRST, replace(SECOND, flow_g_s=2), THIRD))
    found = only(plan, kettle=KETTLE)
    assert (found.code, found.where, found.field) == ("overlap", 1, "flow_g_s")
    assert found.what == (
        "Pour 2 begins at 0:45 and adds 110 g at 2 g/s. It ends at 1:40, but pour 3 begins at 1:30."
    )
    assert found.mend == "Begin pour 3 at 1:40 or later, or pour at 2.5 g/s or faster."
    assert review(replace(plan, pours=(FIRST, replace(SECOND, flow_g_s=2.5), THIRD)), kettle=KETTLE) == ()
    assert (
        review(replace(plan, pours=(*plan.pours[:2], replace(THIRD, starts_at_s=100))), kettle=KETTLE) == ()
    )


def test_a_flow_that_the_kettle_cannot_pour_is_not_offered():
    plan = replace(GOOD, pours=(FIRST, replace(SECOND, flow_g_s=2), THIRD))
    slow = replace(KETTLE, flow_max_g_s=2.4)
    overlap = next(f for f in review(plan, kettle=slow) if f.code == "overlap")
    assert overlap.mend == "Begin pour 3 at 1:40 or later; this kettle pours no faster than 2.4 g/s."


@pytest.mark.parametrize(
    ("flow", "found"), [(110 / 45, []), (110 / 45.4, []), (110 / 45.6, [("overlap", 1)])]
)
def test_no_gap_is_no_overlap_and_half_a_second_is_none_on_a_clock(flow, found):
    assert codes(replace(GOOD, pours=(FIRST, replace(SECOND, flow_g_s=flow), THIRD))) == found


def test_the_kettle_must_hold_the_water():
    assert codes(GOOD, kettle=Kettle("Small", capacity_g=249)) == [("kettle-too-small", "plan")]
    assert codes(GOOD, kettle=Kettle("Small", capacity_g=250)) == []
    assert codes(GOOD, kettle=Kettle("Unknown")) == []


def test_targets_that_contradict_each_other():
    # 15 g / 250 g, 20.5 ± 1.5 %, 1.8 to 2.6 g/g retained: TDS 1.26 % to 1.54 % by T = E/(R - r + E)
    found = only(replace(GOOD, tds_target=1.80))
    assert (found.code, found.where, found.field) == ("targets-contradict", "plan", "tds_target")
    assert "a TDS of 1.26 % to 1.54 %" in found.what
    assert found.mend == (
        "Set the TDS target near 1.4 %, or the yield target near 26.5 %, or change the dose or the water."
    )
    assert review(replace(GOOD, tds_target=1.40)) == ()
    assert review(replace(GOOD, tds_target=1.80, ey_target=26.5)) == ()
    assert codes(replace(GOOD, tds_target=1.10)) == [("targets-contradict", "plan")]


@pytest.mark.parametrize(("tds", "found"), [(1.63, []), (1.65, [("targets-contradict", "plan")])])
def test_tolerances_are_given_their_width(tds, found):
    assert codes(replace(GOOD, tds_target=tds)) == found


def test_bypass_and_ice_dilute_the_target():
    # 330 g in all: E·D/(A - r·D + E·D) is 1.01 % to 1.18 % for 15 g
    assert review(replace(GOOD, tds_target=1.02, bypass_g=80)) == ()
    assert review(replace(GOOD, tds_target=1.02, ice_g=80)) == ()
    found = only(replace(GOOD, tds_target=1.40, bypass_g=80))
    assert "80 g of bypass and ice" in found.what


def test_a_yield_beyond_what_is_soluble():
    assert codes(replace(GOOD, ey_target=31, tds_target=2.0)) == [("yield-not-soluble", "plan")]
    assert codes(replace(GOOD, ey_target=30, tds_target=2.0)) == []


def test_a_strength_that_would_need_more_than_is_soluble():
    found = only(replace(GOOD, tds_target=2.8, ey_target=None, ey_tolerance=None))
    assert (found.code, found.field) == ("targets-contradict", "tds_target")
    assert only(replace(GOOD, tds_target=100, ey_target=None)).code == "targets-contradict"
    assert review(replace(GOOD, tds_target=2.0, ey_target=None, ey_tolerance=None)) == ()


def test_a_bed_that_drinks_all_the_water():
    plan = replace(GOOD, dose_g=140)
    assert ("no-beverage", "plan") in codes(plan)
    # ice and bypass do not go through the bed
    assert ("no-beverage", "plan") in codes(replace(plan, ice_g=200))
    assert ("no-beverage", "plan") not in codes(replace(GOOD, dose_g=138))


def test_brew_time_after_the_last_pour():
    found = only(replace(GOOD, brew_time_s=109))
    assert (found.code, found.where, found.field) == ("brew-time", "plan", "brew_time_s")
    assert "1:49 but the pours end at 1:50" in found.what
    assert review(replace(GOOD, brew_time_s=110)) == ()


@pytest.mark.parametrize(("height", "severity"), [(300, Severity.WARNING), (300.1, Severity.ERROR)])
def test_spout_limit(height, severity):
    found = only(replace(GOOD, pours=(FIRST, replace(SECOND, spout_height_mm=height), THIRD)))
    assert (found.severity, found.where, found.field) == (severity, 1, "spout_height_mm")
