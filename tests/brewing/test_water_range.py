from itertools import pairwise

import pytest

from recipes.brewing.water import (
    ALTITUDE_MAX_M,
    ALTITUDE_MIN_M,
    boiling_point_C,
    density_kg_m3,
    heat_capacity_J_kgK,
    surface_tension_N_m,
    viscosity_Pa_s,
)


def test_falls_with_altitude():
    boils = [boiling_point_C(altitude) for altitude in range(-430, 5001, 10)]
    assert all(higher < lower for lower, higher in pairwise(boils))


@pytest.mark.parametrize(
    "altitude_m", [ALTITUDE_MIN_M - 0.1, ALTITUDE_MAX_M + 0.1, float("nan"), float("inf")]
)
def test_refuses_altitudes_out_of_range(altitude_m):
    with pytest.raises(ValueError, match="between -430 m and 5000 m"):
        boiling_point_C(altitude_m)


@pytest.mark.parametrize("altitude_m", [ALTITUDE_MIN_M, 0, ALTITUDE_MAX_M])
def test_accepts_the_ends_of_the_range(altitude_m):
    assert 80 < boiling_point_C(altitude_m) < 102


PROPERTIES = [density_kg_m3, viscosity_Pa_s, surface_tension_N_m, heat_capacity_J_kgK]


@pytest.mark.parametrize("of_water", PROPERTIES)
@pytest.mark.parametrize("temperature_C", [-0.1, 100.1, float("nan"), float("inf")])
def test_refuses_what_is_not_liquid(of_water, temperature_C):
    with pytest.raises(ValueError, match="liquid between 0 °C and 100 °C"):
        of_water(temperature_C)


@pytest.mark.parametrize("of_water", PROPERTIES)
def test_takes_liquid_water_from_ice_to_steam(of_water):
    assert of_water(0) > 0
    assert of_water(100) > 0


@pytest.mark.parametrize("of_water", [density_kg_m3, viscosity_Pa_s, surface_tension_N_m])
def test_hotter_water_is_lighter_thinner_and_less_tense(of_water):
    # density has its maximum at 4 °C, and its fit is not made for colder water than 20 °C
    values = [of_water(temperature) for temperature in range(5, 101)]
    assert all(hotter < cooler for cooler, hotter in pairwise(values))
