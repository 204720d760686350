"""What comes first and what is never said: instrument, chance, two signs, surer signs, taste, mistakes in a plan."""

import itertools
from dataclasses import replace

import pytest

from calibration.coaching import (
    Against,
    CheckState,
    Code,
    Compared,
    Context,
    Happening,
    InstrumentChecks,
    Kind,
    Off,
    Quantity,
    Scope,
    advise,
    signature_of,
)
from calibration.coaching.facts import facts
from calibration.coaching.fitting import fits
from calibration.coaching.signature import INDEPENDENT
from recipes.brewing.plan import Pattern, Pour, PourPlan
from recipes.brewing.rules import RULES
from tests.coaching.seen import DAY, SMALLEST, SPREADS, checked, day_off, keys, one_off

PASSED, FAILED, NONE = CheckState.PASSED, CheckState.FAILED, CheckState.NONE


def seen_at(t, scope=Scope.DAY, against=Against.EARLIER):
    """A figure so many standard errors away, for each quantity named."""
    compared = {
        quantity: Compared(value * SMALLEST[quantity], SMALLEST[quantity], 8) for quantity, value in t.items()
    }
    return signature_of(scope, against, compared, {})


# --- the instrument


@pytest.mark.parametrize("zero", [PASSED, NONE])
def test_unless_a_standard_was_read_the_first_advice_is_to_read_one(zero):
    for seen in (one_off(tds="-", time="-"), day_off(tds="+", time="="), day_off(tds="+")):
        advice = advise(seen, Context(instrument=InstrumentChecks(zero, NONE)), SPREADS)
        assert advice.causes[0].code is Code.INSTRUMENT
        assert "check standard" in advice.causes[0].change
        assert advice.says.startswith("Rule out the refractometer first")
    zero_only = "cannot see a gain error" in advice.causes[0].says
    assert zero_only is (zero is PASSED)


def test_an_instrument_that_was_right_is_not_spoken_of():
    assert all(
        one.code is not Code.INSTRUMENT for one in advise(day_off(tds="+", time="="), checked()).causes
    )


def test_a_refractometer_does_not_move_the_clock():
    assert all(
        one.code is not Code.INSTRUMENT for one in advise(day_off(time="+", slurry="-"), Context()).causes
    )
    both = advise(day_off(tds="-", time="-"), Context()).causes[0]
    assert any("neither the clock" in one for one in both.against)


def test_a_failed_instrument_takes_strength_away():
    failed = Context(instrument=InstrumentChecks(PASSED, FAILED), happened=(Happening(Kind.LOT, DAY),))
    advice = advise(day_off(tds="+", time="+"), failed, SPREADS)
    assert advice.causes[0].code is Code.INSTRUMENT
    assert "failed" in advice.causes[0].says
    assert keys(advice) == ["lot"]
    assert all("TDS" not in sign for one in advice.causes[1:] for sign in one.signs)


def test_an_error_that_both_share_is_no_difference():
    shared = Context(instrument=InstrumentChecks(shared=True))
    assert advise(one_off(tds="-", time="-"), shared).causes[0].code is Code.POUR
    assert advise(day_off(tds="-", time="-"), shared).causes[0].code is Code.INSTRUMENT


@pytest.mark.parametrize("gain", [0.95, 1.05])
def test_why_a_water_zero_sees_no_gain_and_a_shared_one_moves_no_difference(gain):
    """Arithmetic: a reading is gain times what is there."""
    assert gain * 0.0 == 0.0
    strong, weak = 1.45, 1.35
    assert abs(gain * strong - strong) > SMALLEST[Quantity.TDS]
    assert abs((gain * strong - gain * weak) - (strong - weak)) < 0.2 * SMALLEST[Quantity.TDS]


# --- two signs


@pytest.mark.parametrize("name", ["tds", "time", "beverage", "slurry"])
@pytest.mark.parametrize("way", ["+", "-"])
@pytest.mark.parametrize("make", [one_off, day_off])
def test_one_sign_alone_is_no_cause(name, way, make):
    advice = advise(make(**{name: way}), checked(), SPREADS)
    assert advice.causes == ()
    assert len(advice.missing) == 3
    assert "Measure what is missing" in advice.says


def test_the_slurry_is_asked_for():
    assert any("slurry temperature" in one for one in advise(one_off(tds="-"), checked()).missing)
    tells = advise(day_off(tds="-", time="+"), checked()).missing
    assert len(tells) == 1
    assert "slurry temperature" in tells[0]
    assert "apart" in tells[0]


@pytest.mark.parametrize("make", [one_off, day_off])
def test_no_cause_has_fewer_than_two_signs_or_goes_against_a_move(make):
    for ways in itertools.product("+-=?", repeat=4):
        named = dict(zip(("tds", "time", "beverage", "slurry"), ways, strict=True))
        seen = make(**{name: way for name, way in named.items() if way != "?"})
        for one in advise(seen, checked()).causes:
            if one.code is Code.CHANCE:
                continue
            assert len(one.signs) + bool(one.facts) >= 2
            moves = {effect.quantity: effect.move for effect in one.effects}
            for quantity in (Quantity.TDS, Quantity.BREW_TIME):
                if seen.signs[quantity].move.moved and moves[quantity].moved:
                    assert moves[quantity] is seen.signs[quantity].move.opposite


def test_signs_that_no_rule_brings_together():
    advice = advise(one_off(beverage="+", slurry="-"), checked())
    assert keys(advice) == []
    assert "No rule of the trade" in advice.says


def test_nothing_moved_is_not_the_same_as_steady():
    assert advise(day_off(tds="=", time="="), checked()).says == "Nothing has moved by what matters."
    assert advise(day_off(tds="="), checked()).missing
    unknown = advise(seen_at({Quantity.TDS: 1.0, Quantity.BREW_TIME: 0.5}), checked())
    assert "not all of it is shown to be steady" in unknown.says
    assert unknown.causes == ()


# --- who is off


def test_r13_one_person_pours_a_whole_day_grinds():
    """R13: common practice, no source."""
    for ways in (
        {"tds": "-", "time": "-"},
        {"tds": "+", "time": "+"},
        {"tds": "-", "time": "+", "slurry": "="},
    ):
        assert advise(one_off(**ways), checked()).causes[0].code is Code.POUR
        assert advise(day_off(**ways), checked()).causes[0].code is Code.GRIND
        assert advise(one_off(**ways), checked(off=Off.DAY)).causes[0].code is Code.GRIND
        alone = replace(one_off(**ways), against=Against.EARLIER)
        assert advise(alone, checked(off=Off.ONE)).causes[0].code is Code.POUR


def test_who_else_is_off_is_asked_where_nobody_knows():
    alone = replace(one_off(tds="-", time="-"), against=Against.EARLIER)
    assert any("others moved" in one for one in advise(alone, checked()).missing)
    assert not any("others moved" in one for one in advise(alone, checked(off=Off.ONE)).missing)


def test_in_training_is_said_of_the_recipe_and_ranks_nothing():
    seen = one_off(tds="-", time="-")
    learning, not_learning = advise(seen, checked(in_training=True)), advise(seen, checked())
    assert keys(learning) == keys(not_learning)
    assert "This recipe is still being learnt." in learning.causes[0].facts


# --- chance


def test_chance_comes_first_where_it_may_well_be():
    weak = advise(seen_at({Quantity.TDS: -2.1, Quantity.BREW_TIME: -2.1}), checked(), SPREADS)
    assert weak.causes[0].code is Code.CHANCE
    assert "Brew" in weak.causes[0].change
    strong = advise(seen_at({Quantity.TDS: -4.0, Quantity.BREW_TIME: -2.1}), checked(), SPREADS)
    assert strong.causes[0].code is not Code.CHANCE
    assert strong.causes[-1].code is Code.CHANCE
    assert "under 1 %" in strong.causes[-1].says


@pytest.mark.parametrize("off", Off)
def test_a_surer_sign_never_lowers_a_cause_that_foretells_it(off):
    known = facts(checked(happened=(Happening(Kind.LOT, DAY), Happening(Kind.KETTLE_SWAPPED, DAY))))
    compared = 0
    for surer in INDEPENDENT:
        others = [one for one in INDEPENDENT if one is not surer]
        for side, *rest in itertools.product((1, -1), *[(0.5, 2.5, -2.5, -4.0)] * 3):
            ranks = []
            for step in (1.0, 2.2, 2.8, 3.5, 5.0):
                seen = seen_at({surer: side * step, **dict(zip(others, rest, strict=True))})
                listed = [fit.hypothesis for fit in fits(seen, known, off)]
                ranks.append((seen.signs[surer].move, listed))
            for (_, before), (move, after) in itertools.pairwise(ranks):
                for place, one in enumerate(before):
                    if one.expects.get(surer) is move:
                        compared += 1
                        assert after.index(one) <= place
    assert compared > 500


# --- R14, R15


def test_the_taste_note_stands_beside_and_changes_nothing():
    """R14: common practice, no source."""
    seen = one_off(tds="=", time="=")
    with_note = advise(seen, checked(taste="thin, but sweet"))
    assert with_note.taste == "thin, but sweet"
    assert with_note.taste_rule == RULES["R14"]
    assert with_note.causes == advise(seen, checked()).causes


def test_a_last_weight_that_is_not_the_brew_water_is_a_mistake_whatever_the_cup_does():
    """R15: common practice, no source."""
    plan = PourPlan(
        15, 250, 92, False, (Pour(0, 40, Pattern.CIRCLE, 4, 80), Pour(45, 240, Pattern.CIRCLE, 5, 80))
    )
    for seen in (day_off(tds="=", time="="), day_off(tds="-", time="-"), one_off()):
        advice = advise(seen, checked(plan=plan))
        assert keys(advice)[0] == "recipe-last-weight"
        assert advice.causes[0].rules == ("R15",)
