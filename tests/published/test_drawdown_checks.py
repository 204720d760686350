"""The stepped drawdown against closed forms of Darcy's law; rows F name source and tolerance.

Kozeny-Carman's and Ergun's equations have no function in the product, since no permeability may be foretold from a
grind: `yardsticks` has them. Where a row is for one temperature, the slurry is held at the reference temperature.
"""

from math import pi, sqrt

import pytest

from recipes.brewing.bed import (
    DENSITY_G_ML,
    REFERENCE_C,
    TYPICAL_CONDUCTANCE_M2_S,
    Bed,
    Brewer,
    Shape,
    conductance_m2_s,
    relative_fluidity,
)
from recipes.brewing.drawdown import Inflow, drain
from recipes.brewing.slurry import HeatAt
from recipes.brewing.water import GRAVITY_M_S2
from tests.published import yardsticks
from tests.published.checks import ROWS, agrees, computed, given, keys

STILL = HeatAt(0.0, 0.0, 0.0, 0.0)


def cylinder(area_m2):
    return Brewer(Shape.CYLINDER, diameter_mm=1e3 * sqrt(4 * area_m2 / pi))


def falling_s(h1_m, h2_m, area_m2, conductance, clogging_per_g=0.0):
    """From one level to another, as a bed as deep as the lower one with water up to the upper one."""
    course = drain(
        (),
        cylinder(area_m2),
        0.0,
        Bed(conductance, clogging_per_g),
        STILL,
        REFERENCE_C,
        bed_mL=h2_m * area_m2 * 1e6,
        standing_g=(h1_m - h2_m) * area_m2 * 1e6 * DENSITY_G_ML,
    )
    return course.ends_s


def emptied_s(given):
    cone = Brewer(Shape.CONE, half_angle_deg=given["half_angle_deg"])
    volume_mL = pi / 9 * given["h0_m"] ** 3 * 1e6  # pi tan²(30°) h³/3
    return drain(
        (),
        cone,
        0.0,
        Bed(given["C_m2_s"]),
        STILL,
        REFERENCE_C,
        bed_mL=0.0,
        standing_g=volume_mL * DENSITY_G_ML,
        step_s=0.02,  # a cone without a bed empties ever faster towards its tip
    ).ends_s


def clogged_s(given):
    conductance = given["rho"] * GRAVITY_M_S2 * given["A_m2"] / (given["mu"] * given["R0_per_m"])
    per_g = given["alpha_per_m4"] / given["R0_per_m"] / (1e6 * DENSITY_G_ML)
    return falling_s(given["h1_m"], given["h2_m"], given["A_m2"], conductance, per_g)


def filled_m(given):
    pour = Inflow(0.0, given["t_s"], given["q_mL_s"] * DENSITY_G_ML, REFERENCE_C)
    course = drain(
        (pour,), cylinder(given["A_m2"]), 0.0, Bed(given["C_m2_s"]), STILL, REFERENCE_C, keeps_g=0.0
    )
    return course.column_mm[course.at_s.index(given["t_s"])] / 1e3


def bed_conductance(given):
    return conductance_m2_s(given["k_m2"], given["L_m"], given["A_m2"], given["Rp_per_m"], given["t_C"])


def permeability(given):
    """Of a bed 1 m deep on 1 m² without paper: K is its conductance, and that goes in proportion to k."""
    return given["K_m_s"] / conductance_m2_s(1.0, 1.0, 1.0, temperature_C=20)


def falling_head_conductivity(given):
    """The conductivity that lets the standpipe fall in the time given, by halving."""
    low, high = 1e-6, 1e-3
    for _round in range(40):
        middle = sqrt(low * high)
        taken_s = falling_s(
            given["h1_m"], given["h2_m"], given["a_m2"], middle * given["A_m2"] / given["L_m"]
        )
        low, high = (middle, high) if taken_s is None or taken_s > given["t_s"] else (low, middle)
    return middle


def ergun(given):
    return yardsticks.ergun_Pa_m(
        given["d_um"] / 1e6, given["porosity"], given["u_m_s"], given["rho"], given["mu"]
    )


TABLE = {
    "F-KC-": lambda given: yardsticks.kozeny_carman_m2(given["d_um"] / 1e6, given["porosity"]),
    "F-Erg-": lambda given: sum(ergun(given)),
    "F-inert-": lambda given: ergun(given)[1] / sum(ergun(given)),
    "F-cond-": bed_conductance,
    "F-Q-": lambda given: bed_conductance(given) * given["h_m"] * 1e6,
    "F-cyl-": lambda given: falling_s(given["h1_m"], given["h2_m"], given["A_tank_m2"], given["C_m2_s"]),
    "F-perm-": falling_head_conductivity,
    "F-permk-": permeability,
    "F-cone-": emptied_s,
    "F-cake-": clogged_s,
    "F-fill-": filled_m,
    "F-muT": lambda given: relative_fluidity(90) / relative_fluidity(80),
}
CLAIMED = keys(*TABLE)


@pytest.mark.parametrize("key", CLAIMED)
def test_published_value(key):
    agrees(key, computed(TABLE, key))


def test_darcys_law_is_enough():
    # row F-inert-a is a fast brew through a coarse bed; Darcy leaves out this share
    assert ROWS["F-inert-a"]["expected"] < 0.04


def test_a_typical_bed_is_finer_than_its_dry_grounds_would_be():
    # Kozeny-Carman for 150 µm and 300 µm lies above the effective permeability that brews show, paper included
    effective_m2 = 1e-11
    assert all(effective_m2 < ROWS[key]["expected"] for key in keys("F-KC-"))
    assert pytest.approx(conductance_m2_s(effective_m2, 0.025, 0.0025, 5e8)) == TYPICAL_CONDUCTANCE_M2_S


def test_clogging_takes_longer():
    plain = falling_s(0.05, 0.01, 0.0025, 8e-5)
    assert falling_s(0.05, 0.01, 0.0025, 8e-5, 0.01) > plain
    assert given("F-cake-a")["alpha_per_m4"] > 0
