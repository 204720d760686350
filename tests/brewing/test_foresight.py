"""What a plan is foreseen to do: the same numbers as its parts, and nothing where a draft has none."""

from dataclasses import fields, replace
from itertools import pairwise

import pytest

from recipes.brewing import stream
from recipes.brewing.bed import Brewer, Shape
from recipes.brewing.drawdown import BREWS_FOR_A_FIT, ObservedBrew, fit_conductance
from recipes.brewing.foresight import Conditions, State, foresee, inflows_of
from recipes.brewing.plan import After, Kettle, Pattern, Pour, PourPlan
from recipes.brewing.stream import Observation, fit_n

FIRST, SECOND, THIRD = (
    Pour(0, 40, Pattern.CIRCLE, 4, 80),
    Pour(45, 150, Pattern.CIRCLE, 5, 80),
    Pour(90, 250, Pattern.CENTRE, 5, 80),
)
PLAN = PourPlan(15, 250, 93, False, (FIRST, SECOND, THIRD))
KETTLE = Kettle("Long Neck", bore_mm=5)


def with_pours(*pours, **changes):
    return replace(PLAN, pours=pours, **changes)


def test_each_pour_says_what_the_stream_says():
    pour = foresee(PLAN, KETTLE).pours[1]
    spout = (5, 93, 5)
    velocity = stream.impact_velocity_m_s(*spout, 80)
    assert (pour.added_g, pour.ends_at_s, pour.water_C) == (110, 67, 93)
    assert pour.exit_velocity_m_s == stream.exit_velocity_m_s(*spout)
    assert pour.impact_velocity_m_s == velocity
    assert pour.stream_diameter_at_impact_mm == stream.stream_diameter_mm(5, 93, velocity)
    assert (pour.reynolds, pour.weber) == (stream.reynolds(*spout), stream.weber(*spout))
    assert pour.ohnesorge == stream.ohnesorge(93, 5)
    assert pour.regime is stream.regime(pour.reynolds)
    assert pour.breakup_height_mm == stream.breakup(*spout)
    assert pour.recommended_height_mm == stream.recommended_height_mm(pour.breakup_height_mm)
    assert pour.momentum_mN_s == pytest.approx(110 * velocity)
    assert pour.state is State.WHOLE


def test_energy_is_at_most_what_falls_and_all_of_it_on_a_bare_bed():
    bloom, second, _third = foresee(PLAN).pours
    falls = [pour.added_g * pour.impact_velocity_m_s**2 / 2 for pour in (bloom, second)]
    assert bloom.energy_mJ == pytest.approx(falls[0])
    assert 0.3 * falls[1] < second.energy_mJ < falls[1]


def test_energy_against_a_column_followed_second_by_second():
    seen = foresee(PLAN)
    third = seen.pours[2]
    power_mW = 5 * third.impact_velocity_m_s**2 / 2
    columns = seen.curves.column_mm[90:111]
    by_second = [
        power_mW * min(1, 6.2 * third.stream_diameter_at_impact_mm / ((a + b) / 2))
        for a, b in pairwise(columns)
    ]
    assert third.energy_mJ == pytest.approx(sum(by_second), rel=0.01)
    assert third.column_mm == pytest.approx((columns[0], columns[-1]))


def test_totals():
    seen = foresee(PLAN)
    assert seen.complete
    assert seen.energy_mJ == pytest.approx(sum(pour.energy_mJ for pour in seen.pours))
    assert seen.momentum_mN_s == pytest.approx(sum(pour.momentum_mN_s for pour in seen.pours))
    assert seen.poured_out_s == 110
    assert seen.tallest_mm >= max(seen.curves.column_mm)
    assert seen.mean_C.low < seen.mean_C.best < seen.mean_C.high
    assert (seen.brew_time, seen.brews_needed, seen.findings) == (None, BREWS_FOR_A_FIT, ())


def test_curves_have_a_value_for_every_second():
    curves = foresee(PLAN).curves
    assert curves.t_s == tuple(range(len(curves.t_s)))
    assert all(len(getattr(curves, field.name)) == len(curves.t_s) for field in fields(curves))
    assert curves.poured_g[10] == curves.poured_g[45] == 40
    assert curves.poured_g[56] == pytest.approx(95)
    assert curves.poured_g[-1] == 250
    assert curves.slurry_C[0] is None
    bands = list(zip(curves.slurry_low_C[1:], curves.slurry_C[1:], curves.slurry_high_C[1:], strict=True))
    assert all(low < best < high < 93 for low, best, high in bands)
    # a band, not a line: several kelvin wide by the end
    assert bands[-1][2] - bands[-1][0] > 5


def test_pours_that_end_between_two_seconds():
    plan = with_pours(
        replace(FIRST, flow_g_s=3.7), replace(SECOND, flow_g_s=4.6), replace(THIRD, flow_g_s=4.9)
    )
    curves = foresee(plan).curves
    assert curves.t_s == tuple(range(len(curves.t_s)))
    assert curves.poured_g[11] == pytest.approx(40)
    assert curves.poured_g[-1] == pytest.approx(250)


def test_a_draft_says_what_it_can():
    empty = Pour(None, None, Pattern.CIRCLE, None, None)
    seen = foresee(with_pours(FIRST, empty, THIRD))
    assert [pour is None for pour in seen.pours] == [False, True, False]
    assert not seen.complete
    assert seen.energy_mJ is seen.poured_out_s is seen.mean_C is seen.brew_time is None
    assert seen.pours[0].energy_mJ is not None
    # what follows the gap has a stream, and no place in the brew yet
    assert seen.pours[2].breakup_height_mm is not None
    assert seen.pours[2].energy_mJ is seen.pours[2].column_mm is None
    assert seen.curves.poured_g[-1] == 40


def test_a_pour_without_a_height():
    seen = foresee(with_pours(FIRST, replace(SECOND, spout_height_mm=None), THIRD))
    pour = seen.pours[1]
    assert pour.impact_velocity_m_s is pour.state is pour.energy_mJ is pour.momentum_mN_s is None
    assert pour.breakup_height_mm.best_mm > 0
    assert seen.complete
    assert seen.energy_mJ is None
    assert seen.curves is not None


@pytest.mark.parametrize(
    "changes",
    [
        {"dose_g": None},
        {"dose_g": 0},
        {"pours": ()},
        {"water_temperature_C": None},
        {"water_temperature_C": -3},
    ],
)
def test_no_brew_without_dose_pours_or_temperature(changes):
    seen = foresee(replace(PLAN, **changes))
    assert seen.curves is None
    assert not seen.complete


@pytest.mark.parametrize(
    "second",
    [
        replace(SECOND, flow_g_s=0),
        replace(SECOND, flow_g_s=-1),
        replace(SECOND, to_g=40),
        replace(SECOND, to_g=10),
        replace(SECOND, starts_at_s=5),
        replace(SECOND, starts_at_s=-5),
        replace(SECOND, spout_height_mm=-5),
        replace(SECOND, starts_at_s=1e9),
        replace(SECOND, flow_g_s=1e-6),
        replace(SECOND, flow_g_s=1e300),
        replace(SECOND, to_g=1e9),
    ],
)
def test_numbers_that_cannot_be_do_not_raise(second):
    seen = foresee(with_pours(FIRST, second, THIRD))
    assert len(seen.pours) == 3
    if second.spout_height_mm >= 0:
        assert not seen.complete


def test_a_second_of_overlap_is_forgiven_as_clocks_forgive_it():
    inflows = inflows_of(
        with_pours(FIRST, replace(SECOND, starts_at_s=9.6), replace(THIRD, starts_at_s=60)), 100
    )
    assert len(inflows) == 3
    assert inflows[1].starts_s == inflows[0].ends_s == 10
    assert inflows[1].ends_s == 32


def test_water_is_no_hotter_than_it_boils():
    boiling = replace(PLAN, at_the_boil=True, water_temperature_C=None)
    assert foresee(boiling).pours[0].water_C == pytest.approx(99.97, abs=0.01)
    assert foresee(boiling, conditions=Conditions(2000, 20)).pours[0].water_C == pytest.approx(93.3, abs=0.05)
    # below the sea water boils above 100 °C, where these formulas end
    assert foresee(boiling, conditions=Conditions(-400)).pours[0].water_C == 100
    asked = with_pours(FIRST, replace(SECOND, temperature_C=99), THIRD)
    assert foresee(asked, conditions=Conditions(1500)).pours[1].water_C == pytest.approx(95.0, abs=0.05)


@pytest.mark.parametrize("pattern", [Pattern.BROKEN_STREAM, Pattern.WALL, Pattern.RISE_AND_FALL])
def test_no_energy_is_claimed_for_what_nobody_knows(pattern):
    seen = foresee(with_pours(FIRST, replace(SECOND, pattern=pattern), THIRD))
    assert seen.pours[1].energy_mJ is None
    assert seen.energy_mJ is None
    assert seen.pours[2].energy_mJ is not None


def test_a_pattern_has_no_number():
    by_pattern = {
        foresee(with_pours(FIRST, replace(SECOND, pattern=pattern), THIRD)).pours[1].energy_mJ
        for pattern in (Pattern.CIRCLE, Pattern.CENTRE, Pattern.OFF_CENTRE, Pattern.SIDEWAYS)
    }
    assert len(by_pattern) == 1


def test_states_of_a_stream():
    def state(height, flow=5.0, pattern=Pattern.CIRCLE):
        pour = replace(SECOND, spout_height_mm=height, flow_g_s=flow, pattern=pattern)
        return foresee(with_pours(FIRST, pour, replace(THIRD, starts_at_s=200))).pours[1]

    band = state(80).breakup_height_mm
    assert state(band.low_mm).state is State.WHOLE
    assert state(band.low_mm + 0.1).state is State.MAY_BREAK
    assert state(band.high_mm).state is State.MAY_BREAK
    assert state(band.high_mm + 0.1).state is State.BROKEN
    assert state(band.best_mm).energy_mJ is not None
    assert state(band.best_mm + 0.1).energy_mJ is None
    assert state(30, 1.0).state is State.DRIPS
    assert state(30, 1.0).energy_mJ is None
    assert state(30, 5.0, Pattern.BROKEN_STREAM).state is State.BROKEN


def test_a_measured_kettle_is_used():
    points = [Observation(flow, 93, stream.breakup_height_mm(flow, 93, 5, 10)) for flow in (3, 4, 5)]
    kettle = replace(KETTLE, growth=fit_n(points, 5))
    band = foresee(PLAN, kettle).pours[1].breakup_height_mm
    assert band.measured
    assert band.best_mm == pytest.approx(stream.breakup_height_mm(5, 93, 5, 10))
    assert not foresee(PLAN, KETTLE).pours[1].breakup_height_mm.measured


def test_a_cold_heavy_brewer_cools_the_slurry():
    warm, cold = (foresee(PLAN, brewer=Brewer(heat_capacity_J_K=heat)).mean_C.best for heat in (0, 60))
    assert cold < warm - 1


def test_another_brewer_has_another_column():
    columns = {
        foresee(PLAN, brewer=brewer).tallest_mm
        for brewer in (Brewer(), Brewer(half_angle_deg=20), Brewer(Shape.FLAT, diameter_mm=80))
    }
    assert len(columns) == 3


def test_brew_time_once_there_are_brews_enough():
    boiling_C = 99.97
    logged = [ObservedBrew(inflows_of(PLAN, boiling_C), 15, time_s) for time_s in (178, 185, 188, 182, 192)]
    four, five = fit_conductance(logged[:4], Brewer()), fit_conductance(logged, Brewer())
    assert (foresee(PLAN, bed=four).brew_time, foresee(PLAN, bed=four).brews_needed) == (None, 1)
    seen = foresee(PLAN, bed=five)
    assert seen.brews_needed == 0
    assert seen.brew_time.best_s == pytest.approx(185, abs=3)
    assert seen.brew_time.low_s < seen.brew_time.best_s < seen.brew_time.high_s
    assert seen.findings == ()
    short, fitting, long = (
        foresee(replace(PLAN, brew_time_s=target, brew_time_tolerance_s=10), bed=five).findings
        for target in (120, 185, 300)
    )
    assert fitting == ()
    assert {finding.code for finding in (*short, *long)} == {"brew-time-forecast"}
    assert "2:00 ± 0:10" in short[0].what


def test_what_is_done_after_a_pour_moves_no_water():
    assert (
        foresee(with_pours(FIRST, replace(SECOND, after=After.STIR), THIRD)).energy_mJ
        == foresee(PLAN).energy_mJ
    )
