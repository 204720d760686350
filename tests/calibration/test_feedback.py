"""Exactly one sentence after the reading, about the brew and never about a person or a cause."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from calibration import feedback
from calibration.models import CheckPlan, OnDuty, Reading
from tests import factories as make


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(), at=timezone.now() - timedelta(days=5))


@pytest.fixture
def ana(slot):
    return make.person(cafe=slot.board.cafe)


def said(slot, who, drops=("1.40", "1.40"), **fields):
    found = feedback.of(make.reading(slot, who, drops, **fields), timezone.now())
    return found.says if found else None


def crew_of(slot, n, tds):
    for _n in range(n):
        make.reading(slot, make.person(cafe=slot.board.cafe), (tds, tds))


@pytest.mark.parametrize(
    ("drops", "fields", "starts"),
    [
        (("1.40", "1.40"), {}, "Inside."),
        (("1.40", "1.40"), {"brew_time_s": 190}, "A touch long, by 25 s: see whether the last pour ran on."),
        (("1.40", "1.40"), {"brew_time_s": 240}, "Long, by 75 s"),
        (("1.40", "1.40"), {"brew_time_s": 140}, "A touch short, by 25 s"),
        (("1.60", "1.60"), {}, "0.20 % too strong, and the time was right."),
        (("1.20", "1.20"), {"brew_time_s": 240}, "0.20 % too weak and 75 s too long."),
        (("1.50", "1.50"), {}, "Too close to call"),
        (("1.40", "1.40"), {"kind": Reading.Kind.PRACTICE}, "Practice, so it counts nowhere: inside."),
    ],
)
def test_what_is_said_of_a_brew(slot, ana, drops, fields, starts):
    told = said(slot, ana, drops, **fields)
    assert told.startswith(starts)
    assert told.count(".") == 1 + told.count("0.")


def test_a_cup_we_served_is_told_nothing(slot, ana):
    assert said(slot, ana, kind=Reading.Kind.SERVED) is None


def test_the_crew_is_a_band_without_names_and_only_of_five_others(slot, ana):
    crew_of(slot, 4, "1.40")
    assert said(slot, ana) == "Inside."
    crew_of(slot, 1, "1.40")
    assert said(slot, ana) == "Inside, and with the crew."
    assert said(slot, ana, ("1.46", "1.46")) == "Inside, and 0.06 % stronger than the crew today."


def test_a_whole_day_that_is_off_is_not_the_pouring(slot, ana):
    """R13, common practice, no source."""
    crew_of(slot, 5, "1.55")
    assert said(slot, ana, ("1.60", "1.60")).endswith(
        "as the others are today: look at grind, dose and kettle before the pouring."
    )


def test_who_was_drawn_is_asked_once_more_that_day(slot, ana):
    cafe, now = slot.board.cafe, timezone.now()
    CheckPlan.objects.create(cafe=cafe, recipe=slot.card.recipe)
    OnDuty.objects.create(
        cafe=cafe, user=ana, business_day=cafe.business_day(now), since=now, how="signed-in", asked_twice=True
    )
    first = make.reading(slot, ana)
    assert feedback.of(first, now).once_more
    assert not feedback.of(first, now + timedelta(days=1)).once_more
    make.reading(slot, ana, attempt=Reading.Attempt.REPEAT)
    assert not feedback.of(first, now).once_more
