"""Results reach a program as they reach the page of whoever made its key: no reading and no name more."""

from datetime import timedelta

import pytest
from django.utils import timezone

from brewbar.crew.models import Naming, Role
from calibration import days, staff
from calibration.forms.filters import ChartFilter
from tests import factories as make
from tests.api.bar import N_DAYS, V1

ALL = 96


def items(program, **query):
    return program.get(f"{V1}/readings/", query).json()["items"]


def test_a_barista_reads_their_own_and_a_head_the_cafes(bar, crew):
    assert {one["barista"]["id"] for one in items(bar.program())} == {bar.barista.pk}
    assert len(items(bar.program(Role.HEAD), limit=200)) == ALL
    assert items(bar.program(), barista=crew[1].pk) == []
    of_one = items(bar.program(Role.HEAD), barista=crew[1].pk)
    assert {one["barista"]["id"] for one in of_one} == {crew[1].pk}


def test_an_owner_reads_no_single_reading(bar, crew):
    program = bar.program(Role.OWNER)
    one = bar.barista.readings.first()
    for path in ("/readings/", f"/readings/{one.uuid}/"):
        answer = program.get(f"{V1}{path}")
        assert answer.status_code == 403
        assert "never the readings of single people" in answer.json()["detail"]


def test_readings_are_found_by_day_recipe_and_kind(bar, crew):
    head = bar.program(Role.HEAD)
    today = bar.cafe.business_day(timezone.now())
    assert len(items(head, **{"from": today.isoformat()})) == 12
    assert len(items(head, limit=200, to=(today - timedelta(days=2)).isoformat())) == 12 * (N_DAYS - 2)
    assert len(items(head, limit=200, recipe=bar.slot.version.recipe.pk)) == ALL
    assert items(head, recipe=987654321) == items(head, kind="served") == []


def test_one_reading_with_its_correction_and_its_void(bar):
    row = make.reading(bar.slot, bar.barista)
    newer = make.reading(bar.slot, bar.barista, corrects=row)
    newer.voided_at, newer.voided_by, newer.void_reason = timezone.now(), bar.head, "scale not on zero"
    newer.save()
    said = {one["uuid"]: one for one in items(bar.program())}
    assert said[str(row.uuid)]["corrected_by"] == str(newer.uuid)
    assert said[str(newer.uuid)]["corrects"] == str(row.uuid)
    assert said[str(newer.uuid)]["void_reason"] == "scale not on zero"
    one = bar.program().get(f"{V1}/readings/{row.uuid}/")
    assert one.json() == said[str(row.uuid)]
    other = make.with_key(make.access_key(make.person(Role.BARISTA, bar.cafe))[1])
    assert other.get(f"{V1}/readings/{row.uuid}/").status_code == 404


def test_the_queries_of_readings_do_not_grow(bar, crew, django_assert_num_queries):
    head = bar.program(Role.HEAD)
    items(head)
    for limit in (2, ALL):
        # The key, the readings, their drops, what their café aimed at.
        with django_assert_num_queries(4):
            assert len(items(head, limit=limit)) == limit


def asked(bar, user):
    member = make.member(user)
    form = ChartFilter({}, member, bar.cafe.business_day(timezone.now()))
    assert form.is_valid()
    return member, form.asked()


@pytest.mark.parametrize("role", Role.values)
def test_days_say_what_the_page_says(bar, crew, role):
    user = {Role.BARISTA: bar.barista, Role.HEAD: bar.head, Role.OWNER: bar.owner}[Role(role)]
    said = bar.program(role).get(f"{V1}/results/days/").json()
    seen = days.look(*asked(bar, user))
    assert (said["answer"], said["how_sure"], said["brews"]) == (seen.answer, seen.how_sure, seen.brews)
    assert len(said["days"]) == N_DAYS
    assert [one["value"] for one in said["days"]] == [round(row.value, 4) for row in seen.days]


def test_people_reach_each_role_as_on_its_page(bar, crew):
    path = f"{V1}/results/staff/"
    head = bar.program(Role.HEAD).get(path).json()
    assert {one["name"] for one in head["people"]} == {person.name for person in crew}
    barista = bar.program().get(path).json()
    assert [(one["name"], one["is_me"]) for one in barista["people"]] == [("You", True)]
    assert barista["band"]["low"] < barista["band"]["high"]
    owner = bar.program(Role.OWNER)
    assert len(owner.get(path).json()["people"]) == 6
    assert all(one["name"].startswith("Barista ") for one in owner.get(path).json()["people"])
    bar.cafe.company.people_shown_to_owners = Naming.NAMES
    bar.cafe.company.save()
    named = {one["name"] for one in owner.get(path).json()["people"]}
    assert named == {person.name for person in crew}
    seen = staff.look(*asked(bar, bar.head))
    assert head["people"][0]["estimate"] == round(seen.people[0].standing.best, 4)


def test_no_number_of_an_unnamed_person_leaves_the_house(bar, crew):
    text = bar.program(Role.OWNER).get(f"{V1}/results/staff/").content.decode()
    assert not any(person.name in text for person in crew)
    assert '"id"' not in text.replace('"recipe":{"id"', "")


def test_few_people_are_told_of_to_nobody_else(bar):
    for ago in range(N_DAYS):
        for person in (bar.barista, bar.head):
            make.reading(bar.slot, person, brewed_at=timezone.now() - timedelta(days=ago))
    said = bar.program(Role.OWNER).get(f"{V1}/results/staff/").json()
    assert said["people"] == []
    assert "Fewer than 5 people" in said["notes"][-1]
    own = bar.program().get(f"{V1}/results/days/").json()
    assert (own["is_own"], own["brews"]) == (True, N_DAYS)


@pytest.mark.parametrize(
    ("query", "status", "parameter"),
    [
        ("measure=colour", 400, "measure"),
        ("from=yesterday", 400, "from"),
        ("from=2026-11-02&to=2026-11-01", 422, "to"),
        ("from=2001-01-01", 422, "from"),
        ("from=0001-01-01&to=0001-01-02", 422, "from to"),
        ("recipe=987654321", 422, "recipe"),
        ("cafe=987654321", 422, "cafe"),
    ],
)
def test_what_is_asked_wrongly(bar, crew, query, status, parameter):
    answer = bar.program(Role.HEAD).get(f"{V1}/results/days/?{query}")
    assert answer.status_code == status
    assert [one["parameter"] for one in answer.json()["errors"]] == parameter.split()


def test_a_cafe_without_readings_says_so(bar):
    answer = bar.program(Role.HEAD).get(f"{V1}/results/staff/")
    assert (answer.status_code, answer.json()["detail"]) == (422, "There are no readings at this café yet.")
