"""Properties of water and its boiling point against IAPWS; rows A of brewing_checks.json name release and tolerance."""

import pytest

from recipes.brewing import water
from tests.published.checks import agrees, computed, keys

TABLE = {
    "A-rho-": lambda given: water.density_kg_m3(given["t_C"]),
    "A-mu-": lambda given: water.viscosity_Pa_s(given["t_C"]),
    "A-sigma-": lambda given: water.surface_tension_N_m(given["t_C"]),
    "A-cp-": lambda given: water.heat_capacity_J_kgK(given["t_C"]),
    "A-boil-": lambda given: water.boiling_point_C(given["z_m"]),
}
CLAIMED = keys(*TABLE)


@pytest.mark.parametrize("key", CLAIMED)
def test_published_value(key):
    agrees(key, computed(TABLE, key))


# IAPWS R6-95(2018) at 0.101325 MPa, computed with other software: density in kg/m³, heat capacity in J/(kg K)
COLD = {0.1: (999.850, 4219.10), 5: (999.967, 4205.04), 10: (999.702, 4195.16), 15: (999.103, 4188.46)}


@pytest.mark.parametrize(("t", "expected"), COLD.items())
def test_cold_water_outside_of_what_was_fitted(t, expected):
    # the module promises 4e-4 and 7e-3 down to 0 °C
    assert water.density_kg_m3(t) == pytest.approx(expected[0], rel=4e-4)
    assert water.heat_capacity_J_kgK(t) == pytest.approx(expected[1], rel=7e-3)


def test_release_check_values():
    # IAPWS R1-76(2014), table 1, values from memory: 71.97 mN/m at 25 °C and 58.91 mN/m at 100 °C
    assert water.surface_tension_N_m(25) == pytest.approx(71.97e-3, abs=5e-6)
    assert water.surface_tension_N_m(100) == pytest.approx(58.91e-3, abs=6e-6)
    # IAPWS SR6-08(2011), table 8, from memory: 889.996 µPa·s at 298.15 K and 0.1 MPa
    assert water.viscosity_Pa_s(25) == pytest.approx(889.996e-6, rel=1e-5)
