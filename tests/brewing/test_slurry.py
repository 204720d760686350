"""Slurry temperature at its limits, and against the balance of energy taken in very small steps."""

from itertools import pairwise
from random import Random

import pytest

from recipes.brewing import slurry

WATER = slurry.WATER_J_GK


def small_steps(slurry_C, heat_g, seconds, inflow, water_C, outflow, loss_W_K, air_C, parts=20000):
    """c m_e dT/dt = q c (T_in - T) - UA (T - T_a), by Euler."""
    step = seconds / parts
    for _part in range(parts):
        gained = inflow * WATER * (water_C - slurry_C) - loss_W_K * (slurry_C - air_C)
        slurry_C += gained / (WATER * heat_g) * step
        heat_g += (inflow - outflow) * step
    return slurry_C


def test_the_closed_form_against_small_steps():
    rng = Random(3)
    for _draw in range(12):
        case = (
            rng.uniform(20, 95),
            rng.uniform(30, 300),
            rng.uniform(1, 20),
            rng.choice([0.0, rng.uniform(1, 8)]),
            rng.uniform(80, 98),
            rng.choice([0.0, rng.uniform(0, 4)]) * 0.3,
            rng.uniform(0, 1.5),
            rng.uniform(5, 35),
        )
        assert slurry.after_C(*case) == pytest.approx(small_steps(*case), abs=0.005)


def test_inflow_and_outflow_alike():
    near = [slurry.after_C(60, 100, 20, 4.0, 93, 4.0 + tiny, 0.6, 22) for tiny in (-1e-6, 0.0, 1e-6)]
    assert near == pytest.approx([near[1]] * 3, abs=1e-5)


def test_nothing_happens_without_flow_or_loss():
    assert slurry.after_C(80, 100, 30, loss_W_K=0.0) == 80
    assert slurry.after_C(80, 100, 0, 5, 93, 0, 0.6, 22) == 80
    # what runs out takes its own temperature along
    assert slurry.after_C(80, 100, 10, 0.0, 0.0, 5.0, 0.0, 22) == 80


def test_water_on_nothing_is_as_warm_as_the_water():
    assert slurry.after_C(22, 0.0, 5, 4, 93) == 93


def test_it_ends_between_water_and_air():
    for loss in (0.3, 1.2):
        cooling = [
            slurry.after_C(85, 150, seconds, loss_W_K=loss, air_C=22) for seconds in (0, 60, 600, 60000)
        ]
        assert all(later < earlier for earlier, later in pairwise(cooling))
        assert cooling[-1] == pytest.approx(22, abs=0.01)
        assert 22 < slurry.after_C(22, 20, 40, 5, 93, 0, loss, 22) < 93


def test_the_ranges_to_reckon_with():
    heat = slurry.usual_heat()
    assert heat.brewer_J_K.low == 0
    assert heat.brewer_J_K.high == pytest.approx(slurry.cold_wall_J_K())
    assert slurry.usual_heat(0).brewer_J_K == slurry.Range(0, 0, 0)
    known = slurry.usual_heat(60).brewer_J_K
    assert known.low < known.best == 60 < known.high
    with pytest.raises(ValueError, match="0 J/K or more"):
        slurry.usual_heat(-1)


def test_plastic_takes_less_than_half_of_ceramic():
    plastic = slurry.cold_wall_J_K(effusivity=slurry.PLASTIC_EFFUSIVITY)
    assert plastic < slurry.cold_wall_J_K() / 2


def flows(*rows):
    return slurry.Flows(*zip(*rows, strict=True))


BREW = flows(
    (10.0, 0.0, 22.0, 0.0, 0.0),
    (10.0, 4.0, 93.0, 0.0, 0.0),
    (30.0, 0.0, 22.0, 0.5, 40.0),
    (20.0, 5.0, 93.0, 2.0, 25.0),
)


def test_dry_until_the_first_water_and_a_band_from_then_on():
    heat = slurry.usual_heat(28)
    cold, best, warm = (slurry.temperatures_C(BREW, 15, one, 22) for one in (heat.cold, heat.best, heat.warm))
    assert cold[:2] == best[:2] == warm[:2] == (None, None)
    assert len(best) == len(BREW.seconds) + 1
    assert all(low < middle < high for low, middle, high in zip(cold[2:], best[2:], warm[2:], strict=True))


def test_water_is_cooled_on_its_way_down():
    still = slurry.HeatAt(0.0, 1.6, 0.0, 0.0)
    cooled = slurry.HeatAt(0.0, 1.6, 0.0, 2.0)
    one, other = (slurry.temperatures_C(BREW, 0, heat, 22)[2] for heat in (still, cooled))
    assert one - other == pytest.approx(2.0)


def test_mean_of_what_runs_out_is_weighted_by_its_mass():
    assert slurry.outflow_C(BREW, (None, None, 80.0, 70.0, 90.0)) == pytest.approx((15 * 75 + 40 * 80) / 55)
    dry = flows((10.0, 4.0, 93.0, 0.0, 0.0))
    assert slurry.outflow_C(dry, (None, 80.0)) is None


def test_a_brewer_of_which_nothing_is_known_may_be_preheated_or_cold():
    cold = slurry.cold_wall_J_K()
    assert slurry.usual_heat().brewer_J_K == slurry.Range(0.0, cold / 2, cold)
