"""What is said of a saved reading: every mark by its reason, every verdict by its chance."""

from __future__ import annotations

from decimal import Decimal
from statistics import NormalDist

import pytest

from brewbar.crew.models import Role
from calibration import judging
from calibration.models import Reading
from recipes.brewing.bands import PUBLISHED_BANDS
from tests import factories as make

STANDARD = next(band for band in PUBLISHED_BANDS if band.key == "scaa-2015")


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe())


@pytest.fixture
def barista(slot):
    return make.person(cafe=slot.board.cafe)


def words(reading, correction=None):
    return [str(mark.word) for mark in judging.marks(reading, correction)]


def test_an_ordinary_reading_bears_no_mark(slot, barista):
    assert words(make.reading(slot, barista)) == []


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"kind": Reading.Kind.SERVED}, "A cup we served"),
        ({"attempt": Reading.Attempt.REBREW}, "Re-brew"),
        ({"attempt": Reading.Attempt.REPEAT}, "Repeat"),
        ({"beverage_source": Reading.Beverage.ESTIMATED}, "Not weighed"),
        ({"beverage_g": Decimal(245), "rinse_left_in": True}, "Rinse water left in"),
        ({"beverage_g": Decimal(245), "rinse_left_in": False}, "Weights do not add up"),
        ({"drops_range_tds": Decimal("0.10")}, "Drops disagree"),
    ],
)
def test_what_sets_a_reading_apart_is_marked_with_its_reason(slot, barista, fields, word):
    reading = make.reading(slot, barista, **fields)
    assert words(reading) == [word]
    assert all(mark.says and mark.shape for mark in judging.marks(reading))


def test_a_spread_that_is_just_allowed_is_no_disagreement(slot, barista):
    assert words(make.reading(slot, barista, drops_range_tds=Decimal("0.03"))) == []


def test_hundredths_are_said_as_the_display_shows_them(slot, barista):
    (mark,) = judging.marks(make.reading(slot, barista, ("1.40", "1.50")))
    assert "0.10 %" in mark.says
    assert "0.03 %" in mark.says


def test_who_entered_for_somebody_else_is_named(slot, barista):
    head = make.person(Role.HEAD, slot.board.cafe, name="Hana Head")
    assert words(make.reading(slot, barista, entered_by=head)) == ["Entered by Hana Head"]


def test_both_ends_of_a_correction_say_so(slot, barista):
    old = make.reading(slot, barista)
    new = make.reading(slot, barista, corrects=old)
    assert words(old, new) == ["Corrected"]
    assert words(new) == ["Correction"]


@pytest.mark.parametrize(
    ("tds", "u"),
    [
        ("1.40", 0.02),
        ("1.48", 0.02),
        ("1.49", 0.02),
        ("1.51", 0.02),
        ("1.52", 0.02),
        ("1.31", 0.02),
        ("1.28", 0.02),
    ],
)
def test_the_verdict_follows_the_chance_of_conformity(slot, barista, tds, u):
    # JCGM 106:2012, 7.3: the chance is the normal distribution's mass within the tolerance, 1.40 ± 0.10 here.
    reading = make.reading(slot, barista, (tds, tds), u_tds_relative=u)
    around = NormalDist(float(tds), u)
    chance = around.cdf(1.50) - around.cdf(1.30)
    side = "high" if float(tds) > 1.40 else "low"
    expected = "inside" if chance >= 0.8 else side if chance <= 0.2 else "close"
    strength = judging.against_recipe(reading)[0]
    assert strength.state == expected
    assert strength.says


def test_the_recipe_is_judged_relatively_and_a_published_band_absolutely(slot, barista):
    reading = make.reading(slot, barista, u_ey_relative=0.3, u_ey_absolute=0.4)
    found = (judging.against_recipe(reading)[1].of.U, judging.against_band(reading, STANDARD)[1].of.U)
    assert found == pytest.approx((0.6, 0.8))


def test_a_yield_whose_weights_do_not_add_up_is_not_judged(slot, barista):
    reading = make.reading(slot, barista, beverage_g=Decimal(245), rinse_left_in=False)
    strength, extracted, _time = judging.against_recipe(reading)
    assert (strength.state, extracted.state) == ("inside", "none")
    assert [verdict.state for verdict in judging.against_band(reading, STANDARD)] == ["high", "none"]


def test_numbers_are_written_with_the_decimals_they_deserve(slot, barista):
    strength, extracted, time = judging.against_recipe(make.reading(slot, barista, ("1.40", "1.40")))
    assert (strength.of.shown, strength.of.aim) == ("1.40 %", "1.40 ± 0.10 %")
    assert (extracted.of.shown, extracted.of.U_shown) == ("20.5 %", "± 0.6 %")
    assert (time.of.shown, time.of.aim[:4]) == ("2:45", "2:45")
