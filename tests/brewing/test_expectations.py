"""What the rules of the trade expect of one plan against another, in words; direction only."""

import re
from dataclasses import replace

import pytest

from recipes.brewing.bed import Brewer
from recipes.brewing.drawdown import ObservedBrew, fit_conductance
from recipes.brewing.expectations import Direction, expect
from recipes.brewing.foresight import foresee, inflows_of
from recipes.brewing.plan import After, Pattern, Pour, PourPlan
from recipes.brewing.rules import RULES

CIRCLE, CENTRE = Pattern.CIRCLE, Pattern.CENTRE
FIRST, SECOND, THIRD = Pour(0, 40, CIRCLE, 4, 80), Pour(45, 145, CIRCLE, 5, 80), Pour(90, 250, CIRCLE, 5, 80)
PLAN = PourPlan(15, 250, 93, False, (FIRST, SECOND, THIRD))
TWO = replace(PLAN, pours=(FIRST, Pour(45, 250, CIRCLE, 5, 80)))


def with_pours(*pours):
    return replace(PLAN, pours=pours)


def patterned(second, third, first=CIRCLE):
    return with_pours(
        replace(FIRST, pattern=first), replace(SECOND, pattern=second), replace(THIRD, pattern=third)
    )


def said(a, b, rule=None):
    expected = expect(foresee(a), foresee(b)).expectations
    return [one for one in expected if rule is None or one.rule == rule]


def figure(a, b, name):
    return next(one for one in expect(foresee(a), foresee(b)).figures if one.name == name)


def test_a_plan_beside_itself():
    assert said(PLAN, PLAN) == []
    told = {one.name: one.direction for one in expect(foresee(PLAN), foresee(PLAN)).figures}
    assert told.pop("brew_time_s") is Direction.UNKNOWN
    assert set(told.values()) == {Direction.SAME}


ALL_CIRCLE, LAST_CENTRE, ALL_CENTRE = (
    patterned(CIRCLE, CIRCLE),
    patterned(CIRCLE, CENTRE),
    patterned(CENTRE, CENTRE),
)


@pytest.mark.parametrize(
    ("stronger", "weaker", "first", "pours"),
    [
        (ALL_CIRCLE, LAST_CENTRE, 2, "pour 3"),
        (LAST_CENTRE, ALL_CENTRE, 1, "pour 2"),
        (ALL_CIRCLE, ALL_CENTRE, 1, "pour 2, pour 3"),
    ],
)
def test_order_of_the_patterns(stronger, weaker, first, pours):
    """R2, common practice, no source: circles, then a last pour in the centre, then all in the centre."""
    (less,) = said(stronger, weaker)
    (more,) = said(weaker, stronger)
    assert (less.rule, less.about, less.direction, less.from_pour) == (
        "R2",
        "strength",
        Direction.LESS,
        first,
    )
    assert less.says == f"Less strength, from pour {first + 1} on: likely a brighter cup and a faster brew."
    assert less.because == f"Poured in the centre instead of in circles: {pours}."
    assert (more.direction, more.from_pour) == (Direction.MORE, first)
    assert more.says == f"More strength, from pour {first + 1} on: likely a fuller cup and a slower brew."
    assert less.reason == more.reason == RULES["R2"]


@pytest.mark.parametrize(
    ("a", "b"),
    [
        (patterned(CENTRE, CIRCLE), patterned(CIRCLE, CENTRE)),
        (ALL_CIRCLE, patterned(CIRCLE, Pattern.OFF_CENTRE)),
        (ALL_CIRCLE, patterned(CIRCLE, CENTRE, first=CENTRE)),
        (ALL_CIRCLE, replace(LAST_CENTRE, dose_g=16)),
        (
            ALL_CIRCLE,
            replace(
                LAST_CENTRE, pours=(*LAST_CENTRE.pours[:2], replace(LAST_CENTRE.pours[2], starts_at_s=110))
            ),
        ),
        (ALL_CIRCLE, replace(LAST_CENTRE, pours=LAST_CENTRE.pours[:2])),
    ],
)
def test_patterns_are_compared_only_where_the_rule_holds(a, b):
    assert said(a, b, "R2") == said(b, a, "R2") == []


def test_a_higher_spout():
    higher = with_pours(FIRST, replace(SECOND, spout_height_mm=110), THIRD)
    agitation, height = said(PLAN, higher)
    assert (agitation.rule, agitation.direction, agitation.from_pour) == ("R1", Direction.MORE, 1)
    assert agitation.says == "More agitation, from pour 2 on: likely stronger and slower."
    assert (height.rule, height.direction, height.from_pour) == ("R5", Direction.MORE, 1)
    assert "110 mm instead of 80 mm" in height.because
    back = said(higher, PLAN)
    assert [one.direction for one in back] == [Direction.LESS, Direction.LESS]
    assert back[0].says == "Less agitation, from pour 2 on: likely weaker and faster."


def test_a_spout_beyond_the_breakup_height_is_not_said_to_agitate_more():
    broken = with_pours(FIRST, replace(SECOND, spout_height_mm=145), THIRD)
    for a, b in ((PLAN, broken), (broken, PLAN)):
        agitation, height = said(a, b)
        assert (agitation.rule, agitation.direction) == ("R1", Direction.UNKNOWN)
        assert (height.rule, height.direction) == ("R5", Direction.UNKNOWN)
    assert figure(PLAN, broken, "energy_mJ").b is None


def test_more_and_smaller_pours():
    by_rule = {one.rule: one for one in said(TWO, PLAN)}
    assert by_rule["R3"].says == "More, smaller pours: a cooler slurry, more agitation and more fines moved."
    assert "3 instead of 2" in by_rule["R3"].because
    assert "less than can be told" in by_rule["R3"].because
    assert (by_rule["R1"].direction, by_rule["R1"].from_pour) == (Direction.MORE, 1)
    assert (by_rule["R4"].direction, by_rule["R4"].about) == (Direction.MORE, "agitation")
    fewer = {one.rule: one for one in said(PLAN, TWO)}
    assert fewer["R3"].says == "Fewer, larger pours: a taller column, a warmer slurry and less agitation."
    assert fewer["R4"].direction is Direction.LESS
    assert "32 mm instead of 26 mm" in fewer["R4"].because


def test_the_number_of_pours_says_nothing_where_the_water_differs():
    less_water = replace(TWO, water_g=200, pours=(FIRST, Pour(45, 200, CIRCLE, 5, 80)))
    assert said(PLAN, less_water, "R3") == []


def test_stirring():
    stirred = with_pours(FIRST, replace(SECOND, after=After.SWIRL), THIRD)
    (more,), (less,) = said(PLAN, stirred), said(stirred, PLAN)
    assert (more.rule, more.direction, more.from_pour) == ("R1", Direction.MORE, 1)
    assert (less.rule, less.direction, less.from_pour) == ("R1", Direction.LESS, 1)
    assert more.because == "Pours with stirring or swirling: 1 instead of 0."


def test_temperatures_nearer_than_can_be_told():
    cooler = replace(PLAN, water_temperature_C=92)
    near, far = (figure(PLAN, replace(PLAN, water_temperature_C=t), "mean_C") for t in (92, 85))
    assert (near.direction, near.note) == (Direction.SAME, "Nearer than 3 °C: not told apart.")
    assert (far.direction, far.note) == (Direction.LESS, "")
    assert said(PLAN, cooler) == []


def test_brew_times_are_told_apart_only_where_their_intervals_do_not_meet():
    logged = [
        ObservedBrew(inflows_of(PLAN, 99.97), 15, time_s) for time_s in (184, 185, 186, 185, 185, 184, 186)
    ]
    fit = fit_conductance(logged, Brewer())
    much_later = with_pours(FIRST, replace(SECOND, starts_at_s=150), replace(THIRD, starts_at_s=300))
    a, near, far = (foresee(plan, bed=fit) for plan in (PLAN, TWO, much_later))
    times = [next(f for f in expect(a, b).figures if f.name == "brew_time_s") for b in (near, far)]
    assert [one.direction for one in times] == [Direction.SAME, Direction.MORE]
    assert next(f for f in expect(far, a).figures if f.name == "brew_time_s").direction is Direction.LESS
    assert figure(PLAN, TWO, "brew_time_s").note == "Not enough brews yet: 5 more."


def test_drafts_are_compared_as_far_as_they_go():
    draft = with_pours(FIRST, Pour(None, None, CIRCLE, None, None))
    empty = replace(PLAN, pours=())
    for a, b in ((PLAN, draft), (draft, PLAN), (PLAN, empty), (empty, PLAN), (empty, empty), (draft, draft)):
        expected = expect(foresee(a), foresee(b))
        assert all(one.rule in RULES for one in expected.expectations)
        assert len(expected.figures) == 5


def test_no_strength_taste_or_score_is_foretold():
    plans = [PLAN, TWO, ALL_CENTRE, with_pours(FIRST, replace(SECOND, spout_height_mm=110), THIRD)]
    words = " ".join(f"{one.says} {one.because}" for a in plans for b in plans for one in said(a, b))
    assert not re.search(r"\d\s?%|TDS of|score|ideal", words)
