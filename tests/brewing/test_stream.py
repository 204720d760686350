"""The stream at its limits, and its breakup against waves grown step by step."""

from itertools import pairwise
from math import pi, sqrt
from random import Random

import pytest

from recipes.brewing import stream
from recipes.brewing.water import GRAVITY_M_S2, density_kg_m3, surface_tension_N_m

FLOWS = [0.5, 1, 2, 4, 6, 8, 10, 15]


def broken_after_mm(flow_g_s, temperature_C, bore_mm, n, step_s=2e-5):
    """Let the fastest wave at each moment grow on the stream as it falls, until it has grown by e^n."""
    rho, sigma = density_kg_m3(temperature_C), surface_tension_N_m(temperature_C)
    flow = flow_g_s / 1e3 / rho
    speed, fallen, grown = flow / (pi * (bore_mm / 2e3) ** 2), 0.0, 0.0
    while grown < n:
        radius = sqrt(flow / (pi * (speed + GRAVITY_M_S2 * step_s / 2)))
        grown += 0.343339 * sqrt(sigma / (rho * radius**3)) * step_s
        fallen += (speed + GRAVITY_M_S2 * step_s / 2) * step_s
        speed += GRAVITY_M_S2 * step_s
    return 1e3 * fallen


def test_breakup_against_waves_grown_step_by_step():
    rng = Random(1)
    for _draw in range(12):
        case = rng.uniform(1, 12), rng.uniform(10, 98), rng.uniform(3, 9), rng.uniform(5, 13)
        assert stream.breakup_height_mm(*case) == pytest.approx(broken_after_mm(*case), rel=2e-3)


@pytest.mark.parametrize("temperature_C", [10, 60, 93])
def test_breakup_grows_with_flow_and_with_n(temperature_C):
    by_flow = [stream.breakup_height_mm(flow, temperature_C) for flow in FLOWS]
    by_n = [stream.breakup_height_mm(5, temperature_C, n=n) for n in (4, 6, 8, 12, 16)]
    assert all(lower < higher for lower, higher in [*pairwise(by_flow), *pairwise(by_n)])


def test_the_bore_hardly_matters():
    for flow in (2, 4, 6, 8, 10):
        heights = [stream.breakup_height_mm(flow, 93, bore) for bore in (4, 6, 8)]
        assert max(heights) / min(heights) < 1.07


def test_slow_water_from_a_wide_spout():
    # V0 near nothing: L goes with N^(8/7) and Q^(6/7)
    one = stream.breakup_height_mm(2, 20, 100, 6)
    assert stream.breakup_height_mm(2, 20, 100, 12) / one == pytest.approx(2 ** (8 / 7), rel=1e-3)
    assert stream.breakup_height_mm(4, 20, 100, 6) / one == pytest.approx(2 ** (6 / 7), rel=1e-3)


def test_no_water_no_stream():
    assert stream.exit_velocity_m_s(0, 93) == 0
    assert stream.reynolds(0, 93) == 0
    assert stream.weber(0, 93) == 0
    assert stream.breakup_height_mm(0, 93) == 0
    assert stream.stream_diameter_mm(0, 93, 0) == 0
    assert stream.impact_power_W(0, 2) == 0
    assert stream.momentum_flux_N(0, 2) == 0
    assert stream.scale_offset_g(0, 2) == 0


def test_a_spout_on_the_water_gives_the_velocity_of_the_spout():
    assert stream.impact_velocity_m_s(5, 93, 6, 0) == stream.exit_velocity_m_s(5, 93, 6)
    diameter = stream.stream_diameter_mm(5, 93, stream.exit_velocity_m_s(5, 93, 6))
    assert diameter == pytest.approx(6)


def test_ohnesorge_is_what_weber_and_reynolds_make_it():
    for flow in FLOWS:
        by_both = sqrt(stream.weber(flow, 93, 5)) / stream.reynolds(flow, 93, 5)
        assert stream.ohnesorge(93, 5) == pytest.approx(by_both, rel=1e-9)


def test_n_read_backwards():
    rng = Random(2)
    for _draw in range(50):
        flow, temperature, bore, n = (
            rng.uniform(1, 12),
            rng.uniform(5, 99),
            rng.uniform(2, 9),
            rng.uniform(3, 16),
        )
        height = stream.breakup_height_mm(flow, temperature, bore, n)
        assert stream.growth_number(flow, temperature, bore, height) == pytest.approx(n, rel=1e-9)


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (0, stream.Regime.LAMINAR),
        (1999.9, stream.Regime.LAMINAR),
        (2000, stream.Regime.TRANSITIONAL),
        (4000, stream.Regime.TRANSITIONAL),
        (4000.1, stream.Regime.TURBULENT),
    ],
)
def test_regimes_at_their_edges(number, said):
    assert stream.regime(number) is said


def test_flow_at_a_reynolds_number_read_backwards():
    assert stream.reynolds(stream.flow_at_reynolds_g_s(2300, 93, 5), 93, 5) == pytest.approx(2300)


@pytest.mark.parametrize("bore", [3, 5, 6, 8])
def test_wider_spouts_drip_up_to_more(bore):
    assert stream.jetting_flow_g_s(93, bore) < stream.jetting_flow_g_s(93, bore + 1)


def test_a_column_takes_nothing_at_first_and_ever_more():
    assert stream.attenuation(2, 0) == 1
    assert stream.attenuation(2, 12.4) == 1
    assert stream.attenuation(2, 12.4001) == pytest.approx(1, abs=1e-4)
    left = [stream.attenuation(2, column) for column in range(13, 100)]
    assert all(shallow > deep > 0 for shallow, deep in pairwise(left))
    assert stream.attenuation(0, 10) == 0


def test_a_jet_that_keeps_its_momentum_loses_energy_as_it_loses_velocity():
    # a round jet with a Gaussian profile, summed ring by ring: momentum held, its speed halved, its width doubled
    def fluxes(speed, width):
        rings = [(0.005 * (i + 0.5) * width, 0.005 * width) for i in range(1000)]
        at = [(speed * 2.718281828 ** (-((r / width) ** 2)), 2 * pi * r * dr) for r, dr in rings]
        return sum(u**2 * a for u, a in at), sum(u**3 * a / 2 for u, a in at)

    momentum, energy = fluxes(2.0, 1.0)
    later_momentum, later_energy = fluxes(1.0, 2.0)
    assert later_momentum == pytest.approx(momentum)
    assert later_energy / energy == pytest.approx(0.5)


def test_recommended_heights_are_clipped():
    def heights(*breaks):
        return stream.recommended_height_mm(stream.Breakup(*breaks, stream.Basis.ASSUMED))

    assert heights(100, 150, 200) == stream.Heights(80, 120, 160)
    assert heights(10, 37.5, 400) == stream.Heights(30, 30, 300)


@pytest.mark.parametrize("wrong", [-1, float("nan"), float("inf")])
def test_refuses_what_cannot_be_poured(wrong):
    for call in (
        lambda: stream.exit_velocity_m_s(wrong, 93),
        lambda: stream.reynolds(wrong, 93),
        lambda: stream.breakup_height_mm(wrong, 93),
        lambda: stream.exit_velocity_m_s(5, 93, wrong),
        lambda: stream.exit_velocity_m_s(5, 93, 0),
        lambda: stream.impact_velocity_m_s(5, 93, 6, wrong),
        lambda: stream.breakup_height_mm(5, 93, 6, wrong),
        lambda: stream.growth_number(5, 93, 6, wrong),
        lambda: stream.growth_number(0, 93, 6, 100),
        lambda: stream.momentum_flux_N(wrong, 2),
        lambda: stream.breakup_height_mm(5, wrong if wrong != -1 else 101),
    ):
        with pytest.raises(ValueError, match=r"must be|needs|liquid"):
            call()
    with pytest.raises(ValueError, match="less than nothing"):
        stream.attenuation(-1, 1)
