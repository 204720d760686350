"""Directions and sizes that the coach states, held against Darcy's law, the viscosity of water and the mass balance."""

import json
from math import pi
from pathlib import Path

import pytest

from calibration.coaching import Ageing, Move, Quantity, Usual, advise
from calibration.coaching.effects import dilution_tds, dose_tds, drawdown_change
from calibration.statistics.planning import brews_needed
from recipes.brewing.bed import Bed, Brewer, conductance_m2_s
from recipes.brewing.drawdown import Inflow, drain
from recipes.brewing.extraction import forecast_beverage_g, tds_on_line_pct
from recipes.brewing.slurry import usual_heat
from tests.coaching.seen import SPREADS, checked, day_off

CHECKS = {
    row["id"]: row
    for row in json.loads((Path(__file__).parents[1] / "data" / "brewing_checks.json").read_text())["rows"]
}
USUAL = Usual(tds_pct=1.40, beverage_g=220.0, slurry_C=90.0, dose_g=15.0)


def brew_time_s(permeability_m2=1e-11, water_C=93.0):
    bed = Bed(conductance_m2_s(permeability_m2, 0.025, pi * 0.025**2, 5e8))
    pours = [Inflow(0, 10, 4, water_C), Inflow(45, 66, 5, water_C), Inflow(90, 111, 5, water_C)]
    return drain(pours, Brewer(), 15, bed, usual_heat(0.0).best, 22.0).ends_s


def kozeny_carman_m2(grain_m, pores=0.4):
    """k = d² e³/(180 (1 - e)²): Bear 1972, section 5.10."""
    return grain_m**2 * pores**3 / (180 * (1 - pores) ** 2)


def test_a_finer_grind_is_slower_by_darcys_law():
    times = [brew_time_s(kozeny_carman_m2(grain)) for grain in (1.1e-4, 1.0e-4, 0.9e-4)]
    assert times[0] < times[1] < times[2]
    finer = advise(day_off(tds="+", time="+"), checked()).causes[0]
    assert finer.key == "grind-finer"
    # and the change, coarser, is said to go back
    assert {one.quantity: one.move for one in finer.effects}[Quantity.BREW_TIME] is Move.DOWN


def test_a_cooler_slurry_is_slower_by_viscosity():
    assert brew_time_s(water_C=80.0) > brew_time_s(water_C=93.0)
    cooler = advise(day_off(tds="-", time="+", slurry="-"), checked()).causes[0]
    assert cooler.key == "kettle-cooler"
    assert {one.quantity: one.move for one in cooler.effects}[Quantity.BREW_TIME] is Move.DOWN


def test_by_how_much_it_is_slower_by_published_viscosities():
    """IAPWS R12-08 and R6-95 at 80 °C and 90 °C: time goes with kinematic viscosity."""
    viscosity, density = (
        {t: CHECKS[f"A-{name}-{t}"]["expected"] for t in (80, 90)} for name in ("mu", "rho")
    )
    slower = viscosity[80] / density[80] / (viscosity[90] / density[90]) - 1
    # relative_fluidity is good to 1e-4, the closed forms to 3e-5
    assert drawdown_change(90.0, -10.0) == pytest.approx(slower, abs=3e-4)
    assert drawdown_change(80.0, 10.0) < 0
    assert drawdown_change(99.0, 5.0) is None


def test_the_size_is_said_where_the_usual_slurry_is_known():
    seen = day_off(tds="-", time="+", slurry="-")
    says = [one.says for one in advise(seen, checked(usual=USUAL)).causes[0].effects]
    share = round(100 * drawdown_change(90.0, -4.0))
    assert says[-1] == f"Brew time: down, the drawdown by about {share} %, by the water's viscosity"
    assert all("about" not in one.size for one in advise(seen, checked()).causes[0].effects)


@pytest.mark.parametrize("more_g", [-8.0, 5.0, 12.0])
def test_more_water_at_the_same_solids(more_g):
    """The balance of solids, E·D = T·B: `recipes.brewing.extraction`."""
    beverage, tds = 220.0, 1.4
    assert (tds + dilution_tds(tds, beverage, more_g)) * (beverage + more_g) == pytest.approx(tds * beverage)


@pytest.mark.parametrize("dose", [14.0, 14.7, 15.5, 16.5])
def test_another_dose_at_the_same_yield(dose):
    """The brew-ratio line of the control chart: `recipes.brewing.extraction`."""
    before, after = (forecast_beverage_g(20.0, of, 250.0) for of in (15.0, dose))
    tds = tds_on_line_pct(20.0, 15.0, 250.0)
    # the dissolved solids, a fifth of the difference in dose, are left out of the coach's sum
    shift = dose_tds(tds, before, 15.0, after - before)
    assert shift == pytest.approx(tds_on_line_pct(20.0, dose, 250.0) - tds, rel=0.12)
    assert dose_tds(tds, before, 15.0, -1000.0) is None


def test_sizes_that_the_mass_balance_asks_for_speak_against_where_they_were_not_seen():
    seen = day_off(tds="+", time="+", beverage="-")
    first = advise(seen, checked(usual=USUAL)).causes[0]
    assert first.key == "dose-more"
    assert any("By the mass balance" in one for one in first.against)
    assert not any("mass balance" in one for one in advise(seen, checked()).causes[0].against)


def test_the_size_of_ageing_is_the_cafes_own():
    advice = advise(day_off(tds="-"), checked(ageing=Ageing(24, 8, -0.006, 0.001)))
    assert advice.causes[0].effects[0].size == "by about 0.10 %, by the café's own readings"


def test_how_many_brews_is_planned():
    """The crew's spread against the smallest difference; √2 since both brews of a pair scatter."""
    shown = advise(day_off(tds="+", time="+"), checked(), SPREADS).causes[0].showing
    assert shown.pairs == min(brews_needed(0.05, 0.03 * 2**0.5).n, brews_needed(6.0, 6.0 * 2**0.5).n)
    assert f"{shown.pairs} pairs" in shown.says
    assert advise(day_off(tds="+", time="+"), checked()).causes[0].showing is None
