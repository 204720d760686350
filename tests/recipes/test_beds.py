"""Which fit of logged brews a plan is reckoned with, and how that is said."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from recipes.beds import bed_for, whole_grams
from recipes.brewing.drawdown import BREWS_FOR_A_FIT
from recipes.models import BarEvent, BedFit
from tests import factories as make

pytestmark = pytest.mark.django_db

NOW = timezone.now()
HERE = "at 24 on The Quern"
NOTHING = "Not enough brews yet: 5 at one grind make a forecast."


@pytest.fixture
def slot():
    cafe = make.cafe()
    return make.live_slot(cafe, grinder=make.grinder(cafe, name="The Quern"), grind_setting="24")


def fitted(slot, brews=7, hours=1, **fields):
    version = slot.version
    known = brews > 0
    defaults = {
        "cafe": slot.board.cafe,
        "coffee": version.recipe.coffee,
        "grinder": slot.setting.grinder,
        "grind_setting": "24",
        "paper": version.paper,
        "brewer": version.brewer,
        "dose_g": 15,
        "conductance_m2_s": 2.6e-5 if known else None,
        "u_relative": 0.03 if known else None,
        "low": 2.4e-5 if known else None,
        "high": 2.8e-5 if known else None,
        "next_low": 2e-5 if known else None,
        "next_high": 3.4e-5 if known else None,
        "scatter": 0.12,
        "brews": brews,
        "left_out": 0,
        "newest_brew_at": NOW - timedelta(hours=hours),
    }
    return BedFit.objects.create(**defaults | fields)


def known(slot):
    return bed_for(slot.version, slot.board.cafe)


def test_nobody_has_brewed_it(slot):
    assert known(slot) == (None, NOTHING)


def test_the_fit_at_the_grind_on_the_board(slot):
    row = fitted(slot)
    assert known(slot) == (row.fit(), f"by 7 brews {HERE}")


@pytest.mark.parametrize(
    ("brews", "missing"),
    [(2, f"3 more {HERE} make a"), (4, f"1 more {HERE} makes a"), (0, f"5 more {HERE} make a")],
)
def test_how_many_brews_are_missing(slot, brews, missing):
    fitted(slot, brews)
    fit, words = known(slot)
    assert (fit.fitted, fit.brews_needed) == (False, BREWS_FOR_A_FIT - brews)
    assert words == f"Not enough brews yet: {missing} forecast."


def test_a_grind_with_brews_enough_serves_until_the_one_on_the_board_has_them(slot):
    near = fitted(slot, 9, grind_setting="23", hours=48)
    now = fitted(slot, 2)
    fitted(slot, 30, grind_setting="21", hours=400)
    assert known(slot) == (near.fit(), "by 9 brews at 23 on The Quern, which is not the grind on the board")
    BedFit.objects.filter(pk=now.pk).update(brews=5)
    assert known(slot).words == f"by 5 brews {HERE}"


def test_the_board_may_have_two_grinds(slot):
    cafe = slot.board.cafe
    other = make.grinder(cafe, name="The Nutmeg")
    make.live_slot(cafe, slot.version, grinder=other, grind_setting="8")
    fitted(slot, 6, grinder=other, grind_setting="8", hours=2)
    fitted(slot, 6, grind_setting="23")
    assert known(slot).words == "by 6 brews at 8 on The Nutmeg"
    fitted(slot, 8)
    assert known(slot).words == f"by 8 brews {HERE}"


def test_off_the_board_the_newest_fit_is_said_without_a_reproach(slot):
    draft = make.version(
        make.recipe(slot.board.cafe.company, slot.version.recipe.coffee),
        brewer=slot.version.brewer,
        paper=slot.version.paper,
    )
    fitted(slot, 6)
    assert bed_for(draft, slot.board.cafe).words == f"by 6 brews {HERE}"


@pytest.mark.parametrize("differs", ["coffee", "paper", "brewer", "dose", "cafe"])
def test_another_bed_tells_nothing(slot, differs):
    company = slot.board.cafe.company
    others = {
        "coffee": lambda: {"coffee": make.coffee(company)},
        "paper": lambda: {"paper": None},
        "brewer": lambda: {"brewer": make.brewer(company)},
        "dose": lambda: {"dose_g": 16},
        "cafe": lambda: {"cafe": make.cafe(company)},
    }
    fitted(slot, **others[differs]())
    assert known(slot) == (None, NOTHING)


def test_a_plan_is_asked_about_as_it_is_typed(slot):
    row = fitted(slot, paper=None, dose_g=18)
    typed = slot.version
    typed.paper, typed.dose_g = None, Decimal("17.5")
    assert known(slot).fit == row.fit()
    typed.brewer = None
    assert known(slot) == (None, "Choose a brewer and a dose first: beds differ by them.")


def test_after_new_burrs_a_setting_is_not_what_it_was(slot):
    fitted(slot, hours=3)
    event = make.event(
        slot.board.cafe,
        BarEvent.Kind.BURRS,
        grinder=slot.setting.grinder,
        happened_at=NOW - timedelta(hours=2),
    )
    assert known(slot) == (None, NOTHING)
    BarEvent.objects.filter(pk=event.pk).update(taken_back_at=NOW, taken_back_by=event.noted_by)
    assert known(slot).words == f"by 7 brews {HERE}"


def test_two_queries(slot, django_assert_num_queries):
    for setting in ("22", "23", "24"):
        fitted(slot, grind_setting=setting)
    version, cafe = slot.version, slot.board.cafe
    with django_assert_num_queries(2):
        assert bed_for(version, cafe).fit


def test_half_a_gram_counts_as_the_next():
    assert [whole_grams(Decimal(dose)) for dose in ("14.5", "15.4", "15.5", "16.5")] == [15, 15, 16, 17]
