"""A device becomes a station's tablet, people come and go on it, and it ends when it is revoked."""

import re
from datetime import timedelta

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from brewbar.crew import pins, tablets
from brewbar.crew.models import Change, Role, Tablet
from tests import factories as make

PIN, COOKIE = "4071", settings.TABLET_COOKIE_NAME


@pytest.fixture
def cafe(db):
    return make.cafe()


def enrol(cafe, head, client: Client | None = None, **more) -> Client:
    client = make.signed_in(head, client)
    station = more.pop("station", None) or make.station(cafe)
    answer = client.post(reverse("crew:tablets"), {"station": station.pk, "label": "by the grinder", **more})
    assert answer.status_code == 302, answer.content.decode()
    return client


def test_enrolling_signs_the_head_out_and_shows_the_board(cafe):
    head = make.person(Role.HEAD, cafe)
    client = enrol(cafe, head)
    tablet, cookie = Tablet.objects.get(), client.cookies[COOKIE]
    assert "_auth_user_id" not in client.session
    assert (cookie["httponly"], cookie["samesite"]) == (True, "Lax")
    assert cookie["max-age"] > 365 * 24 * 3600
    assert cookie.value not in str(Tablet.objects.values())
    page = client.get(reverse("recipes:board"))
    assert page.status_code == 200
    assert page.wsgi_request.member.is_station
    change = Change.objects.get()
    assert (change.by, change.what) == (head, "enrolled as the station's tablet")
    assert change.subject == str(tablet)


def test_the_cookie_is_secure_where_the_address_is(cafe, settings):
    settings.SESSION_COOKIE_SECURE = True
    assert enrol(cafe, make.person(Role.HEAD, cafe)).cookies[COOKIE]["secure"]


def test_a_station_of_another_cafe_cannot_be_enrolled(cafe):
    client = make.signed_in(make.person(Role.HEAD, cafe))
    for foreign in (make.station(make.cafe()), make.station(make.cafe(cafe.company))):
        assert client.post(reverse("crew:tablets"), {"station": foreign.pk}).status_code == 422
    assert not Tablet.objects.exists()


def test_a_device_is_one_tablet_at_a_time(cafe):
    head = make.person(Role.HEAD, cafe)
    client = enrol(cafe, head)
    first = client.cookies[COOKIE].value
    enrol(cafe, head, client)
    assert tablets.found(first) is None
    assert tablets.found(client.cookies[COOKIE].value) == Tablet.objects.enrolled().get()


def test_a_revoked_tablet_opens_nothing_and_ends_who_is_signed_in_on_it(cafe):
    head, tapped = make.person(Role.HEAD, cafe), make.person(Role.BARISTA, cafe)
    tablet, key = make.tablet(make.station(cafe), head)
    person = make.signed_in_by_pin(tablet, key, tapped)
    assert person.get("/c/").status_code == 200
    client, address = make.signed_in(head), reverse("crew:tablet_revoke", args=[tablet.pk])
    assert client.get(address).status_code == 200
    assert tablets.found(key) == tablet
    client.post(address)
    client.post(address)
    assert person.get("/c/")["Location"].startswith(reverse("crew:sign_in"))
    assert make.at_tablet(key).get("/board/")["Location"].startswith(reverse("crew:sign_in"))
    assert Change.objects.filter(what="revoked").count() == 1
    assert "No tablet yet" in client.get(reverse("crew:tablets")).content.decode()


@pytest.mark.parametrize("ends", ["membership", "station", "pin"])
def test_a_pin_session_ends_with_what_it_stands_on(cafe, ends):
    person = make.person(Role.BARISTA, cafe)
    tablet, key = make.tablet(make.station(cafe))
    client = make.signed_in_by_pin(tablet, key, person)
    assert client.get("/c/").status_code == 200
    if ends == "membership":
        person.memberships.update(ended_at=timezone.now())
    elif ends == "station":
        tablet.station.retire()
    else:
        pins.set_pin(person.memberships.get(), PIN, person)
    assert client.get("/c/").status_code == 302
    assert "_auth_user_id" not in client.session


def test_a_pin_session_is_worth_nothing_without_its_tablet(cafe):
    tablet, key = make.tablet(make.station(cafe))
    client = make.signed_in_by_pin(tablet, key, make.person(Role.BARISTA, cafe))
    _other, other_key = make.tablet(make.station(cafe))
    client.cookies[COOKIE] = other_key
    assert client.get("/c/")["Location"].startswith(reverse("crew:names"))
    client = make.signed_in_by_pin(tablet, key, make.person(Role.BARISTA, cafe))
    del client.cookies[COOKIE]
    assert client.get("/c/")["Location"].startswith(reverse("crew:sign_in"))


def test_a_person_comes_by_name_and_pin_works_and_goes(cafe):
    head = make.person(Role.HEAD, cafe, name="Ana Prova")
    make.person(Role.OWNER, company=cafe.company, name="Olga Owner")
    pins.set_pin(head.memberships.get(), PIN, head)
    _tablet, key = make.tablet(make.station(cafe), head)
    client = make.at_tablet(key)
    asked = client.get("/my-results/")["Location"]
    assert asked == "/pin/?next=%2Fmy-results%2F"
    names = client.get(asked).content.decode()
    assert "Ana Prova" in names
    assert "Olga Owner" not in names
    leads_to = re.search(r'href="(/pin/\d+/[^"]*)"', names)[1]
    before = client.session.session_key
    answer = client.post(leads_to, {"pin": PIN})
    assert answer["Location"] == "/my-results/"
    assert client.session.session_key != before
    assert client.session.get_expire_at_browser_close()
    page = client.get("/my-results/")
    member = page.wsgi_request.member
    assert (member.user, member.role, len(page.wsgi_request.places)) == (head, Role.BARISTA, 1)
    assert page["Cache-Control"] == "no-store"
    assert "Done" in page.content.decode()
    assert client.post(reverse("crew:sign_out"))["Location"] == "/"
    assert client.get("/my-results/").status_code == 302


def test_a_pin_session_changes_neither_password_nor_pin_and_is_told_kindly(cafe):
    tablet, key = make.tablet(make.station(cafe))
    client = make.signed_in_by_pin(tablet, key, make.person(Role.HEAD, cafe))
    for address in (reverse("crew:password"), reverse("crew:my_pin")):
        answer = client.get(address)
        assert answer.status_code == 403
        assert "needs your password" in answer.content.decode()
    assert client.post(reverse("crew:switch_place"), {"place": "1-1"}).status_code == 302
    assert client.get("/c/").wsgi_request.member.role == Role.BARISTA


def test_what_is_changed_on_a_tablet_says_so(cafe):
    head = make.person(Role.HEAD, cafe)
    tablet, key = make.tablet(make.station(cafe, name="S" * 40), head, label="L" * 40)
    client = make.signed_in(head, make.at_tablet(key))
    client.post(reverse("crew:tablet_revoke", args=[tablet.pk]))
    assert Change.objects.latest("pk").through == str(tablet)[:80]


def test_last_use_is_written_now_and_then_and_never_by_a_poll(cafe):
    tablet, key = make.tablet(make.station(cafe))
    client = make.at_tablet(key)
    client.get("/board/", headers={"X-Poll": "yes", "HX-Request": "true"})
    tablet.refresh_from_db()
    assert tablet.last_used_at is None
    client.get("/board/")
    tablet.refresh_from_db()
    first = tablet.last_used_at
    assert client.cookies[COOKIE].value == key
    client.get("/board/")
    tablet.refresh_from_db()
    assert tablet.last_used_at == first
    long_ago = timezone.now() - timedelta(minutes=11)
    Tablet.objects.filter(pk=tablet.pk).update(last_used_at=long_ago)
    client.get("/board/")
    tablet.refresh_from_db()
    assert tablet.last_used_at > first


def test_the_names_cost_the_same_however_many_there_are(cafe, django_assert_max_num_queries):
    _tablet, key = make.tablet(make.station(cafe))
    for _one in range(9):
        make.person(cafe=cafe)
    client = make.at_tablet(key)
    client.get("/pin/")
    with django_assert_max_num_queries(3):
        client.get("/pin/")


def test_the_station_leaves_no_session_behind(cafe):
    _tablet, key = make.tablet(make.station(cafe))
    client = make.at_tablet(key)
    for path in ("/board/", "/pin/", "/c/"):
        client.get(path)
    assert not Session.objects.exists()
