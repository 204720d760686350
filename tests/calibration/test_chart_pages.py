"""Chart pages: the address keeps the question, figures are figures, tables are safe in a spreadsheet."""

from __future__ import annotations

import csv
import io
from datetime import timedelta

import plotly.graph_objects as go
import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from calibration.tables import neutral
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


def rows_of(answer):
    return list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))


@pytest.mark.parametrize("measure", ["tds", "ey", "time"])
@pytest.mark.parametrize("figure", ["days", "people"])
@pytest.mark.parametrize("role", [Role.BARISTA, Role.HEAD, Role.OWNER])
def test_every_figure_is_one_that_plotly_takes(bar, role, figure, measure):
    slot, crew = bar
    person = crew[0] if role == Role.BARISTA else make.person(role, slot.board.cafe)
    answer = make.signed_in(person).get(FIGURE, {"measure": measure, "figure": figure})
    drawn = go.Figure(answer.json())
    assert sum(len(trace.x) for trace in drawn.data) > 0
    assert drawn.layout.shapes


def test_a_barista_gets_nobody_elses_name_or_brew(bar):
    _slot, crew = bar
    client = make.signed_in(crew[0])
    for address in (CHARTS, f"{FIGURE}?figure=days", f"{FIGURE}?figure=people", f"{TABLE}?table=brews"):
        text = client.get(address).content.decode()
        assert not [other.name for other in crew[1:] if other.name in text]
    assert len(rows_of(client.get(f"{TABLE}?table=brews"))) == 1 + 3


def test_an_owner_gets_no_single_brew(bar):
    slot, crew = bar
    client = make.signed_in(make.person(Role.OWNER, slot.board.cafe))
    assert len(rows_of(client.get(f"{TABLE}?table=brews"))) == 1
    text = client.get(CHARTS).content.decode() + client.get(f"{FIGURE}?figure=people").content.decode()
    assert not [person.name for person in crew if person.name in text]
    assert "Barista A" in text


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
        {"measure": "taste"},
        {"recipe": "999999"},
        {"kind": "all"},
    ],
)
def test_a_question_that_makes_no_sense_is_told_kindly(bar, head, query):
    page = head.get(CHARTS, query)
    assert page.status_code == 422
    assert head.get(FIGURE, query | {"figure": "days"}).status_code == 400
    assert head.get(TABLE, query).status_code == 422


def test_an_unknown_figure_is_refused(bar, head):
    assert head.get(FIGURE, {"figure": "pies"}).status_code == 400


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


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1"])
def test_formulas_are_neutralised(cell):
    assert neutral(cell) == "'" + cell
    assert neutral(-1.5) == -1.5


def test_a_hostile_name_reaches_the_spreadsheet_as_text(bar, head):
    slot, _crew = bar
    villain = make.person(cafe=slot.board.cafe, name='=HYPERLINK("https://x.invalid")')
    make.reading(slot, villain, taste="@evil")
    rows = rows_of(head.get(TABLE, {"table": "people"})) + rows_of(head.get(TABLE, {"table": "brews"}))
    cells = [cell for row in rows for cell in row]
    assert "'" + villain.name in cells
    assert "'@evil" in cells
    assert not [cell for cell in cells if cell.startswith(("=", "@"))]


def test_csv_has_a_row_for_every_day(bar, head):
    head_row, *rows = rows_of(head.get(TABLE))
    assert len(rows) == 3
    assert len(head_row) == len(rows[0])
    assert rows[0][1] == "6"


def test_queries_do_not_grow_with_the_span(bar, head, django_assert_max_num_queries):
    with django_assert_max_num_queries(14):
        head.get(CHARTS)


@pytest.mark.parametrize("measure", ["tds", "time"])
@pytest.mark.parametrize("figure", ["days", "people"])
def test_a_span_without_a_reading_has_an_empty_figure(bar, head, figure, measure):
    long_ago = {"figure": figure, "measure": measure, "first": "2001-01-01", "last": "2001-02-01"}
    answer = head.get(FIGURE, long_ago)
    assert answer.status_code == 200
    assert not [x for trace in go.Figure(answer.json()).data for x in trace.x or ()]
