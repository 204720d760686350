"""A plan as a timer shows it."""

from __future__ import annotations

from calibration.timing import steps
from recipes.brewing.plan import Pattern, Pour, PourPlan


def pour(starts_at_s: float | None, to_g: float, flow_g_s: float | None = None) -> Pour:
    return Pour(starts_at_s, to_g, Pattern.CIRCLE, flow_g_s, 60)


def plan(*pours: Pour, brew_time_s: float | None = 165) -> PourPlan:
    return PourPlan(
        dose_g=15,
        water_g=250,
        water_temperature_C=93,
        at_the_boil=False,
        pours=pours,
        brew_time_s=brew_time_s,
    )


def test_pours_and_then_the_bed():
    found = steps(plan(pour(0, 45, 5), pour(40, 250, 5)))
    # 45 g at 5 g/s end at 9 s; 205 g more, from 40 s, at 81 s.
    assert [(step.starts_s, step.ends_s, step.to_g) for step in found] == [
        (0, 9, 45),
        (40, 81, 250),
        (81, 165, None),
    ]
    assert [step.starts for step in found] == ["0:00", "0:40", "1:21"]


def test_without_a_flow_a_pour_may_last_until_the_next():
    found = steps(plan(pour(0, 45), pour(40, 250), brew_time_s=None))
    assert [(step.starts_s, step.ends_s) for step in found] == [(0, 40), (40, 40)]


def test_what_a_draft_leaves_open_is_passed_over():
    assert steps(plan(pour(None, 45), brew_time_s=None)) == []
