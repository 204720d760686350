"""A kettle's N from where its stream broke, and what may be said with it."""

from dataclasses import replace
from math import exp, log
from random import Random

import pytest

from recipes.brewing.stream import (
    N_CEILING,
    N_HIGH,
    N_LOW,
    N_USUAL,
    Basis,
    NFit,
    Observation,
    Regime,
    breakup,
    breakup_height_mm,
    fit_n,
)

COLD = 15.0


def seen(n, flow, temperature=COLD, bore=6.0):
    return Observation(flow, temperature, breakup_height_mm(flow, temperature, bore, n))


THREE = tuple(seen(9.0, flow) for flow in (3, 4.5, 6))


def test_points_of_one_n_give_that_n():
    fit = fit_n(THREE)
    assert fit.n == pytest.approx(9.0)
    assert fit.fitted
    assert fit.points_needed == 0
    assert (fit.broken, fit.whole, fit.points) == (3, 0, 3)
    assert fit.low < fit.n - fit.u < fit.n < fit.n + fit.u < fit.high
    # three points of a usual kettle: within a fifth to either side
    assert fit.n / fit.low < 1.2
    assert fit.regimes == {Regime.LAMINAR}


def test_two_points_are_not_a_fit_and_one_more_makes_it():
    fit = fit_n(THREE[:2])
    assert (fit.fitted, fit.points_needed) == (False, 1)
    assert fit.n == pytest.approx(9.0)
    assert fit_n(THREE[:1]).points_needed == 2


def test_a_stream_that_did_not_break_counts_as_a_point_and_raises_n():
    whole = replace(seen(12.0, 7.0), broken=False)
    fit = fit_n([*THREE[:2], whole])
    assert fit.fitted
    assert 9.0 < fit.n < 12.0
    assert fit.n > fit_n(THREE[:2]).n
    # were it taken as broken there, N would be lower than that it broke somewhere above
    assert fit.high - fit.n > fit.n - fit.low
    # one that stopped far below where the others broke tells nothing
    low = replace(seen(3.0, 5.0), broken=False)
    assert fit_n([*THREE[:2], low]).n == pytest.approx(9.0, rel=1e-3)


def test_nothing_broke():
    whole = [replace(seen(9.0, flow), broken=False) for flow in (4, 5, 6)]
    fit = fit_n(whole)
    assert (fit.n, fit.u, fit.high) == (None, None, None)
    # three streams whole at 9 are seen once in twenty times if N is this low
    assert N_USUAL < fit.low < 9.0
    assert (fit.fitted, fit.points_needed) == (False, 1)
    band = breakup(5, COLD, fit=fit)
    assert band.basis is Basis.ASSUMED
    # raised in proportion, as far as thermal noise lets any stream fall
    numbers = (fit.low, fit.low / N_LOW * N_USUAL, N_CEILING)
    expected = [breakup_height_mm(5, COLD, n=n) for n in numbers]
    assert [band.low_mm, band.best_mm, band.high_mm] == pytest.approx(expected)
    low = breakup(5, COLD, fit=fit_n([replace(seen(4.0, 5), broken=False)]))
    assert low == breakup(5, COLD)


def test_a_kettle_nobody_measured():
    band = breakup(5, 93)
    assert not band.measured
    expected = [breakup_height_mm(5, 93, 6, n) for n in (N_LOW, N_USUAL, N_HIGH)]
    assert [band.low_mm, band.best_mm, band.high_mm] == pytest.approx(expected)
    # a fit that is none yet changes nothing
    assert breakup(5, 93, fit=fit_n(THREE[:2])) == band


def test_a_measured_kettle_is_narrow_where_it_was_measured():
    fit = fit_n(THREE)
    band, wide = breakup(5, COLD, fit=fit), breakup(5, COLD)
    assert band.measured
    assert band.high_mm / band.low_mm < 0.75 * wide.high_mm / wide.low_mm
    assert band.low_mm < band.best_mm < band.high_mm


def test_cold_points_do_not_narrow_hot_water():
    """The trade says that hotter streams break sooner, theory a little later: only hot points settle it."""
    cold = fit_n(THREE)
    band = breakup(5, 93, fit=cold)
    assert band.basis is Basis.ELSEWHERE
    assert band.low_mm <= breakup_height_mm(5, 93, 6, N_LOW)
    assert band.high_mm >= breakup_height_mm(5, 93, 6, N_HIGH)
    assert band.best_mm == pytest.approx(breakup_height_mm(5, 93, 6, cold.n))
    hot = fit_n([*THREE, *(seen(7.0, flow, 93) for flow in (3, 4, 5))])
    assert Regime.TRANSITIONAL in hot.regimes
    assert breakup(5, 93, fit=hot).measured


def test_the_bore_that_was_measured_with_is_the_one_to_reckon_with():
    narrow = [seen(9.0, flow, bore=4.0) for flow in (3, 4, 5)]
    assert fit_n(narrow, 4.0).n == pytest.approx(9.0)
    assert fit_n(narrow, 6.0).n != pytest.approx(9.0, rel=1e-6)


def test_drawn_kettles_are_found_again():
    """Heights that scatter by 10 %, read up to 200 mm: no bias, and the interval covers."""
    rng, covered, off, drawn = Random(11), 0, 0.0, 300
    for _draw in range(drawn):
        truth = exp(rng.uniform(log(6), log(11)))
        points = []
        for flow in (2.5, 4, 5.5, 7):
            height = breakup_height_mm(flow, COLD, 6, truth * exp(rng.gauss(0, 0.10)))
            points.append(Observation(flow, COLD, min(height, 200.0), height < 200.0))
        fit: NFit = fit_n(points)
        covered += fit.low <= truth <= fit.high
        off += log(fit.n / truth) / drawn
    assert abs(off) < 0.015
    assert covered / drawn > 0.93


@pytest.mark.parametrize(
    "wrong",
    [
        Observation(0, 15, 100),
        Observation(5, 15, 0),
        Observation(5, 15, -10),
        Observation(float("nan"), 15, 100),
        Observation(5, 120, 100),
    ],
)
def test_refuses_what_cannot_have_been_seen(wrong):
    with pytest.raises(ValueError, match=r"needs|liquid"):
        fit_n([wrong])


def test_needs_something_to_go_by():
    with pytest.raises(ValueError, match="Measure at least one"):
        fit_n([])
