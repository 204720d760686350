"""The pages of a recipe at one café: its grind note and its own target."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from recipes import at_cafe
from recipes.models import CafeTarget, GrindNote, InstrumentReach
from tests import factories as make

HIGH = "The water boils at 95 °C up here"
FILLED = {
    "target-tds_target": "1,45",
    "target-tds_tolerance": "0.12",
    "target-brew_time_s": "2:50",
    "target-brew_time_tolerance_s": "20",
    "target-why": HIGH,
    "target-seen": "",
}


@pytest.fixture
def cafe(db):
    return make.cafe(name="Ridge", altitude_m=1480)


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe, name="Rita Faro")


@pytest.fixture
def slot(cafe, head):
    return make.live_slot(cafe, by=head)


@pytest.fixture
def recipe(slot):
    return slot.version.recipe


@pytest.fixture
def client(head):
    return make.signed_in(head)


def path(name, recipe, cafe) -> str:
    return reverse(f"recipes:{name}", args=[recipe.pk, cafe.pk])


def read(client, recipe, cafe) -> str:
    return client.get(path("at_cafe", recipe, cafe)).content.decode()


def target(client, recipe, cafe, follow=False, **fields):
    return client.post(path("at_cafe_target", recipe, cafe), FILLED | fields, follow=follow)


def test_a_head_barista_sets_replaces_and_ends_an_own_target(client, recipe, cafe, head):
    assert "No target of its own" in read(client, recipe, cafe)
    assert target(client, recipe, cafe).status_code == 302
    own = CafeTarget.objects.get()
    assert (own.tds_target, own.brew_time_s, own.ey_target, own.why) == (Decimal("1.45"), 170, None, HIGH)
    html = read(client, recipe, cafe)
    assert "TDS 1.45 ± 0.12 %, brew time 2:50 ± 20 s" in html
    assert HIGH in html
    assert 'value="1.45"' in html
    target(client, recipe, cafe, **{"target-tds_target": "1.46", "target-seen": str(own.pk)})
    newer = CafeTarget.objects.standing().get()
    assert newer.tds_target == Decimal("1.46")
    answer = client.post(
        path("at_cafe_target", recipe, cafe), {"end": "1", "target-seen": newer.pk}, follow=True
    )
    assert "From now on the version’s target counts." in answer.content.decode()
    assert not CafeTarget.objects.standing().exists()
    html = read(client, recipe, cafe)
    assert html.count("Own target: <b>TDS") == 2
    assert html.count("by Rita Faro") == 4


@pytest.mark.parametrize(
    ("fields", "field", "says"),
    [
        ({"target-tds_tolerance": ""}, "tds_tolerance", "By how much may it differ"),
        ({"target-tds_target": ""}, "tds_target", "A tolerance needs the target it belongs to."),
        ({"target-why": " "}, "why", "Say why, so that whoever comes next knows."),
        ({"target-brew_time_s": "soon"}, "brew_time_s", ""),
        ({"target-brew_time_s": "0:40"}, "brew_time_s", "With version 1:"),
        ({"target-tds_target": "2.4"}, "tds_target", "out of reach"),
        ({"target-tds_target": "14"}, "tds_target", "10"),
        ({"target-why": "☃ up here"}, "why", "cannot print"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_nothing_typed_is_lost(
    client, recipe, cafe, fields, field, says
):
    answer = target(client, recipe, cafe, **fields)
    assert answer.status_code == 422
    form = answer.context["target_form"]
    assert list(form.errors) == [field]
    assert says in form.errors[field][0]
    html = answer.content.decode()
    for typed in filter(None, map(str.strip, (FILLED | fields).values())):
        assert f'value="{typed}' in html
    assert not CafeTarget.objects.exists()


def test_one_quantity_is_needed_at_least(client, recipe, cafe):
    empty = dict.fromkeys(FILLED, "") | {"target-why": HIGH}
    answer = target(client, recipe, cafe, **empty)
    assert answer.status_code == 422
    assert "Set one of the three at least" in answer.content.decode()


def test_who_comes_second_keeps_what_was_typed_and_sees_what_stands(client, recipe, cafe):
    target(client, recipe, cafe)
    answer = target(client, recipe, cafe, **{"target-why": "My own reason"})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "Somebody changed this since you opened it" in html
    assert HIGH in html
    assert 'value="My own reason"' in html
    seen = CafeTarget.objects.get().pk
    assert f'value="{seen}"' in html
    assert (
        target(client, recipe, cafe, **{"target-why": "My own reason", "target-seen": seen}).status_code
        == 302
    )


def test_a_grind_note_is_written_and_taken_back(client, recipe, cafe):
    address = path("at_cafe_grind", recipe, cafe)
    assert client.post(address, {"grind-says": " ", "grind-seen": ""}).status_code == 422
    client.post(address, {"grind-says": "Two clicks finer", "grind-seen": ""})
    note = GrindNote.objects.get()
    assert "Two clicks finer" in read(client, recipe, cafe)
    late = client.post(address, {"take_back": "1", "grind-seen": ""}, follow=True)
    assert "Somebody changed this" in late.content.decode()
    client.post(address, {"take_back": "1", "grind-seen": note.pk})
    assert not GrindNote.objects.standing().exists()


def test_a_tolerance_that_the_instrument_cannot_tell_is_doubted(client, recipe, cafe):
    InstrumentReach.objects.create(cafe=cafe, name="Glass", relative_U_tds=0.05)
    target(client, recipe, cafe, **{"target-tds_tolerance": "0.03"})
    assert "no brew could be called inside" in read(client, recipe, cafe)


# --- who may


def test_owners_write_at_every_cafe_of_theirs_and_baristas_only_read(recipe, cafe):
    owner = make.signed_in(make.person(Role.OWNER, company=cafe.company))
    assert target(owner, recipe, cafe).status_code == 302
    barista = make.signed_in(make.person(Role.BARISTA, cafe))
    html = read(barista, recipe, cafe)
    assert HIGH in html
    assert "<form" not in html.partition("<main")[2].partition("</main>")[0]
    assert target(barista, recipe, cafe).status_code == 403
    assert barista.post(path("at_cafe_grind", recipe, cafe), {"grind-says": "x"}).status_code == 403


@pytest.mark.parametrize("role", [Role.BARISTA, Role.HEAD])
def test_another_cafe_of_the_company_is_not_there(recipe, cafe, role):
    client = make.signed_in(make.person(role, make.cafe(cafe.company)))
    assert client.get(path("at_cafe", recipe, cafe)).status_code == 404
    if role == Role.HEAD:
        assert target(client, recipe, cafe).status_code == 404
    assert not CafeTarget.objects.exists()


@pytest.mark.parametrize("role", [Role.HEAD, Role.OWNER])
def test_neither_a_recipe_nor_a_cafe_of_another_company_is_there(recipe, cafe, role):
    elsewhere = make.cafe()
    client = make.signed_in(make.person(role, elsewhere))
    theirs = make.recipe(elsewhere.company)
    for one, at in ((recipe, cafe), (recipe, elsewhere), (theirs, cafe)):
        assert client.get(path("at_cafe", one, at)).status_code == 404
        assert target(client, one, at).status_code == 404
    assert client.get(path("at_cafe", theirs, elsewhere)).status_code == 200


# --- where it is shown


@pytest.fixture
def own(cafe, recipe, head):
    at_cafe.set_target(
        cafe, recipe, {"tds_target": Decimal("1.45"), "tds_tolerance": Decimal("0.12")}, HIGH, head,
        timezone.now() - timedelta(hours=1), None,
    )  # fmt: skip
    at_cafe.set_grind(cafe, recipe, "Two clicks finer", head, timezone.now(), None)


@pytest.mark.parametrize("page", ["board", "card", "version", "recipe", "slot", "plan", "code"])
def test_it_stands_wherever_the_recipe_is_brewed_planned_or_read(client, slot, cafe, recipe, own, page):
    address = {
        "board": reverse("recipes:board"),
        "card": reverse("recipes:card", args=[slot.pk]),
        "version": reverse("recipes:version", args=[slot.version_id]),
        "recipe": reverse("recipes:recipe", args=[recipe.pk]),
        "slot": reverse("recipes:slot", args=[slot.pk]),
        "plan": reverse("recipes:board_plan") + f"?station={slot.station.pk}&version={slot.version_id}",
        "code": reverse("calibration:code", args=[slot.card.code]),
    }[page]
    html = client.get(address).content.decode()
    if page != "code":
        assert "Two clicks finer" in html
    if page not in ("slot", "plan"):
        assert "1.45 ± 0.12 %" in html
        assert f"Because: {HIGH}" in html


def test_another_cafe_shows_none_of_it(cafe, recipe, slot, own):
    there = make.cafe(cafe.company)
    theirs = make.live_slot(there, slot.version)
    client = make.signed_in(make.person(Role.HEAD, there))
    for name, args in (("board", []), ("card", [theirs.pk]), ("recipe", [recipe.pk])):
        html = client.get(reverse(f"recipes:{name}", args=args)).content.decode()
        assert HIGH not in html
        assert "Two clicks finer" not in html


def test_owners_read_which_cafe_has_what(cafe, recipe, slot, own):
    other = make.cafe(cafe.company, name="Quay")
    client = make.signed_in(make.person(Role.OWNER, company=cafe.company))
    html = client.get(reverse("recipes:version", args=[slot.version_id])).content.decode()
    table = html.partition("At each café")[2]
    assert table.index("Quay") < table.index("Ridge") < table.index("Two clicks finer")
    assert path("at_cafe", recipe, other) in table


def test_the_publishing_page_says_when_a_version_moves_its_target_and_this_cafe_stays(
    client, slot, cafe, recipe, own, head
):
    newer = make.version(
        recipe, number=2, based_on=slot.version, what_changed="Stronger", why="Thin", created_by=head,
        tds_target=Decimal("1.42"),
    )  # fmt: skip
    setting = slot.setting
    with_it = {"roast_batch": setting.roast_batch.pk, "grinder": setting.grinder.pk, "grind_setting": "24"}
    client.post(
        reverse("recipes:board_plan") + f"?station={slot.station.pk}&version={newer.pk}",
        with_it | {"kettle": slot.kettle.pk},
    )
    html = client.get(reverse("recipes:board_publish")).content.decode()
    assert "Version 2 moves its target: TDS 1.40 ± 0.10 % becomes TDS 1.42 ± 0.10 %." in html
    assert "This café’s own target stands, and does not move with it." in html
    assert "Version 2 says: TDS 1.42 ± 0.10 %." in html


def test_the_board_costs_as_many_queries_however_many_recipes_have_their_own(
    client, cafe, slot, own, head, django_assert_num_queries
):
    client.get(reverse("recipes:board"))
    with CaptureQueriesContext(connection) as before:
        client.get(reverse("recipes:board"))
    for _ in range(3):
        more = make.live_slot(cafe, by=head)
        at_cafe.set_grind(cafe, more.version.recipe, "Finer", head, timezone.now(), None)
    with django_assert_num_queries(len(before)):
        client.get(reverse("recipes:board"))
