"""Slurry temperature against energy balances worked and integrated elsewhere; rows E name source and tolerance.

They take 4.19 J/(g K) for water, the product its value at 75 °C: a tenth of a per cent, well inside 0.02 K.
"""

import pytest

from recipes.brewing import slurry
from tests.published.checks import agrees, computed, given, keys

AT_ONCE_S = 1e-6


def first_mix(given):
    dry_g = (given["m_c_g"] * given["c_c_J_gK"] + given["C_brewer_J_K"]) / slurry.WATER_J_GK
    return slurry.after_C(given["T_amb_C"], dry_g, AT_ONCE_S, given["m_w_g"] / AT_ONCE_S, given["T_w_C"])


def cooling(given):
    return slurry.after_C(
        given["T0_C"],
        given["C_J_K"] / slurry.WATER_J_GK,
        given["t_s"],
        loss_W_K=given["UA_W_K"],
        air_C=given["T_amb_C"],
    )


def pouring(given):
    return slurry.after_C(
        given["T0_C"],
        given["m0_eff_g"],
        given["t_s"],
        given["mdot_g_s"],
        given["T_in_C"],
        0.0,
        given["UA_W_K"],
        given["T_amb_C"],
    )


def pulses(given):
    """At 150 s, after n equal pours that take no time."""
    n, share_g = given["n"], 250 / given["n"]
    heat = slurry.HeatAt(given["UA_W_K"], given["c_c_J_gK"], given["C_brewer_J_K"], 0.0)
    flows = slurry.Flows(
        seconds=(AT_ONCE_S, 150 / n) * n,
        inflow_g_s=(share_g / AT_ONCE_S, 0.0) * n,
        water_C=(93.0,) * (2 * n),
        outflow_g_s=(0.0,) * (2 * n),
        inside_g=tuple(share_g * (index // 2 + index % 2) for index in range(2 * n)),
    )
    return slurry.temperatures_C(flows, given["dose_g"], heat, given["T_amb_C"])[-1]


def drained(given, step_s=0.1):
    """Pours of 5 g/s with a linear drain, the water stepped here, its temperature by the product."""
    n = given["n"]
    rows, inside_g = [], 0.0
    for index in range(round(360 / step_s)):
        at_s = (index + 0.5) * step_s
        pours = any(start <= at_s < start + 250 / n / 5 for start in (i * 150 / n for i in range(n)))
        out = max(0.0, inside_g - given["hold_g"]) / given["tau_s"]
        rows.append((step_s, 5.0 * pours, given["T_in_C"], out, inside_g))
        inside_g += (5.0 * pours - out) * step_s
    flows = slurry.Flows(*zip(*rows, strict=True))
    heat = slurry.HeatAt(given["UA_W_K"], 0.0, given["C_coffee_brewer_J_K"], 0.0)
    temperatures = slurry.temperatures_C(flows, 0.0, heat, given["T_amb_C"])
    return slurry.outflow_C(flows, temperatures)


TABLE = {
    "E-mix-": first_mix,
    "E-cool-": cooling,
    "E-pour-": pouring,
    "E-pulses-": pulses,
    "E-drain-": drained,
    "E-eff-": lambda given: slurry.cold_wall_J_K(given["A_m2"], given["effusivity_J_m2_K_s05"], given["t_s"]),
}
CLAIMED = keys(*TABLE)


@pytest.mark.parametrize("key", CLAIMED)
def test_published_value(key):
    agrees(key, computed(TABLE, key))


def test_more_pours_end_warmer_and_brew_cooler():
    ends = [pulses({**given("E-pulses-1"), "n": n}) for n in (1, 2, 3, 5)]
    assert ends == sorted(ends)
    means = [drained({**given("E-drain-1"), "n": n}, 0.25) for n in (1, 2, 3, 5)]
    assert means == sorted(means, reverse=True)
    # at most 3 K, no more than the parameters are known to
    assert means[0] - means[-1] < 3
