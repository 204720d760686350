"""Rules of the trade on what the stream and the bed do. Common practice, no source; boundaries on either side."""

from dataclasses import replace

import pytest

from recipes.brewing.drawdown import BrewTime
from recipes.brewing.plan import After, Finding, Kettle, Pattern, Pour, PourPlan, Severity, review
from recipes.brewing.practice import brew_time_against_target
from recipes.brewing.rules import RULE_OF_FINDING, RULES
from recipes.brewing.stream import Observation, breakup_height_mm, fit_n

FIRST, SECOND, THIRD = (
    Pour(0, 40, Pattern.CIRCLE, 4, 80),
    Pour(45, 150, Pattern.CIRCLE, 5, 80),
    Pour(120, 250, Pattern.CENTRE, 5, 80),
)
PLAN = PourPlan(15, 250, 93, False, (FIRST, SECOND, THIRD))
HOT_POINTS = [Observation(flow, 93, breakup_height_mm(flow, 93, 6, 7)) for flow in (3, 4, 5)]
MEASURED = Kettle("Long Neck", growth=fit_n(HOT_POINTS))


def codes(plan, **where):
    return [(finding.code, finding.where) for finding in review(plan, **where)]


def second(**changes):
    return replace(PLAN, pours=(FIRST, replace(SECOND, **changes), THIRD))


def test_a_stream_that_breaks_before_the_bed():
    # a kettle nobody measured: 2 g/s breaks by 98 mm whatever the kettle
    thin = {"flow_g_s": 2, "starts_at_s": 30}
    assert codes(second(spout_height_mm=97, **thin)) == []
    (found,) = review(second(spout_height_mm=99, **thin))
    assert (found.code, found.where, found.field) == ("stream-breaks", 1, "spout_height_mm")
    assert "seldom stays whole for more than 100 mm" in found.what
    assert "near 50 mm" in found.mend


def test_a_measured_kettle_speaks_for_itself():
    breaks_mm = breakup_height_mm(5, 93, 6, 7)
    assert breaks_mm < 120
    assert codes(second(spout_height_mm=breaks_mm - 1), kettle=MEASURED) == []
    (found,) = review(second(spout_height_mm=breaks_mm + 1), kettle=MEASURED)
    assert found.code == "stream-breaks"
    assert "this kettle's stream breaks at about 115 mm" in found.what
    # the same height from a kettle nobody measured may do
    assert codes(second(spout_height_mm=breaks_mm + 1)) == []


@pytest.mark.parametrize(
    "changes",
    [
        {"pattern": Pattern.BROKEN_STREAM},
        {"pattern": Pattern.WALL},
        {"flow_g_s": 1.4},
        {"spout_height_mm": 160},
        {"flow_g_s": None},
        {"spout_height_mm": None},
    ],
)
def test_breaking_is_not_said_where_it_is_meant_or_said_already(changes):
    plan = second(**{"flow_g_s": 2, "spout_height_mm": 140, "starts_at_s": 20, **changes})
    assert "stream-breaks" not in {code for code, _where in codes(plan)}


def test_breaking_without_a_temperature_cannot_be_told():
    plan = replace(second(flow_g_s=2, spout_height_mm=140, starts_at_s=30), water_temperature_C=None)
    assert [code for code, _where in codes(plan)] == ["missing"]


def test_low_and_fast():
    fast = {"flow_g_s": 8.1}
    assert codes(second(spout_height_mm=29, **fast)) == [("low-and-fast", 1)]
    assert codes(second(spout_height_mm=30, **fast)) == []
    assert codes(second(spout_height_mm=29, flow_g_s=8)) == []
    assert codes(second(spout_height_mm=10, pattern=Pattern.SIDEWAYS, **fast)) == []


def test_stirred_after_every_pour():
    stirred = tuple(replace(pour, after=After.STIR) for pour in PLAN.pours)
    assert codes(replace(PLAN, pours=(*stirred[:2], THIRD))) == []
    assert codes(replace(PLAN, pours=(*stirred[:2], replace(THIRD, after=After.SWIRL)))) == [
        ("stirred-often", 2)
    ]


def test_many_pours():
    def plan(count):
        pours = tuple(Pour(20 * i, 250 / count * (i + 1), Pattern.CIRCLE, 5, 80) for i in range(count))
        return replace(PLAN, pours=pours)

    assert codes(plan(6)) == []
    assert codes(plan(7)) == [("many-pours", "plan")]


@pytest.mark.parametrize(
    ("low", "high", "found"),
    [
        (170, 200, 0),
        (195, 240, 0),
        (201, 240, 1),
        (100, 170, 0),
        (100, 169, 1),
        (None, None, 1),
        (180, None, 0),
    ],
)
def test_a_target_that_no_forecast_reaches(low, high, found):
    plan = replace(PLAN, brew_time_s=185, brew_time_tolerance_s=15)
    assert len(list(brew_time_against_target(plan, BrewTime(low, low, high)))) == found
    assert not list(brew_time_against_target(PLAN, BrewTime(low, low, high)))


def test_fifteen_rules_and_what_speaks_for_them():
    assert list(RULES) == [f"R{number}" for number in range(1, 16)]
    assert all(text.endswith(".") for text in RULES.values())
    assert set(RULE_OF_FINDING.values()) <= set(RULES)
    assert Finding(Severity.ERROR, "water-missing", "plan", None, "", "").rule == "R15"
    assert Finding(Severity.WARNING, "above-boiling", "plan", None, "", "").rule is None


def test_the_codes_that_have_a_rule_are_codes_of_findings():
    worst = replace(
        PLAN,
        water_g=300,
        water_temperature_C=99,
        pours=(
            replace(FIRST, pattern=Pattern.RISE_AND_FALL, after=After.STIR, flow_g_s=9, spout_height_mm=20),
            replace(SECOND, spout_height_mm=140, flow_g_s=2, after=After.STIR, starts_at_s=30),
            replace(THIRD, pattern=Pattern.WALL, after=After.STIR),
            *(Pour(150 + 10 * i, 251 + i, Pattern.CIRCLE, 1, 80) for i in range(4)),
        ),
    )
    found = {code for code, _where in codes(worst)} | {
        code for code, _where in codes(worst, kettle=Kettle("Narrow", 2, 4))
    }
    found |= {code for code, _where in codes(replace(worst, water_g=200))}
    assert set(RULE_OF_FINDING) <= found
