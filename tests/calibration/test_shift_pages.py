"""Today for a head barista, and one's own results."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from brewbar.crew.models import Role
from calibration import duty, shift
from calibration.models import CheckPlan, Reading
from tests import factories as make


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe())


def test_what_wants_a_look_comes_first(slot):
    cafe = slot.board.cafe
    good, far, absent, close = (
        make.person(cafe=cafe, name=name) for name in ("Good", "Far", "Absent", "Close")
    )
    # Beverage masses that keep the yield on target, so that strength alone decides.
    make.reading(slot, good, ("1.40", "1.40"))
    make.reading(slot, far, ("1.70", "1.70"))
    make.reading(slot, close, ("1.50", "1.50"), ey=20.5)
    CheckPlan.objects.create(cafe=cafe, recipe=slot.card.recipe)
    duty.come(cafe, absent, timezone.now())
    lines = shift.day_at(cafe, cafe.business_day(timezone.now()), timezone.now())
    names = [line.person.name for line in lines if line.person.name in {"Good", "Far", "Absent", "Close"}]
    assert names == ["Far", "Absent", "Close", "Good"]
    assert {line.person.name for line in lines if line.has_checked} == {"Good", "Far", "Close"}


def test_a_rebrew_or_a_voided_brew_is_no_check(slot):
    cafe = slot.board.cafe
    person, head = make.person(cafe=cafe), make.person(Role.HEAD, cafe)
    make.reading(slot, person, attempt=Reading.Attempt.REBREW)
    make.reading(slot, person, voided_at=timezone.now(), voided_by=head, void_reason="spilt")
    make.reading(slot, person, kind=Reading.Kind.SERVED)
    (line,) = [
        x for x in shift.day_at(cafe, cafe.business_day(timezone.now()), timezone.now()) if x.person == person
    ]
    assert not line.has_checked
    assert (len(line.checks), len(line.served)) == (2, 1)


def test_somebody_who_left_is_still_in_the_day_they_brewed(slot):
    cafe = slot.board.cafe
    gone = make.person(cafe=cafe)
    make.reading(slot, gone)
    gone.memberships.update(ended_at=timezone.now())
    now = timezone.now()
    assert gone in [line.person for line in shift.day_at(cafe, cafe.business_day(now), now)]
    yesterday = cafe.business_day(now) - timedelta(days=1)
    assert gone not in [line.person for line in shift.day_at(cafe, yesterday, now)]


@pytest.mark.parametrize("asked", ["", "2020-02-29", "nonsense", "2999-01-01"])
def test_the_page_takes_any_day(slot, asked):
    head = make.signed_in(make.person(Role.HEAD, slot.board.cafe))
    assert head.get("/today/", {"day": asked}).status_code == 200


def test_today_shows_only_this_cafe(slot):
    elsewhere = make.live_slot(make.cafe(slot.board.cafe.company))
    stranger = make.person(cafe=elsewhere.board.cafe, name="Somebody Else")
    make.reading(elsewhere, stranger)
    page = make.signed_in(make.person(Role.HEAD, slot.board.cafe)).get("/today/").content.decode()
    assert "Somebody Else" not in page


def test_my_results_are_mine_at_this_cafe(slot):
    me, other = make.person(cafe=slot.board.cafe), make.person(cafe=slot.board.cafe)
    reading, theirs = make.reading(slot, me), make.reading(slot, other)
    page = make.signed_in(me).get("/my-results/").content.decode()
    assert str(reading.uuid) in page
    assert str(theirs.uuid) not in page


def test_many_results_come_in_pages(slot, django_assert_max_num_queries):
    me = make.person(cafe=slot.board.cafe)
    for n in range(30):
        make.reading(slot, me, brewed_at=timezone.now() - timedelta(hours=n))
    client = make.signed_in(me)
    with django_assert_max_num_queries(12):
        page = client.get("/my-results/").content.decode()
    assert page.count("/readings/") == 25
    assert client.get("/my-results/", {"page": 2}).content.decode().count("/readings/") == 5
    assert client.get("/my-results/", {"page": "x"}).status_code == 200


def test_nothing_yet_says_where_to_begin(slot):
    assert "/board/" in make.signed_in(make.person(cafe=slot.board.cafe)).get("/my-results/").content.decode()


def test_today_does_not_query_by_person(slot, django_assert_max_num_queries):
    cafe = slot.board.cafe
    for _ in range(12):
        make.reading(slot, make.person(cafe=cafe))
    client = make.signed_in(make.person(Role.HEAD, cafe))
    with django_assert_max_num_queries(13):
        client.get("/today/")
