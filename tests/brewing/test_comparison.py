"""Two plans side by side: each number once, differences marked, and what only follows is not counted."""

from dataclasses import replace
from itertools import pairwise

import pytest

from recipes.brewing.comparison import AT_THE_BOIL, Line, Mark, line_by_line, pouring_s
from recipes.brewing.plan import After, Conditions, Pattern, Pour, PourPlan, compare

A = PourPlan(
    15.0,
    250.0,
    93.0,
    False,
    (
        Pour(0.0, 50.0, Pattern.CIRCLE, 5.0, 60.0),
        Pour(40.0, 150.0, Pattern.CIRCLE, 5.0, 60.0),
        Pour(80.0, 250.0, Pattern.CIRCLE, 5.0, 60.0),
    ),
    brew_time_s=165.0,
    brew_time_tolerance_s=15.0,
)


def of(comparison, field, pour=None):
    lines = comparison.facts + comparison.sums if pour is None else comparison.pours[pour - 1].lines
    (line,) = [line for line in lines if line.field == field]
    return line


def test_a_plan_beside_itself_differs_in_nothing():
    beside = line_by_line(A, A)
    assert beside.differences == 0
    lines = [*beside.facts, *beside.sums, *(line for pair in beside.pours for line in pair.lines)]
    assert {line.mark for line in lines} == {Mark.SAME}
    assert not any(pair.differs for pair in beside.pours)


def test_each_number_of_a_plan_is_a_difference_of_its_own():
    for field, value in {
        "dose_g": 16.0,
        "water_g": 260.0,
        "water_temperature_C": 90.0,
        "bypass_g": 20.0,
        "ice_g": 50.0,
        "tds_target": 1.4,
        "ey_target": 20.0,
        "brew_time_s": 180.0,
        "brew_time_tolerance_s": 20.0,
    }.items():
        beside = line_by_line(A, replace(A, **{field: value}))
        assert beside.differences == 1, field
        assert of(beside, field).mark is not Mark.SAME


def test_each_number_of_a_pour_is_a_difference_of_its_own():
    for field, value in {
        "starts_at_s": 45.0,
        "to_g": 160.0,
        "pattern": Pattern.CENTRE,
        "flow_g_s": 6.0,
        "spout_height_mm": 80.0,
        "temperature_C": 90.0,
        "after": After.SWIRL,
        "note": "slowly",
    }.items():
        second = replace(A.pours[1], **{field: value})
        beside = line_by_line(A, replace(A, pours=(A.pours[0], second, A.pours[2])))
        assert beside.differences == 1, field
        assert of(beside, field, pour=2).mark is not Mark.SAME
        assert [pair.differs for pair in beside.pours][:2] == [False, True]


def test_what_follows_is_told_but_not_counted_again():
    """Pour 2 at 4 g/s lasts 25 s instead of 20 s: by hand."""
    beside = line_by_line(A, replace(A, pours=(A.pours[0], replace(A.pours[1], flow_g_s=4.0), A.pours[2])))
    assert beside.differences == 1
    assert of(beside, "ends_at_s", pour=2).apart == pytest.approx(5)
    assert of(beside, "pouring_s").apart == pytest.approx(5)
    assert (of(beside, "brew_ratio").mark, of(beside, "drawdown_s").mark) == (Mark.SAME, Mark.SAME)


def test_a_pour_that_one_side_lacks_counts_once():
    shorter = replace(A, pours=(A.pours[0], replace(A.pours[1], to_g=250.0)))
    beside = line_by_line(A, shorter)
    assert beside.differences == 2
    assert (beside.pours[2].only_in, line_by_line(shorter, A).pours[2].only_in) == (Mark.ONLY_A, Mark.ONLY_B)
    assert of(beside, "to_g", pour=3).a == 250
    assert of(beside, "to_g", pour=3).b is None


def test_at_the_boil_is_a_temperature_without_a_number():
    line = of(line_by_line(A, replace(A, at_the_boil=True, water_temperature_C=None)), "water_temperature_C")
    assert (line.a, line.b, line.mark, line.apart) == (93.0, AT_THE_BOIL, Mark.CHANGED, None)


@pytest.mark.parametrize(
    ("a", "b", "mark"),
    [
        (None, None, Mark.SAME),
        (1.0, None, Mark.ONLY_A),
        (None, 0.0, Mark.ONLY_B),
        (0.1 + 0.2, 0.3, Mark.SAME),
        (0.0, 0.1, Mark.CHANGED),
        ("circle", "centre", Mark.CHANGED),
    ],
)
def test_marks(a, b, mark):
    assert Line("x", a, b).mark is mark


def test_pouring_time_is_known_once_every_pour_is():
    assert pouring_s(A) == pytest.approx(50)
    assert pouring_s(replace(A, pours=(A.pours[0], replace(A.pours[1], flow_g_s=None)))) is None
    assert pouring_s(replace(A, pours=())) is None


def test_the_second_of_two_plans_is_expected_weaker_the_more_of_it_goes_into_the_centre():
    """R2, common practice, no source: 15 g to 250 g, a bloom and two equal pours, by where these are poured."""

    def trial(second, third):
        bloom = Pour(0, 50, Pattern.CIRCLE, 4, 60)
        return PourPlan(
            15, 250, 93, False, (bloom, Pour(45, 150, second, 5, 60), Pour(90, 250, third, 5, 60))
        )

    circle, centre = Pattern.CIRCLE, Pattern.CENTRE
    plans = [trial(circle, circle), trial(circle, centre), trial(centre, centre)]
    for stronger, weaker in pairwise(plans):
        (down,) = [one.says for one in compare(stronger, weaker).expected.expectations if one.rule == "R2"]
        (up,) = [one.says for one in compare(weaker, stronger).expected.expectations if one.rule == "R2"]
        assert down.startswith("Less strength")
        assert up.startswith("More strength")
        assert not any(character.isdigit() for character in down.replace("pour 2", "").replace("pour 3", ""))


def test_both_plans_are_compared_in_one_place_with_one_kettle():
    hot = replace(A, at_the_boil=True, water_temperature_C=None)
    low, high = (compare(A, hot, cafe=Conditions(altitude)) for altitude in (0, 2000))
    means = [next(one.b for one in found.expected.figures if one.name == "mean_C") for found in (low, high)]
    assert means[0] > means[1]
    assert low.lines == line_by_line(A, hot)
