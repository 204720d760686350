"""A bed's conductance from logged brews, and what brew time it lets expect."""

from math import exp, log
from random import Random

import pytest

from recipes.brewing.bed import Bed, Brewer, Shape
from recipes.brewing.drawdown import (
    BREWS_FOR_A_FIT,
    USUAL_SCATTER,
    Inflow,
    ObservedBrew,
    drain,
    fit_conductance,
    forecast,
)
from recipes.brewing.slurry import usual_heat

POURS = (Inflow(0, 10, 4, 93), Inflow(45, 67, 5, 93), Inflow(90, 110, 5, 93))
CONE, FLAT = Brewer(), Brewer(Shape.FLAT, diameter_mm=80)
HEAT = usual_heat(None).best


def ended(conductance, brewer=CONE, pours=POURS):
    return drain(pours, brewer, 15, Bed(conductance), HEAT, 22, step_s=0.25).ends_s


def brews(*times):
    return [ObservedBrew(POURS, 15, time_s) for time_s in times]


@pytest.mark.parametrize(("brewer", "truth"), [(CONE, 2e-5), (CONE, 5e-5), (FLAT, 1e-4)])
def test_brews_of_one_bed_give_that_bed(brewer, truth):
    fit = fit_conductance(brews(*[ended(truth, brewer)] * 5), brewer)
    assert fit.conductance_m2_s == pytest.approx(truth, rel=0.005)
    assert fit.low < truth < fit.high
    assert fit.next_low < fit.low < fit.high < fit.next_high
    assert (fit.fitted, fit.brews, fit.left_out) == (True, 5, 0)


def test_other_plans_of_the_same_bed_agree():
    other = (Inflow(0, 12, 4, 93), Inflow(40, 80.4, 5, 93))
    mixed = [ObservedBrew(POURS, 15, ended(3e-5)), ObservedBrew(other, 15, ended(3e-5, pours=other))]
    fit = fit_conductance(mixed, CONE)
    assert fit.conductance_m2_s == pytest.approx(3e-5, rel=0.005)


@pytest.mark.parametrize("count", range(BREWS_FOR_A_FIT + 2))
def test_how_many_brews_are_missing(count):
    fit = fit_conductance(brews(*[185] * count), CONE)
    assert fit.brews_needed == max(0, BREWS_FOR_A_FIT - count)
    assert fit.fitted == (count >= BREWS_FOR_A_FIT)
    assert (forecast(POURS, CONE, 15, fit, HEAT, 22) is None) == (count < BREWS_FOR_A_FIT)


def test_more_brews_are_known_better():
    few, many = (fit_conductance(brews(*[180, 185, 190, 182, 188] * times), CONE) for times in (1, 4))
    assert many.u_relative < few.u_relative
    assert many.high / many.low < few.high / few.low


def test_brews_that_cannot_have_been_poured_as_planned_are_left_out():
    # the last pour ends at 110 s
    fit = fit_conductance(brews(185, 185, 185, 185, 185, 90, 1300, float("nan")), CONE)
    assert (fit.brews, fit.left_out) == (5, 3)
    assert fit.conductance_m2_s == pytest.approx(fit_conductance(brews(*[185] * 5), CONE).conductance_m2_s)


def test_a_bed_that_showed_with_the_last_drop_only_bounds_it():
    fit = fit_conductance(brews(*[111] * 6), CONE)
    assert (fit.conductance_m2_s, fit.brews, fit.fitted, fit.brews_needed) == (None, 6, False, 1)
    assert forecast(POURS, CONE, 15, fit, HEAT, 22) is None
    with_bounds = fit_conductance(brews(120, 122, 121, 111, 111), CONE)
    without = fit_conductance(brews(120, 122, 121), CONE)
    assert with_bounds.conductance_m2_s > without.conductance_m2_s


def test_no_brews():
    fit = fit_conductance([], CONE)
    assert (fit.brews, fit.brews_needed, fit.conductance_m2_s) == (0, BREWS_FOR_A_FIT, None)


def test_the_forecast_holds_what_it_was_made_from():
    fit = fit_conductance(brews(178, 185, 188, 182, 192), CONE)
    said = forecast(POURS, CONE, 15, fit, HEAT, 22)
    assert said.low_s < 178
    assert said.high_s > 192
    assert said.best_s == pytest.approx(185, abs=2)
    # another plan: all the water sooner ends sooner
    sooner = (Inflow(0, 10, 4, 93), Inflow(30, 72, 5, 93))
    assert forecast(sooner, CONE, 15, fit, HEAT, 22).best_s < said.best_s


def test_a_forecast_that_may_never_end():
    fit = fit_conductance(brews(*[1100, 1150, 1190, 1000, 900]), CONE)
    said = forecast(POURS, CONE, 15, fit, HEAT, 22)
    assert said.high_s is None
    assert said.low_s < 1100


def test_drawn_beds_are_found_again_and_the_next_brew_falls_inside():
    rng, covered, foretold, off, drawn = Random(21), 0, 0, 0.0, 40
    for _draw in range(drawn):
        truth = exp(rng.uniform(log(1.8e-5), log(4e-5)))
        times = [ended(truth * exp(rng.gauss(0, USUAL_SCATTER))) for _brew in range(6)]
        fit = fit_conductance(brews(*times[:5]), CONE)
        said = forecast(POURS, CONE, 15, fit, HEAT, 22)
        covered += fit.low <= truth <= fit.high
        foretold += said.low_s <= times[5] <= (said.high_s or 1e9)
        off += log(fit.conductance_m2_s / truth) / drawn
    # 95 % of 40 is 38; 34 or fewer would come once in thirty times
    assert covered >= 35
    assert foretold >= 35
    assert abs(off) < 3 * USUAL_SCATTER / (5 * drawn) ** 0.5
