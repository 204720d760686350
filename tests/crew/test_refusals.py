"""Sign-ins refused stand in the record of those they were meant for, and give no secret away."""

import pytest
from django.conf import settings
from django.test import Client

from brewbar.crew.models import Change, Role
from tests import factories as make


def try_to_sign_in(username: str, client: Client | None = None) -> int:
    sent = {"username": username, "password": "my real password"}
    return (client or Client()).post("/sign-in/", sent).status_code


def noted() -> list[tuple[str, str, str]]:
    rows = Change.objects.filter(about=Change.About.SIGN_IN).order_by("pk")
    return [(one.what, one.subject, one.by_name) for one in rows]


@pytest.fixture
def cafe(db):
    return make.cafe()


def test_a_wrong_password_is_noted_until_it_is_locked_and_no_more(cafe):
    ana = make.person(cafe=cafe, name="Ana Prova")
    for _try in range(settings.AXES_FAILURE_LIMIT + 3):
        try_to_sign_in(ana.username.upper())
    refused = [("password refused", "Ana Prova", "Ana Prova")] * (settings.AXES_FAILURE_LIMIT - 1)
    assert noted() == [*refused, ("password refused, and locked", "Ana Prova", "Ana Prova")]
    change = Change.objects.latest("pk")
    assert (change.company, change.cafe, change.by) == (cafe.company, cafe, None)
    assert not Change.objects.filter(words__contains="my real password").exists()


def test_every_company_of_the_person_is_told_and_no_other(cafe):
    ana = make.person(cafe=cafe)
    abroad, there = make.cafe(), make.cafe(cafe.company)
    make.cafe()
    ana.memberships.create(company=abroad.company, cafe=abroad, role=Role.BARISTA)
    ana.memberships.create(company=cafe.company, cafe=there, role=Role.BARISTA)
    try_to_sign_in(ana.username)
    told = {(one.company, one.cafe) for one in Change.objects.all()}
    assert told == {(cafe.company, None), (abroad.company, abroad)}


def test_a_name_nobody_has_is_noted_now_and_then_and_never_what_was_typed(cafe):
    make.company().__class__.objects.exclude(pk=cafe.company.pk).update(is_invented=True)
    for _try in range(3):
        try_to_sign_in("a password in the wrong field")
    assert noted() == [("sign-in refused", "a sign-in name that nobody has", "somebody unknown")]
    assert not Change.objects.filter(words__contains="wrong field").exists()


def test_a_name_nobody_has_is_nobodys_where_several_companies_are(cafe):
    make.cafe()
    try_to_sign_in("nobody")
    assert noted() == []


def test_whoever_left_is_no_business_of_the_company_any_more(cafe):
    ana = make.person(cafe=cafe)
    make.cafe()
    ana.memberships.update(ended_at="2026-01-01T00:00Z")
    try_to_sign_in(ana.username)
    assert noted() == []


def test_a_pin_refused_is_noted_once_as_a_pin(cafe):
    from brewbar.crew import pins

    ana = make.person(cafe=cafe)
    pins.set_pin(ana.memberships.get(), "4071", ana)
    _tablet, key = make.tablet(make.station(cafe))
    before = len(noted())
    make.at_tablet(key).post(f"/pin/{ana.memberships.get().pk}/", {"pin": "9135"})
    assert [what for what, _subject, _by in noted()[before:]] == ["PIN refused"]
