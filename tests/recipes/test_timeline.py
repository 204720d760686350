"""A plan in rows of words and as a drawing, whatever a draft leaves open."""

from itertools import pairwise

import pytest

from recipes.brewing.plan import After, Pattern, Pour, PourPlan
from recipes.timeline import BOTTOM, HEIGHT, LEFT, WIDTH, draw, plan_rows, totals


def pour(starts_at_s, to_g, flow_g_s=5, **more):
    return Pour(starts_at_s, to_g, more.pop("pattern", Pattern.CIRCLE), flow_g_s, 60, **more)


def plan(*pours, **more):
    return PourPlan(15, more.pop("water_g", 250), 93, False, pours, **more)


TRIAL = plan(
    pour(0, 50), pour(40, 150), pour(80, 250, after=After.SWIRL), brew_time_s=165, brew_time_tolerance_s=15
)


def test_rows_say_what_a_card_says():
    """50 g, 100 g and 100 g at 5 g/s take 10 s, 20 s and 20 s: by hand."""
    rows = plan_rows(TRIAL)
    assert [(row.starts, row.ends, row.gap) for row in rows] == [
        ("0:00", "0:10", "0:30"),
        ("0:40", "1:00", "0:20"),
        ("1:20", "1:40", ""),
    ]
    assert [(row.to, row.added) for row in rows] == [("50", "+50"), ("150", "+100"), ("250", "+100")]
    assert (rows[2].after, rows[2].after_name, rows[0].after_name) == ("swirl", "swirl", "")
    assert not any(row.overlaps for row in rows)


def test_totals_say_what_follows():
    """250 g to 15 g is 1:16.7; from 1:40 to 2:45 are 65 s: by hand."""
    whole = totals(TRIAL)
    assert (whole.ratio, whole.poured, whole.water, whole.ends, whole.drawdown) == (
        "1:16.7",
        "250",
        "250",
        "1:40",
        "1:05",
    )


def test_what_is_open_is_empty_and_never_zero():
    open_plan = PourPlan(None, None, None, False, (pour(None, None, None), pour(40, 150)))
    first, second = plan_rows(open_plan)
    assert {first.starts, first.ends, first.to, first.added, first.flow, second.added, second.ends} == {""}
    assert (totals(open_plan).ratio, totals(open_plan).ends, totals(open_plan).poured) == ("", "", "150")
    assert draw(open_plan) is None
    assert draw(plan()) is None


def test_a_pour_that_runs_into_the_next_is_marked():
    hurried = plan(pour(0, 50), pour(5, 250))
    assert [row.overlaps for row in plan_rows(hurried)] == [True, False]
    assert [stroke.problem for stroke in draw(hurried).strokes] == [True, False]


def test_the_drawing_rises_from_the_axis_to_the_water():
    drawn = draw(TRIAL)
    first, *_, last = drawn.strokes
    assert (first.x1, first.y1) == (str(LEFT), str(HEIGHT - BOTTOM))
    assert last.y2 == drawn.water
    assert last.waits_until == drawn.target.at
    heights = [float(stroke.y2) for stroke in drawn.strokes]
    assert heights == sorted(heights, reverse=True)
    assert [mark.text for mark in drawn.weights] == ["250", "150", "50"]
    assert "0:40 to 1:00: up to 150 g" in drawn.summary


@pytest.mark.parametrize("brew_time_s", [None, 20, 45, 165, 900, 3600])
def test_everything_is_drawn_on_the_paper(brew_time_s):
    wild = plan(
        pour(0, 300, 0.5),
        pour(10, 20),
        pour(400, 4000, 50),
        brew_time_s=brew_time_s,
        brew_time_tolerance_s=600,
    )
    drawn = draw(wild)
    for stroke in drawn.strokes:
        for x, y in ((stroke.x1, stroke.y1), (stroke.x2, stroke.y2), (stroke.waits_until, stroke.y2)):
            assert LEFT <= float(x) <= WIDTH
            assert 0 <= float(y) <= HEIGHT - BOTTOM
    assert 2 <= len(drawn.times) <= 8
    if brew_time_s is not None:
        assert float(drawn.target_from) + float(drawn.target_width) <= WIDTH
        assert float(drawn.target_width) > 0


def test_labels_of_twelve_pours_do_not_run_into_one_another():
    twelve = plan(*(pour(15 * n, 20 * (n + 1)) for n in range(12)), water_g=240)
    at = [float(mark.at) for mark in draw(twelve).weights]
    assert min(b - a for a, b in pairwise(at)) >= 13
    assert draw(twelve).weights[0].text == "240"
