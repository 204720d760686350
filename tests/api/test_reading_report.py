"""The report reaches a program as its page reaches whoever made the key, number by number."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.utils import timezone

from brewbar.crew.models import Naming, Role
from calibration.reporting.build import asked_for, build
from tests import factories as make
from tests.api.bar import N_DAYS, V1

PATH = f"{V1}/results/report/"


@pytest.fixture
def span(bar):
    today = bar.cafe.business_day(timezone.now())
    return {"from": (today - timedelta(days=N_DAYS - 1)).isoformat(), "to": today.isoformat()}


def of_page(bar, span, *, for_owner):
    first, last = (bar.cafe.business_day(timezone.now()) - timedelta(days=ago) for ago in (N_DAYS - 1, 0))
    return build(asked_for(bar.cafe.company, None, first, last, for_owner=for_owner), timezone.now())


@pytest.mark.parametrize("role", [Role.HEAD, Role.OWNER])
def test_it_says_what_the_page_says(bar, crew, span, role):
    answer = bar.program(role).get(PATH, span)
    assert answer.status_code == 200, answer.json()
    said, page = answer.json(), of_page(bar, span, for_owner=role == Role.OWNER)
    assert (said["title"], said["people_note"]) == (page.title, page.people_note)
    assert [one["says"] for one in said["sentences"]] == [one.says for one in page.sentences]
    assert [one["key"] for one in said["sections"]] == [one.key for one in page.sections]
    assert said["cut"]["digest"] == page.cut.digest
    assert said["cut"]["counted"] == page.cut.counted > 0
    tables = {one["table"]["key"]: one["table"] for one in said["sections"] if one["table"]}
    assert list(tables) == [table.key for table in page.tables]
    for table in page.tables:
        assert tables[table.key]["head"] == list(table.csv_head)
        assert len(tables[table.key]["rows"]) == len(table.numbers)
    # Standard JSON, whatever the numbers are.
    json.loads(answer.content, parse_constant=lambda name: pytest.fail(name))


def test_the_spread_comes_in_parts(bar, crew, span):
    said = bar.program(Role.OWNER).get(PATH, span).json()
    [spread] = [one["table"] for one in said["sections"] if one["key"] == "spread"]
    assert any(isinstance(cell, float) for row in spread["rows"] for cell in row)


def test_an_owner_reads_names_once_the_company_shows_them(bar, crew, span):
    owner = bar.program(Role.OWNER)
    hidden = owner.get(PATH, span).content.decode()
    assert not any(person.name in hidden for person in crew)
    bar.cafe.company.people_shown_to_owners = Naming.NAMES
    bar.cafe.company.save()
    assert any(person.name in owner.get(PATH, span).content.decode() for person in crew)


def test_a_barista_reads_none_of_it_and_a_head_of_no_other_cafe(bar, crew, span):
    assert bar.program().get(PATH, span).status_code == 403
    other = make.cafe(bar.cafe.company)
    assert bar.program(Role.HEAD).get(PATH, span | {"cafe": other.pk}).status_code == 422
    head = bar.program(Role.HEAD).get(PATH, span).json()
    assert [cafe["id"] for cafe in head["cafes"]] == [bar.cafe.pk]
    owner = bar.program(Role.OWNER)
    assert {cafe["id"] for cafe in owner.get(PATH, span).json()["cafes"]} == {bar.cafe.pk, other.pk}
    of_one = owner.get(PATH, span | {"cafe": other.pk}).json()
    assert ([cafe["id"] for cafe in of_one["cafes"]], of_one["cut"]["readings"]) == ([other.pk], 0)
    assert owner.get(PATH, span | {"cafe": make.cafe().pk}).status_code == 422


def test_last_month_unless_a_span_is_sent(bar):
    said = bar.program(Role.HEAD).get(PATH).json()
    last = bar.cafe.business_day(timezone.now()).replace(day=1) - timedelta(days=1)
    assert (said["first"], said["last"]) == (last.replace(day=1).isoformat(), last.isoformat())


@pytest.mark.parametrize(
    ("query", "status", "parameter"),
    [
        ("from=2026-11-02", 422, "to"),
        ("from=2026-11-02&to=2026-11-01", 422, "to"),
        ("from=2999-01-01&to=2999-01-02", 422, "from to"),
        ("from=0001-01-01&to=0001-01-02", 422, "from to"),
        ("span=month", 400, "span"),
    ],
)
def test_what_is_asked_wrongly(bar, query, status, parameter):
    answer = bar.program(Role.HEAD).get(f"{PATH}?{query}")
    assert answer.status_code == status, answer.content
    assert [one["parameter"] for one in answer.json()["errors"]] == parameter.split()
