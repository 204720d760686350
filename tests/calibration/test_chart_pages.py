"""What a chart page is asked for: the address keeps the question, and tells kindly what makes no sense."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from tests import factories as make

CHARTS, FIGURE, TABLE = "/charts/", "/charts/figure.json", "/charts/table.csv"


@pytest.fixture
def bar(db):
    slot = make.live_slot(make.cafe(), at=timezone.now() - timedelta(days=40))
    crew = [make.person(cafe=slot.board.cafe, name=f"Crew {letter}") for letter in "ABCDEF"]
    for days in range(3):
        for person in crew:
            make.reading(slot, person, brewed_at=timezone.now() - timedelta(days=days))
    return slot, crew


@pytest.fixture
def head(bar):
    return make.signed_in(make.person(Role.HEAD, bar[0].board.cafe))


def test_the_address_keeps_the_question(bar, head):
    first = (timezone.now() - timedelta(days=9)).date().isoformat()
    page = head.get(CHARTS, {"measure": "ey", "first": first}).content.decode()
    assert f"first={first}" in page
    assert "measure=ey" in page
    assert f'value="{first}"' in page


@pytest.mark.parametrize(
    "query",
    [
        {"first": "2026-02-02", "last": "2026-01-01"},
        {"first": "yesterday"},
        {"first": "1990-01-01"},
        {"first": "0001-01-01", "last": "0001-01-02"},
        {"first": "9999-12-30", "last": "9999-12-31"},
        {"measure": "taste"},
        {"recipe": "999999"},
        {"kind": "all"},
        {"instrument": "best"},
    ],
)
def test_a_question_that_makes_no_sense_is_told_kindly(bar, head, query):
    page = head.get(CHARTS, query)
    assert page.status_code == 422
    assert head.get(FIGURE, query).status_code == 400
    assert head.get(TABLE, query).status_code == 422


def test_a_report_of_the_first_day_that_there_is_is_told_kindly(bar, head):
    page = head.get(reverse("calibration:report"), {"from": "0001-01-01", "to": "0001-01-02"})
    assert page.status_code == 422
    assert "A day between 2000 and 2100" in page.content.decode()


def test_another_companys_cafe_and_recipe_are_no_choice(bar, head):
    foreign = make.live_slot(make.cafe())
    make.reading(foreign, make.person(cafe=foreign.board.cafe))
    asked = {"recipe": foreign.version.recipe.pk, "cafe": foreign.board.cafe.pk}
    assert head.get(CHARTS, asked).status_code == 422
    owner = make.signed_in(make.person(Role.OWNER, bar[0].board.cafe))
    assert owner.get(CHARTS, asked).status_code == 422


def test_an_owner_looks_into_each_cafe(bar):
    slot, _crew = bar
    there = make.cafe(slot.board.cafe.company)
    other = make.live_slot(there)
    make.reading(other, make.person(cafe=there))
    owner = make.signed_in(make.person(Role.OWNER, slot.board.cafe))
    page = owner.get(CHARTS, {"cafe": there.pk, "recipe": slot.version.recipe.pk})
    assert page.status_code == 200
    assert page.context["seen"].asked.recipe == other.version.recipe


def test_a_bar_without_readings_is_told_where_to_begin(db):
    page = make.signed_in(make.person(Role.HEAD)).get(CHARTS).content.decode()
    assert reverse("recipes:board") in page
    assert "plotly" not in page
