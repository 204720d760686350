"""Each rule of the trade as a coach says it: from a signature to the first cause, and which way its change goes.

Common practice, no source, every row of the table; R14 and R15 stand in `test_order`.
"""

from dataclasses import replace

import pytest

from calibration.coaching import Ageing, Code, Context, Drill, Happening, Kind, Move, Quantity, advise
from calibration.coaching.fitting import HYPOTHESES
from recipes.brewing.plan import Kettle, Pattern, Pour, PourPlan
from recipes.brewing.rules import COMMON_PRACTICE, RULES
from recipes.brewing.safety import POURING
from tests.coaching.seen import DAY, SPREADS, checked, day_off, keys, one_off

UP, DOWN, UNKNOWN = Move.UP, Move.DOWN, Move.UNKNOWN
CIRCLE, CENTRE = Pattern.CIRCLE, Pattern.CENTRE
PLAN = PourPlan(
    15,
    250,
    92,
    False,
    (Pour(0, 40, CIRCLE, 4, 80), Pour(45, 145, CIRCLE, 5, 80), Pour(90, 250, CIRCLE, 5, 80)),
)


def with_pour(plan=PLAN, **last):
    return replace(plan, pours=(*plan.pours[:-1], replace(plan.pours[-1], **last)))


def came(kind, **more):
    return checked(happened=(Happening(kind, DAY, **more),))


HOT_AND_HIGH = with_pour(replace(PLAN, water_temperature_C=99.5), spout_height_mm=110, flow_g_s=8)
CENTRED = replace(
    PLAN, pours=tuple(replace(pour, pattern=CENTRE) if i else pour for i, pour in enumerate(PLAN.pours))
)
RISING = with_pour(pattern=Pattern.RISE_AND_FALL)
# the same water and times, but in one pour after the bloom
TALLER = replace(PLAN, pours=(PLAN.pours[0], Pour(45, 250, CIRCLE, 5, 80)))
NARROW, WIDE = (
    Kettle("narrow", flow_min_g_s=2, flow_max_g_s=4.5),
    Kettle("wide", flow_min_g_s=6, flow_max_g_s=12),
)

# rule, what was seen, what is known, the first cause, and what its change does to TDS and brew time
TABLE = [
    ("R1", one_off(tds="-", time="-"), checked(), "pour-gentler", UP, UP),
    ("R1", one_off(tds="+", time="+"), checked(), "pour-harder", DOWN, DOWN),
    ("R1", one_off(tds="-", time="+", slurry="="), checked(), "pour-clogged", UP, DOWN),
    ("R1", day_off(tds="-", time="+", slurry="="), checked(), "grind-clogs", UP, DOWN),
    ("R2", one_off(tds="-", time="-", slurry="="), checked(), "pour-gentler", UP, UP),
    ("R2", day_off(tds="-", time="-"), checked(plan=CENTRED, compared_plan=PLAN), "recipe-version-less", UP, UP),
    ("R3", one_off(tds="-", time="-", slurry="+"), checked(), "pour-fewer", UP, UP),
    ("R3", one_off(tds="+", time="+", slurry="-"), checked(), "pour-more", DOWN, DOWN),
    ("R4", day_off(tds="-", time="-"), checked(plan=TALLER, compared_plan=PLAN), "recipe-version-less", UP, UP),
    ("R5", one_off(tds="-", time="-"), checked(plan=with_pour(spout_height_mm=145, flow_g_s=3)), "pour-broken", UP, UP),
    ("R5", one_off(tds="-", time="-"), checked(plan=with_pour(spout_height_mm=15, flow_g_s=9)), "pour-hole", UP, UP),
    ("R6", one_off(tds="-", time="-"), checked(plan=HOT_AND_HIGH), "pour-broken", UP, UP),
    ("R7", one_off(tds="-", time="-"), checked(), "pour-gentler", UP, UP),
    ("R8", one_off(time="+"), checked(plan=PLAN, kettle=NARROW), "kettle-slow", UNKNOWN, DOWN),
    ("R8", one_off(time="-"), checked(plan=PLAN, kettle=WIDE), "kettle-fast", UNKNOWN, UP),
    ("R8", day_off(tds="-", slurry="="), came(Kind.KETTLE_SWAPPED), "kettle-other", UNKNOWN, UNKNOWN),
    ("R9", one_off(tds="+"), checked(drills=(Drill(DAY, False),)), "pour-unsteady", UNKNOWN, UNKNOWN),
    ("R9", one_off(tds="-"), checked(plan=with_pour(flow_g_s=1.2)), "pour-unsteady", UNKNOWN, UNKNOWN),
    ("R10", day_off(tds="-"), checked(plan=RISING), "recipe-repeats-badly", UNKNOWN, UNKNOWN),
    ("R10", day_off(tds="-", time="+"), checked(plan=with_pour(pattern=Pattern.WALL)), "recipe-wall", UP, DOWN),
    ("R11", day_off(tds="=", time="+"), checked(muted_acidity=True), "recipe-long", DOWN, DOWN),
    ("R12", day_off(tds="-", time="+"), checked(sheds_fines=True), "coffee-fines", UP, DOWN),
    ("R13", day_off(tds="-", time="-"), checked(), "grind-coarser", UP, UP),
    ("R13", day_off(tds="+", time="+"), checked(), "grind-finer", DOWN, DOWN),
    ("R13", day_off(tds="+", time="+", beverage="-"), checked(), "dose-more", DOWN, DOWN),
    ("R13", day_off(tds="-", time="-", beverage="+"), checked(), "dose-less", UP, UP),
    ("R13", day_off(tds="-", time="+", slurry="-"), checked(), "kettle-cooler", UP, DOWN),
    ("R13", day_off(tds="+", time="-", slurry="+"), checked(), "kettle-hotter", DOWN, UP),
    ("R13", day_off(time="+"), came(Kind.PAPER), "paper", UNKNOWN, UNKNOWN),
    ("R13", day_off(tds="+", time="="), came(Kind.CARTRIDGE), "water", UNKNOWN, Move.STEADY),
]  # fmt: skip


@pytest.mark.parametrize(
    ("rule", "seen", "context", "key", "tds", "time"), TABLE, ids=lambda value: str(value)[:14]
)
def test_first_cause_and_direction(rule, seen, context, key, tds, time):
    advice = advise(seen, context, SPREADS)
    assert keys(advice)[0] == key
    first = advice.causes[0]
    assert rule in first.rules
    assert RULES[rule] in first.reasons
    assert first.source == COMMON_PRACTICE
    does = {one.quantity: one.move for one in first.effects}
    assert (does[Quantity.TDS], does[Quantity.BREW_TIME]) == (tds, time)
    assert list(does) == [Quantity.TDS, Quantity.YIELD, Quantity.BREW_TIME]
    assert len(first.signs) + bool(first.facts) >= 2
    assert first.change.lower().rstrip(".") in advice.says.lower()
    assert first.against
    assert first.showing.pairs > 1


def test_every_rule_up_to_r13_has_a_row():
    assert {row[0] for row in TABLE} == {f"R{number}" for number in range(1, 14)}


def test_every_hypothesis_can_come_up():
    reached = {row[3] for row in TABLE}
    others = {
        "pour-past-weight": (one_off(tds="-", time="+", beverage="+"), checked()),
        "pour-short": (one_off(tds="+", time="-", beverage="-"), checked()),
        "lot": (day_off(tds="+"), came(Kind.LOT)),
        "recipe-version": (day_off(tds="+"), came(Kind.VERSION)),
        "recipe-version-more": (day_off(tds="+", time="+"), checked(plan=PLAN, compared_plan=CENTRED)),
        "age-weaker": (day_off(tds="-"), checked(ageing=Ageing(24, 8, -0.006, 0.001))),
        "age-stronger": (day_off(tds="+"), checked(ageing=Ageing(8, 24, -0.006, 0.001))),
    }
    for key, (seen, context) in others.items():
        assert keys(advise(seen, context))[0] == key
    assert reached | set(others) == {one.key for one in HYPOTHESES}


@pytest.mark.parametrize(
    ("kind", "finer", "first"),
    [
        (Kind.GRIND_SETTING, False, "grind-coarser"),
        (Kind.BURRS, None, "grind-coarser"),
        (Kind.GRINDER_CLEANED, None, "grind-coarser"),
        (Kind.GRIND_SETTING, True, "pour-gentler"),
    ],
)
def test_what_was_done_to_the_grinder_is_a_sign_if_it_goes_the_right_way(kind, finer, first):
    seen = one_off(tds="-", time="-")
    assert keys(advise(seen, came(kind, finer=finer)))[0] == first


def test_what_the_whole_day_shares_makes_nobody_different_from_the_others():
    context = checked(happened=(Happening(Kind.LOT, DAY), Happening(Kind.CARTRIDGE, DAY)))
    for seen in (one_off(tds="+", time="="), one_off(tds="+", time="+")):
        assert {one.code for one in advise(seen, context).causes} <= {
            Code.POUR,
            Code.GRIND,
            Code.OTHER,
            Code.CHANCE,
        }


def test_what_both_have_in_common_explains_no_difference():
    high = with_pour(spout_height_mm=145, flow_g_s=3)
    seen = one_off(tds="-", time="-")
    assert keys(advise(seen, checked(plan=high, compared_plan=high)))[0] == "pour-gentler"
    both = checked(plan=PLAN, kettle=NARROW, compared_plan=PLAN, compared_kettle=NARROW)
    assert keys(advise(one_off(time="+"), both)) == []


def test_a_happening_counts_only_when_it_came_as_it_began():
    seen, began = day_off(tds="+"), (DAY, DAY)
    for days, counts in ((-5, False), (-1, True), (0, True), (1, False)):
        on = DAY.replace(day=DAY.day + days) if days >= -1 else DAY.replace(month=2, day=25)
        context = checked(happened=(Happening(Kind.LOT, on),), began=began)
        assert (keys(advise(seen, context)) == ["lot"]) is counts


def test_coffee_that_ages_too_little_or_unsurely_explains_nothing():
    for ageing in (Ageing(10, 8, -0.006, 0.001), Ageing(24, 8, -0.006, 0.004), Ageing(24, 8, 0.006, 0.001)):
        assert keys(advise(day_off(tds="-"), checked(ageing=ageing))) == []


def test_cautions_where_height_heat_or_faster_pouring_is_advised():
    by_key = {key: advise(seen, context).causes[0] for _, seen, context, key, *_ in TABLE}
    for key in ("pour-harder", "pour-broken", "pour-hole", "kettle-cooler", "kettle-hotter", "kettle-slow"):
        assert by_key[key].cautions == POURING
    assert by_key["grind-finer"].cautions == ()


def test_a_measured_breakup_height_is_said():
    high = with_pour(spout_height_mm=145, flow_g_s=3)
    first = advise(one_off(tds="-", time="-"), checked(plan=high)).causes[0]
    assert "145 mm" in first.facts[0]
    assert first.change.startswith("Hold the spout near")


def test_an_empty_context_is_enough():
    assert advise(one_off(tds="-", time="-"), Context()).causes[0].code is Code.INSTRUMENT
