"""Which published band a company compares its cups with: who may choose it, and what is written down."""

from __future__ import annotations

import pytest

from brewbar.crew.models import Change, Role
from calibration import conventions
from calibration.models import BandChoice
from recipes.brewing.bands import PUBLISHED_BANDS
from tests import factories as make

PAGE = "/charts/band/"


@pytest.fixture
def cafe(db):
    return make.cafe()


def of(cafe, role):
    return make.person(role, cafe)


@pytest.mark.parametrize("role", [Role.HEAD, Role.OWNER])
@pytest.mark.parametrize("band", PUBLISHED_BANDS)
def test_it_is_chosen_for_the_company_and_noted(cafe, role, band):
    user = of(cafe, role)
    answer = make.signed_in(user).post(PAGE, {"key": band.key})
    assert answer.status_code == 302
    assert conventions.chosen(make.member(user)) == band
    elsewhere = make.person(Role.BARISTA, make.cafe(cafe.company))
    assert conventions.chosen(make.member(elsewhere)) == band
    change = Change.objects.get(company=cafe.company)
    assert (change.about, change.by, change.cafe) == (Change.About.SETTING, user, None)
    assert change.before == {}
    (after,) = change.after.values()
    assert after.startswith(f"{band.body} ({band.document})")


def test_none_is_the_first_choice_and_can_be_chosen_again(cafe):
    head = of(cafe, Role.HEAD)
    assert conventions.chosen(make.member(head)) is None
    client = make.signed_in(head)
    client.post(PAGE, {"key": "norway"})
    client.post(PAGE, {"key": "norway"})
    assert Change.objects.count() == 1, "the same again changes nothing"
    client.post(PAGE, {"key": ""})
    assert conventions.chosen(make.member(head)) is None
    last = Change.objects.first()
    assert last.after == {}
    assert "Norwegian Coffee Association" in last.before["published band"]


def test_a_barista_may_not_choose(cafe):
    client = make.signed_in(of(cafe, Role.BARISTA))
    assert client.get(PAGE).status_code == 403
    assert client.post(PAGE, {"key": "norway"}).status_code == 403
    assert not BandChoice.objects.exists()


def test_another_company_keeps_its_own(cafe):
    make.signed_in(of(cafe, Role.OWNER)).post(PAGE, {"key": "norway"})
    assert conventions.chosen(make.member(make.person(Role.OWNER))) is None


def test_what_is_no_band_is_refused_beside_the_field(cafe):
    answer = make.signed_in(of(cafe, Role.HEAD)).post(PAGE, {"key": "house"})
    assert answer.status_code == 422
    assert "Choose one of these." in answer.content.decode()
    assert not BandChoice.objects.exists()


def test_the_page_names_each_body_and_its_document(cafe):
    text = make.signed_in(of(cafe, Role.OWNER)).get(PAGE).content.decode()
    for band in PUBLISHED_BANDS:
        assert f"{band.body} ({band.document})" in text
    assert PAGE in make.signed_in(of(cafe, Role.OWNER)).get("/company/").content.decode()


def test_a_band_that_is_listed_no_longer_counts_as_none(cafe):
    BandChoice.objects.create(company=cafe.company, key="gone")
    head = of(cafe, Role.HEAD)
    assert conventions.chosen(make.member(head)) is None
    assert make.signed_in(head).get(PAGE).status_code == 200
