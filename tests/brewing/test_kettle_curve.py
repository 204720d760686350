"""What is known of a kettle's stream: curves, their bands, what is said of them, which pours it cannot make."""

import pytest

from recipes.brewing import kettle_words, stream
from recipes.brewing.kettle_curve import beyond, known
from recipes.brewing.plan import Kettle, Pattern, Pour, PourPlan
from recipes.brewing.stream import Basis, Observation, fit_n

BORE_MM, N = 5.0, 9.0
BOILS_C = 100.0


def at(flow_g_s, temperature_C, factor=1.0, n=N):
    """What a kettle of this N shows; ``factor`` is the hand that held it."""
    height_mm = factor * stream.breakup_height_mm(flow_g_s, temperature_C, BORE_MM, n)
    return Observation(flow_g_s, temperature_C, height_mm)


def kettle(*points, **other):
    fit = fit_n(points, BORE_MM) if points else None
    return Kettle(
        "Heron", **{"flow_min_g_s": 1.5, "flow_max_g_s": 5.0, "bore_mm": BORE_MM, "growth": fit} | other
    )


def look(*points, boils_C=BOILS_C, **other):
    return known(kettle(*points, **other), points, boils_C)


COLD = (at(2, 15, 0.97), at(3.5, 15, 1.04), at(5, 15))
HOT = (at(1.6, 93), at(3, 93, 1.05), at(5, 94, 0.96))


def bases(curve):
    return [stretch.basis for stretch in curve.stretches]


def test_before_a_fit_the_band_is_that_of_any_hand_held_kettle():
    for points in ((), COLD[:1], COLD[:2]):
        seen = look(*points)
        assert seen.measured == ()
        assert bases(seen.brewing) == [Basis.ASSUMED]
        for row in seen.brewing.rows:
            low, high = (
                stream.breakup_height_mm(row.flow_g_s, 93, BORE_MM, n) for n in (stream.N_LOW, stream.N_HIGH)
            )
            assert (row.breaks.low_mm, row.breaks.high_mm) == pytest.approx((low, high))


def test_points_from_cold_water_do_not_narrow_the_band_where_hot_water_leaves_the_spout_differently():
    seen = look(*COLD)
    (cold,) = seen.measured
    assert bases(cold) == [Basis.MEASURED]
    assert bases(seen.brewing) == [Basis.MEASURED, Basis.ELSEWHERE]
    slow, fast = seen.brewing.stretches
    # Re of 2000 in a spout of 5 mm: laminar below, as the cold points were.
    assert stream.reynolds(slow.flows_g_s[-1], 93, BORE_MM) == pytest.approx(2000, rel=1e-4)
    assert slow.flows_g_s[-1] < fast.flows_g_s[0]
    at_the_edge = fast.breaks[0]
    assert at_the_edge.low_mm == pytest.approx(
        stream.breakup_height_mm(fast.flows_g_s[0], 93, BORE_MM, stream.N_LOW)
    )


def test_hot_points_narrow_it_and_then_nothing_is_said_of_other_flows():
    seen = look(*COLD, *HOT)
    assert bases(seen.brewing) == [Basis.MEASURED]
    assert [round(curve.temperature_C) for curve in seen.curves] == [93, 15]
    assert [(group.is_hot, len(group.points)) for group in seen.groups] == [(False, 3), (True, 3)]
    widest = stream.breakup(3, 93, BORE_MM)
    row = next(row for row in seen.brewing.rows if row.flow_g_s == 3)
    assert row.breaks.high_mm - row.breaks.low_mm < (widest.high_mm - widest.low_mm) / 2
    assert len(kettle_words.say(seen)) == 2


def test_a_curve_rises_and_has_a_row_for_every_round_flow_of_the_kettle():
    seen = look(*COLD)
    for curve in seen.curves:
        heights = [row.breaks.best_mm for row in curve.rows]
        assert heights == sorted(heights)
    assert [row.flow_g_s for row in seen.brewing.rows] == [1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5]
    fast = look(bore_mm=9.0, flow_min_g_s=4.0, flow_max_g_s=12.0)
    assert [row.flow_g_s for row in fast.brewing.rows] == [4, 6, 8, 10, 12]


@pytest.mark.parametrize(("low", "high"), [(0.0, 0.5), (0.0, 50.0), (49.0, 50.0), (2.0, 2.1)])
def test_no_range_of_flows_is_too_odd_to_draw(low, high):
    seen = look(flow_min_g_s=low, flow_max_g_s=high)
    flows = [flow for stretch in seen.brewing.stretches for flow in stretch.flows_g_s]
    assert flows == sorted(flows)
    assert kettle_words.table(seen.brewing).lines


def test_water_that_boils_below_brewing_temperature_is_drawn_as_hot_as_it_gets():
    assert look(boils_C=90.0).brewing.temperature_C == 90.0


# --- in words


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ((), "Not measured yet: three points make a fit."),
        (COLD[:1], "1 point so far. 2 more make a fit."),
        (COLD[:2], "2 points so far. 1 more makes a fit."),
    ],
)
def test_it_says_how_many_points_are_missing(points, said):
    first, second = kettle_words.say(look(*points))
    assert first == said
    assert "as wide as for any hand-held kettle" in second


def test_streams_that_never_broke_are_no_fit_and_lift_the_band():
    seen = look(*(Observation(5, 15, 200, broken=False) for _ in range(3)))
    first, _wide, lifted = kettle_words.say(seen)
    assert "3 points so far. The stream broke at none" in first
    assert "stayed whole" in lifted
    assert seen.brewing.rows[-1].breaks.low_mm > stream.breakup(5, 93, BORE_MM).low_mm


def test_a_fit_is_told_at_brewing_temperature_where_that_was_measured():
    first, scatter = kettle_words.say(look(*COLD, *HOT))
    assert first.startswith("6 points. At 3 g/s and 93 °C its stream breaks above about ")
    assert "a single one differs from it by about" in scatter


def test_a_fit_from_cold_water_is_told_as_it_was_measured_and_asks_for_hot_points():
    first, _scatter, asks = kettle_words.say(look(*COLD))
    assert first.startswith("3 points. At 3.5 g/s and 15 °C")
    assert "At 93 °C it was not measured at 2.4 to 5 g/s" in asks
    assert asks.endswith("measure at brewing temperature.")


def test_theory_and_trade_are_both_told_and_neither_is_chosen():
    seen = look()
    told = " ".join(kettle_words.theory(seen))
    # 9.0 % at 5 mL/s through 6 mm, from a table of this model; 3.6 % more water by volume in a gram when hot.
    assert "is about 12\N{NO-BREAK SPACE}% in height" in told
    assert "No side is taken here" in told
    assert "Where the stream of any hand-held kettle breaks" in kettle_words.title(seen)
    assert "wide open elsewhere" in kettle_words.title(look(*COLD))


# --- what a plan asks


def plan(*pours, temperature_C=93.0):
    return PourPlan(15, 250, temperature_C, False, tuple(pours))


def pour(flow_g_s, height_mm, pattern=Pattern.CIRCLE):
    return Pour(0, 100, pattern, flow_g_s, height_mm)


def codes(*pours, points=(*COLD, *HOT)):
    return [(finding.code, finding.where) for finding in beyond(plan(*pours), kettle(*points), BOILS_C)]


def test_a_plan_asks_for_no_more_than_the_kettle_gives():
    assert codes(pour(3, 60), pour(5, 100)) == []


def test_flows_outside_of_its_range_and_falls_beyond_its_stream_are_found_in_the_order_of_the_pours():
    found = codes(pour(3, 149), pour(6, 60), pour(1, 20))
    assert found == [("stream-breaks", 0), ("flow-range", 1), ("flow-range", 2)]


def test_a_spout_above_what_splashes_is_told_unless_the_kettle_is_known_to_pour_so_high():
    smooth = tuple(at(flow, hot, n=14.0) for flow, hot in ((2, 93), (3.5, 93), (5, 94)))
    assert codes(pour(5, 180)) == [("spout-high", 0)]
    assert codes(pour(5, 180), points=smooth) == []
    assert codes(pour(5, 180), points=()) == [("spout-high", 0)]
    assert codes(pour(None, 180)) == [("spout-high", 0)]
    assert beyond(plan(pour(5, 180), temperature_C=None), kettle(*smooth), BOILS_C)
