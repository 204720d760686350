"""Somebody who works in two cafés: each café's brews, checks and signals by themselves, and said whose they are."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.access import places_of
from brewbar.crew.models import Membership, Role
from calibration import duty
from calibration.models import CheckPlan, OnDuty
from tests import factories as make

NOW = datetime(2026, 11, 25, 7, 30, tzinfo=UTC)
SOON, LATER = NOW + timedelta(minutes=3), NOW + timedelta(hours=4)


class Both:
    """A recipe that is the check of two cafés, and somebody who works in both."""

    def __init__(self, role: str = Role.BARISTA) -> None:
        self.quay = make.cafe(name="Quay")
        self.yard = make.cafe(self.quay.company, name="Yard")
        self.who = make.person(role, self.quay)
        Membership.objects.create(user=self.who, company=self.quay.company, cafe=self.yard, role=role)
        version = make.version(make.recipe(self.quay.company))
        self.slots = [make.live_slot(cafe, version) for cafe in (self.quay, self.yard)]
        for cafe in (self.quay, self.yard):
            CheckPlan.objects.create(cafe=cafe, recipe=version.recipe)
        self.at_quay, self.at_yard = places_of(self.who)

    def on(self, cafe: object) -> bool:
        return OnDuty.objects.filter(user=self.who, cafe=cafe, off_since=None).exists()


@pytest.fixture
def both(db) -> Both:
    return Both()


def test_signing_in_says_nothing_of_where_they_are(both):
    assert duty.signed_in(both.who, None, NOW) is None
    assert not OnDuty.objects.exists()


def test_on_a_cafes_own_tablet_they_are_there(both):
    tablet, _key = make.tablet(make.station(both.yard))
    assert duty.signed_in(both.who, tablet, NOW).cafe == both.yard


def test_a_board_opened_on_the_way_to_the_other_makes_nothing_due(both):
    duty.here(both.at_quay, NOW)
    duty.here(both.at_yard, SOON)
    assert (both.on(both.quay), both.on(both.yard)) == (False, True)
    assert duty.day_at(both.quay, both.quay.business_day(NOW), SOON) == []


def test_and_back_again_they_are_where_they_were_with_the_same_draw(both):
    row = duty.here(both.at_quay, NOW)
    duty.here(both.at_yard, SOON)
    again = duty.here(both.at_quay, SOON + timedelta(minutes=1))
    assert (again.pk, again.asked_twice) == (row.pk, row.asked_twice)
    assert (both.on(both.quay), both.on(both.yard)) == (True, False)


def test_a_shift_in_each_is_a_check_in_each(both):
    duty.here(both.at_quay, NOW)
    duty.here(both.at_yard, LATER)
    assert both.on(both.quay)
    assert both.on(both.yard)


@pytest.mark.parametrize("what", ["brewed", "under way", "busy", "marked"])
def test_whoever_did_something_there_was_there(both, what):
    row = duty.here(both.at_quay, NOW)
    if what == "brewed":
        make.reading(both.slots[0], both.who, brewed_at=NOW)
    elif what == "under way":
        make.run(both.slots[0], both.who, opened_at=NOW)
    elif what == "busy":
        duty.too_busy(both.quay, both.who, NOW)
    else:
        OnDuty.objects.filter(pk=row.pk).update(how=OnDuty.How.MARKED)
    duty.here(both.at_yard, SOON)
    assert both.on(both.quay)


def test_a_mark_that_a_head_barista_took_back_stays_back(both):
    duty.here(both.at_quay, NOW)
    duty.take_off(both.quay, both.who, SOON)
    duty.here(both.at_quay, LATER)
    assert not both.on(both.quay)


def test_a_brew_in_one_is_no_check_of_the_other(both):
    now = timezone.now()
    make.reading(both.slots[0], both.who, brewed_at=now)
    rows = [duty.come(cafe, both.who, now, lots=Never()) for cafe in (both.quay, both.yard)]
    assert [duty.turn_of(row, now).state for row in rows] == [duty.DONE, duty.DUE]


class Never:
    def random(self) -> float:
        return 1.0


def test_a_head_of_several_is_due_nowhere_for_looking_in(db):
    both = Both(Role.HEAD)
    assert duty.here(both.at_quay, NOW) is None
    client = make.signed_in(both.who)
    client.get(reverse("recipes:board"))
    page = client.get(reverse("calibration:check")).content.decode()
    assert "You head several cafés" in page
    assert not OnDuty.objects.exists()
    client.post(reverse("calibration:check_duty"), {"user": both.who.pk})
    assert both.on(both.quay)
    assert "You head several cafés" not in client.get(reverse("calibration:check")).content.decode()


def test_a_head_of_one_is_on_when_they_open_the_board(db):
    head = make.person(Role.HEAD)
    assert duty.here(make.member(head), NOW) is not None


def test_my_results_are_those_of_one_cafe_and_say_where_the_others_are(both):
    for slot, tastes in zip(both.slots, (["plum"], ["peach", "pear"]), strict=True):
        for taste in tastes:
            make.reading(slot, both.who, taste=taste)
    client, mine = make.signed_in(both.who), reverse("calibration:mine")
    page = client.get(mine)
    assert [row.reading.cafe for row in page.context["rows"]] == [both.quay]
    assert "2 more brews of yours are at Yard" in page.content.decode()
    client.post(reverse("crew:switch_place"), {"place": both.at_yard.key, "next": mine})
    page = client.get(mine)
    assert [row.reading.cafe for row in page.context["rows"]] == [both.yard] * 2
    assert "One more brew of yours is at Quay" in page.content.decode()


def test_whoever_has_one_place_reads_of_no_other(both):
    other = make.person(cafe=both.quay)
    make.reading(both.slots[0], other)
    page = make.signed_in(other).get(reverse("calibration:mine")).content.decode()
    assert "more brew" not in page


def test_a_place_that_was_left_is_not_offered(both):
    make.reading(both.slots[1], both.who)
    both.who.memberships.filter(cafe=both.yard).update(ended_at=timezone.now())
    page = make.signed_in(both.who).get(reverse("calibration:mine")).content.decode()
    assert "Yard" not in page


def test_a_signal_about_them_is_read_in_its_own_cafe(both):
    signal = make.signal(both.yard, both.who, recipe=both.slots[1].version.recipe)
    client, path = make.signed_in(both.who), reverse("calibration:signal", args=[signal.pk])
    assert client.get(path).status_code == 404
    client.post(reverse("crew:switch_place"), {"place": both.at_yard.key})
    assert client.get(path).status_code == 200
