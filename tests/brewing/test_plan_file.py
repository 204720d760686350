"""A plan file is read as it is meant, and answered."""

from dataclasses import replace

import pytest

from recipes.brewing.bed import Shape
from recipes.brewing.drawdown import BREWS_FOR_A_FIT
from recipes.brewing.plan import After, Pattern
from recipes.brewing.plan_answer import answer
from recipes.brewing.plan_file import KEYS, read
from recipes.brewing.water import boiling_point_C
from tests.brewing.plan_files import EVERYTHING, raw, with_value


def test_everything_is_read():
    file = read(raw(EVERYTHING))
    plan, kettle, brewer = file.plan, file.kettle, file.brewer
    assert (plan.dose_g, plan.water_g, plan.water_temperature_C, plan.at_the_boil) == (15, 250, 93, False)
    assert (plan.tds_target, plan.tds_tolerance, plan.ey_target, plan.ey_tolerance) == (1.35, 0.1, 20, 1)
    assert (plan.brew_time_s, plan.brew_time_tolerance_s) == (185, 20)
    first, second, third = plan.pours
    assert (first.starts_at_s, first.to_g, first.flow_g_s, first.spout_height_mm) == (0, 45, 4.5, 60)
    assert (first.pattern, first.after, first.temperature_C) == (Pattern.CIRCLE, After.SWIRL, None)
    assert second.after is After.NOTHING
    assert (third.pattern, third.temperature_C) == (Pattern.CENTRE, 90)
    assert (kettle.flow_min_g_s, kettle.flow_max_g_s, kettle.capacity_g, kettle.bore_mm) == (2, 9, 900, 6)
    assert (kettle.growth.broken, kettle.growth.whole) == (2, 1)
    assert (brewer.shape, brewer.half_angle_deg, brewer.diameter_mm) == (Shape.FLAT, 30, 80)
    assert brewer.heat_capacity_J_K == 28
    assert (file.bed.conductance_m2_s, file.bed.next_low, file.bed.next_high) == (2.3e-5, 1.8e-5, 3e-5)
    assert file.bed.fitted
    assert (file.cafe.altitude_m, file.cafe.air_C) == (520, 21)


def test_what_is_not_known_may_be_left_out():
    known = {
        "kettle",
        "brewer",
        "conductance",
        "targets",
        "altitude_m",
        "air_temperature_C",
        "bypass_g",
        "ice_g",
    }
    for file in (
        {key: value for key, value in EVERYTHING.items() if key not in known},
        EVERYTHING | dict.fromkeys(known),
    ):
        read_ = read(raw(file))
        assert (read_.kettle, read_.brewer, read_.bed) == (None, None, None)
        assert (read_.cafe.altitude_m, read_.cafe.air_C) == (0, 22)
        assert (read_.plan.bypass_g, read_.plan.ice_g, read_.plan.tds_target) == (0, 0, None)


def test_a_number_that_is_open_is_null():
    pour = read(raw(with_value("pours[1].flow_g_s", None))).plan.pours[1]
    assert pour.flow_g_s is None
    assert read(raw(with_value("dose_g", None))).plan.dose_g is None


def test_at_the_boil():
    plan = read(raw(with_value("temperature_C", "at the boil"))).plan
    assert (plan.at_the_boil, plan.water_temperature_C) == (True, None)


def test_a_mark_at_the_beginning_is_no_fault():
    """Some editors put U+FEFF there, which RFC 8259, section 8.1, lets a reader ignore."""
    assert read(b"\xef\xbb\xbf" + raw(EVERYTHING)) == read(raw(EVERYTHING))


def test_a_fit_from_brew_times_is_that_of_the_same_plan():
    times = {"brew_times_s": [178, 185, 188, 182, 192]}
    file = read(raw(EVERYTHING | {"conductance": times}))
    assert (file.bed.brews, file.bed.fitted, file.bed.left_out) == (5, True, 0)
    told = answer(file)
    # solved for these very times, it gives them back
    assert told["brew_time_s"]["best"] == pytest.approx(185, abs=3)
    assert told["brew_time_s"]["low"] < 178
    assert told["brew_time_s"]["high"] > 192
    # and the answer's fit, put into a file, is the same fit
    again = answer(read(raw(EVERYTHING | {"conductance": told["conductance"]})))
    assert again["brew_time_s"] == told["brew_time_s"]


def test_too_few_brews_make_no_forecast():
    for given in ({"brew_times_s": [185, 180]}, EVERYTHING["conductance"] | {"brews": 2}):
        told = answer(read(raw(EVERYTHING | {"conductance": given})))
        assert (told["brew_time_s"], told["brews_needed"]) == (None, BREWS_FOR_A_FIT - 2)
    assert answer(read(raw(EVERYTHING | {"conductance": None})))["brews_needed"] == BREWS_FOR_A_FIT


def test_a_measured_kettle_does_not_depend_on_its_name():
    file = read(raw(EVERYTHING))
    assert answer(file) == answer(replace(file, kettle=replace(file.kettle, name="Another")))


def test_at_altitude_water_boils_cooler():
    file = with_value("altitude_m", 1500, with_value("temperature_C", "at the boil"))
    assert answer(read(raw(file)))["pours"][0]["temperature_C"] == boiling_point_C(1500)


def test_every_key_is_in_the_file_of_everything():
    assert set(EVERYTHING) == set(KEYS[""])
    assert set(EVERYTHING["targets"]) == set(KEYS["targets"])
    assert set(EVERYTHING["kettle"]) == set(KEYS["kettle"])
    assert set(EVERYTHING["brewer"]) == set(KEYS["brewer"])
    assert set(EVERYTHING["conductance"]) == set(KEYS["conductance"]) - {"brew_times_s"}
    assert set(EVERYTHING["pours"][2]) == set(KEYS["pours"])
    assert set(EVERYTHING["kettle"]["breakup_observations"][2]) == set(KEYS["breakup_observations"])


def test_a_conductance_alone_is_taken_as_it_is_stated():
    told = answer(read(raw(EVERYTHING | {"conductance": 2.3e-5})))
    assert told["conductance"]["best_m2_s"] == 2.3e-5
    assert told["brew_time_s"]["low"] < told["brew_time_s"]["best"] < told["brew_time_s"]["high"]


def test_nothing_done_afterwards_may_be_said_or_left_out():
    (pour, *rest) = EVERYTHING["pours"]
    for then in ("nothing", "", None):
        file = read(raw(EVERYTHING | {"pours": [pour | {"then": then}, *rest]}))
        assert file.plan.pours[0].after == ""
