"""The water over the bed: against a plain and slow twin, against itself, and at its limits."""

from dataclasses import replace
from itertools import pairwise
from math import pi

import pytest

from recipes.brewing.bed import DENSITY_G_ML, REFERENCE_C, Bed, Brewer, Shape, relative_fluidity, typical_bed
from recipes.brewing.drawdown import LONGEST_S, Inflow, drain
from recipes.brewing.slurry import HeatAt, usual_heat
from recipes.brewing.water import density_kg_m3, viscosity_Pa_s

POURS = (Inflow(0, 10, 4, 93), Inflow(45, 67, 5, 93), Inflow(90, 110, 5, 93))
HEAT = usual_heat(28).best
CONE = Brewer()
FLAT = Brewer(Shape.FLAT, diameter_mm=80)


def slow_twin(pours, brewer, dose_g, conductance, heat, air_C, step=0.005):
    """Euler in millilitres and metres, one kind of brewer each, coffee and brewer warmed as separate heats."""
    bed_m3, room_g = 3.0 * dose_g / 1e6, 2.2 * dose_g
    cylinder_m2 = pi * (brewer.diameter_mm / 2e3) ** 2

    def level_m(water_m3):
        if brewer.shape is Shape.CONE:
            return (9 * (bed_m3 + water_m3) / pi) ** (1 / 3)  # tan² of 30° is a third
        return (bed_m3 + water_m3) / cylinder_m2

    def thin(t_C):
        return density_kg_m3(t_C) / viscosity_Pa_s(t_C)

    at, kept, standing, T, tallest, out_g, out_gC = 0.0, 0.0, 0.0, air_C, 0.0, 0.0, 0.0
    while at < pours[-1].ends_s or standing > 0:
        flow = next((p.flow_g_s for p in pours if p.starts_s <= at < p.ends_s), 0.0)
        soaks = flow if kept < room_g else 0.0
        head = level_m(standing / DENSITY_G_ML / 1e6)
        runs = conductance * thin(T) / thin(REFERENCE_C) * head * 1e6 * DENSITY_G_ML
        out = min(runs, standing / step + flow - soaks) if kept >= room_g else 0.0
        heat_J_K = dose_g * heat.coffee_J_gK + heat.brewer_J_K + 4.1932 * (kept + standing)
        T += step * (flow * 4.1932 * (93 - heat.flight_K - T) - heat.loss_W_K * (T - air_C)) / heat_J_K
        kept += soaks * step
        standing = max(0.0, standing + (flow - soaks - out) * step)
        out_g, out_gC = out_g + out * step, out_gC + out * step * T
        tallest = max(tallest, 1e3 * (level_m(standing / DENSITY_G_ML / 1e6) - level_m(0.0)))
        at += step
    return at, tallest, T, out_g, out_gC / out_g


@pytest.mark.parametrize("brewer", [CONE, FLAT])
@pytest.mark.parametrize("conductance", [2e-5, 4e-5])
def test_a_whole_brew_against_its_slow_twin(brewer, conductance):
    ends, tallest, slurry_C, out_g, _mean = slow_twin(POURS, brewer, 15, conductance, HEAT, 22)
    course = drain(POURS, brewer, 15, Bed(conductance), HEAT, 22)
    assert course.ends_s == pytest.approx(ends, rel=5e-4, abs=0.05)
    assert max(course.column_mm) == pytest.approx(tallest, abs=0.1)
    assert course.slurry_C[-1] == pytest.approx(slurry_C, abs=0.05)
    assert course.drained_g == pytest.approx(out_g, abs=0.1)


@pytest.mark.parametrize("brewer", [CONE, FLAT])
def test_no_water_is_lost(brewer):
    course = drain(POURS, brewer, 15, Bed(), HEAT, 22)
    assert course.poured_g[-1] == pytest.approx(250)
    assert course.drained_g == pytest.approx(250 - 2.2 * 15)
    assert len(course.at_s) == len(course.flows.seconds) + 1 == len(course.pours) + 1
    assert sum(course.flows.seconds) == pytest.approx(course.ends_s)
    assert course.column_mm[-1] == 0


def test_edges_of_pours_and_whole_seconds_are_edges_of_steps():
    course = drain((Inflow(0.3, 12.7, 4, 93),), CONE, 15, Bed(), HEAT, 22)
    assert {0.0, 0.3, 1.0, 2.0, 12.0, 12.7, 13.0} <= set(course.at_s)
    assert all(0 < later - earlier <= 1 for earlier, later in pairwise(course.at_s))
    assert course.slurry_C[:2] == (None, None)


def test_finer_steps_change_nothing_that_matters():
    coarse = drain(POURS, CONE, 15, Bed(), HEAT, 22)
    fine = drain(POURS, CONE, 15, Bed(), HEAT, 22, step_s=0.05)
    two = drain(POURS, CONE, 15, Bed(), HEAT, 22, step_s=2.0)
    assert coarse.ends_s == pytest.approx(fine.ends_s, abs=0.1)
    assert two.ends_s == pytest.approx(fine.ends_s, abs=0.3)


def test_a_bed_that_lets_all_through_never_stands_under_water():
    course = drain(POURS, CONE, 15, Bed(1e-2), HEAT, 22)
    assert max(course.column_mm) < 0.1
    assert course.ends_s == pytest.approx(110)


def test_water_that_the_bed_takes_up_does_not_run_out():
    course = drain((Inflow(0, 8, 4, 93),), CONE, 15, Bed(), HEAT, 22)
    assert course.drained_g == 0
    assert course.ends_s == 8


def test_a_stalled_bed_never_ends():
    course = drain(POURS, CONE, 15, Bed(1e-8), HEAT, 22)
    assert course.ends_s is None
    assert course.at_s[-1] == LONGEST_S


def test_no_pours_no_brew():
    course = drain((), CONE, 15, Bed(), HEAT, 22)
    assert (course.ends_s, course.drained_g, course.flows.seconds) == (0.0, 0.0, ())


@pytest.mark.parametrize("brewer", [CONE, FLAT, Brewer(Shape.CYLINDER, diameter_mm=65)])
def test_a_typical_bed_ends_an_ordinary_brew_in_ordinary_time(brewer):
    # common practice, no source: 15 g to 250 g takes two and a half to four minutes
    assert 150 < drain(POURS, brewer, 15, typical_bed(brewer, 15), HEAT, 22).ends_s < 240


def test_a_cooler_slurry_drains_slower():
    cool = tuple(replace(pour, water_C=83) for pour in POURS)
    hot, cold = (drain(pours, FLAT, 15, Bed(), HEAT, 22).ends_s for pours in (POURS, cool))
    assert hot < cold
    # twelve per cent in 10 K where all of the brew is that much cooler
    assert 1.05 < (cold - 110) / (hot - 110) < 1.35


def test_more_clogging_and_less_conductance_take_longer():
    by_clogging = [
        drain(POURS, CONE, 15, Bed(3e-5, clogging), HEAT, 22).ends_s for clogging in (0, 0.002, 0.01)
    ]
    by_conductance = [drain(POURS, CONE, 15, Bed(c), HEAT, 22).ends_s for c in (6e-5, 4e-5, 2e-5)]
    assert by_clogging == sorted(by_clogging)
    assert by_conductance == sorted(by_conductance)


def test_fluidity_against_the_properties_of_water():
    for temperature in (0.0, 20.5, 61.25, 85, 99.9, 100):
        direct = density_kg_m3(temperature) / viscosity_Pa_s(temperature)
        reference = density_kg_m3(REFERENCE_C) / viscosity_Pa_s(REFERENCE_C)
        assert relative_fluidity(temperature) == pytest.approx(direct / reference, rel=1e-4)


def test_shapes():
    # 45 mL in a cone of 60°: pi h³/9, and in a cylinder of 80 mm
    assert CONE.surface_mm(45)(0) == pytest.approx((9 * 45000 / pi) ** (1 / 3))
    assert FLAT.surface_mm(45)(0) == pytest.approx(45000 / (pi * 40**2))
    assert Brewer(Shape.CYLINDER, diameter_mm=80).surface_mm(45)(30) == FLAT.surface_mm(45)(30)
    volume_mm3 = pi / 9 * CONE.surface_mm(45)(50) ** 3
    assert volume_mm3 == pytest.approx(45000 + 50000 / DENSITY_G_ML)


@pytest.mark.parametrize(
    "brewer",
    [
        Brewer(half_angle_deg=0),
        Brewer(half_angle_deg=90),
        Brewer(Shape.FLAT, diameter_mm=0),
        Brewer(Shape.CYLINDER, diameter_mm=float("nan")),
    ],
)
def test_refuses_a_brewer_that_cannot_be(brewer):
    with pytest.raises(ValueError, match=r"cone|diameter"):
        drain(POURS, brewer, 15, Bed(), HEAT, 22)


@pytest.mark.parametrize("wrong", [(0.0,), (-1e-5,), (float("nan"),), (1e-5, -0.1)])
def test_refuses_a_bed_that_cannot_be(wrong):
    with pytest.raises(ValueError, match="lets some water through"):
        Bed(*wrong)


def test_still_water_keeps_its_warmth():
    still = HeatAt(0.0, 0.0, 0.0, 0.0)
    course = drain((), FLAT, 0.0, Bed(), still, 60.0, bed_mL=45, standing_g=100)
    assert set(course.slurry_C) == {60.0}
