"""What a program reads of boards, cards, recipes and coffees."""

from datetime import datetime

import pytest
from django.utils import timezone

from brewbar.crew.models import Role
from tests import factories as make
from tests.api.bar import V1


def test_the_board_says_what_is_live_with_ids_and_units(bar):
    make.planned_slot(bar.cafe)
    said = bar.program().get(f"{V1}/board/").json()
    assert said["cafe"] == {"id": bar.cafe.pk, "name": bar.cafe.name}
    [slot] = said["slots"]
    assert slot["id"] == bar.slot.pk
    assert slot["code"] == bar.slot.card.code
    assert slot["version"] == {"id": bar.slot.version.pk, "number": 1}
    assert slot["grind_setting"] == "24"
    published = datetime.fromisoformat(slot["published_at"])
    assert published.utcoffset() == bar.cafe.zone.utcoffset(published.replace(tzinfo=None))
    assert published == bar.slot.published_at.replace(microsecond=0)


def test_an_owner_asks_for_one_of_their_cafes_and_nobody_for_another_companys(bar):
    other = make.cafe(bar.cafe.company, name="Zz the other one")
    there = make.live_slot(other)
    owner = bar.program(Role.OWNER)
    assert owner.get(f"{V1}/board/").json()["cafe"]["id"] == bar.cafe.pk
    assert owner.get(f"{V1}/board/", {"cafe": other.pk}).json()["slots"][0]["id"] == there.pk
    for program, cafe in ((owner, make.cafe()), (bar.program(Role.HEAD), other)):
        answer = program.get(f"{V1}/board/", {"cafe": cafe.pk})
        assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (422, "cafe")


def test_a_card_leads_to_the_plan_pour_by_pour(bar):
    said = bar.program().get(f"{V1}/cards/{bar.slot.card.code.lower()}/").json()
    assert said["slot"]["id"] == bar.slot.pk
    plan = said["plan"]
    assert (plan["dose_g"], plan["water_g"], plan["water_temperature_C"]) == (15, 250, 93)
    assert (plan["tds_target"], plan["tds_tolerance"]) == (1.4, 0.1)
    assert [(pour["order"], pour["starts_at_s"], pour["to_g"]) for pour in plan["pours"]] == [
        (1, 0, 45),
        (2, 40, 150),
        (3, 80, 250),
    ]
    assert plan["pours"][0]["pattern"] == "circle"


def test_a_card_that_left_the_board_says_so_and_what_is_brewed_instead(bar):
    instead = make.live_slot(bar.cafe)
    bar.slot.withdrawn_at, bar.slot.withdrawn_by = timezone.now(), bar.head
    bar.slot.withdrawn_why, bar.slot.replaced_by = "out of coffee", instead
    bar.slot.save()
    said = bar.program().get(f"{V1}/cards/{bar.slot.card.code}/").json()
    assert (said["slot"], said["plan"], said["instead"]["id"]) == (None, None, instead.pk)


def test_recipes_and_versions_leave_drafts_out(bar):
    recipe = bar.slot.version.recipe
    draft = make.version(recipe)
    program = bar.program()
    assert [one["number"] for one in program.get(f"{V1}/recipes/{recipe.pk}/").json()["versions"]] == [1]
    assert program.get(f"{V1}/versions/{draft.pk}/").status_code == 404
    assert program.get(f"{V1}/versions/{bar.slot.version.pk}/").json()["recipe"]["id"] == recipe.pk


def test_coffees_have_the_batches_in_use(bar):
    coffee = bar.slot.version.recipe.coffee
    make.batch(coffee, label="gone", used_up_on=timezone.now().date())
    [said] = bar.program().get(f"{V1}/coffees/").json()["items"]
    assert [one["label"] for one in said["batches"]] == [bar.slot.setting.roast_batch.label]


def test_equipment_has_what_a_reading_names_and_whose_brews_may_be_entered(bar):
    make.kettle(bar.cafe).retire()
    said = {role: bar.program(role).get(f"{V1}/equipment/").json() for role in Role.values}
    assert said["barista"]["servers"] == [{"id": bar.server.pk, "name": bar.server.name, "tare_g": 243.5}]
    assert [one["id"] for one in said["barista"]["kettles"]] == [bar.slot.kettle.pk]
    crew = {role: {one["id"] for one in told["crew"]} for role, told in said.items()}
    assert crew == {"barista": {bar.barista.pk}, "head": {bar.barista.pk, bar.head.pk}, "owner": set()}


def test_long_lists_come_in_pages_and_no_row_twice_or_never(bar):
    for _each in range(6):
        make.recipe(bar.cafe.company)
    program, address, seen = bar.program(), f"{V1}/recipes/?limit=3", []
    while address:
        said = program.get(address).json()
        assert len(said["items"]) <= 3
        # What comes in between is told on none of the later pages.
        make.recipe(bar.cafe.company)
        seen += [one["id"] for one in said["items"]]
        address = said["next"]
    assert len(seen) == 7
    assert seen == sorted(set(seen), reverse=True)


@pytest.mark.parametrize(
    ("query", "status", "parameter"),
    [
        ("limit=0", 400, "limit"),
        ("limit=201", 400, "limit"),
        ("limit=two", 400, "limit"),
        ("limit=5&limit=6", 400, "limit"),
        ("colour=red", 400, "colour"),
        *(
            (f"cursor={bad}", 400, "cursor")
            for bad in ("%C3%A9", "", "0", "-1", "%00", "7%0A", "7" * 19, "7" * 9000)
        ),
        ("format=json", 400, "format"),
        ("access_token=bar_x", 400, "access_token"),
    ],
)
def test_what_is_asked_wrongly_is_told_by_the_name_of_the_parameter(bar, query, status, parameter):
    answer = bar.program().get(f"{V1}/recipes/?{query}")
    assert answer.status_code == status
    assert [one["parameter"] for one in answer.json()["errors"]] == [parameter]


def test_the_queries_of_a_board_do_not_grow_with_its_slots(bar, django_assert_num_queries):
    program = bar.program()
    program.get(f"{V1}/board/")
    make.live_slot(bar.cafe)
    with django_assert_num_queries(4):
        assert len(program.get(f"{V1}/board/").json()["slots"]) == 2
