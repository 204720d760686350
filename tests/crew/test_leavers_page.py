"""Owners read whose name goes when; nobody else does."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew import forgetting
from brewbar.crew.models import Role
from tests import factories as make

NOW = timezone.now()


@pytest.fixture
def cafe(db):
    return make.cafe()


def page(cafe, role=Role.OWNER) -> str:
    return make.signed_in(make.person(role, cafe)).get(reverse("crew:people")).content.decode()


def left(cafe, days: int, name: str):
    user = make.person(cafe=cafe, name=name)
    user.memberships.update(started_at=NOW - timedelta(days=days + 9), ended_at=NOW - timedelta(days=days))
    return user


def test_without_anybody_who_left_nothing_is_said(cafe):
    assert "Names of people who left" not in page(cafe)


def test_without_a_setting_it_is_asked_for(cafe):
    left(cafe, 10, "Ada Gone")
    assert "has not set after how many months" in page(cafe)
    assert "Names of people who left" not in page(cafe, Role.HEAD)


def test_whose_name_goes_when(cafe):
    cafe.company.forget_after_months = 6
    cafe.company.save()
    soon, later = left(cafe, 400, "Ada Gone"), left(cafe, 10, "Bo Later")
    said = page(cafe)
    assert "6 months after the last role ended" in said
    assert said.index("<b>Ada Gone</b>") < said.index("in the next night") < said.index("<b>Bo Later</b>")
    for user in (soon, later):
        forgetting.forget(user, NOW)
    said = page(cafe)
    assert "waiting to become a pseudonym" in said
    assert "Ada Gone" not in said
    assert "Former barista 1" in said


def test_the_company_page_says_what_to_tell_the_staff(cafe):
    cafe.company.forget_after_months = 1
    cafe.company.save()
    owner = make.signed_in(make.person(Role.OWNER, cafe))
    said = owner.get(reverse("crew:company")).content.decode()
    assert "until 1 month after they left" in said
    assert "local rules on monitoring at work" in said
