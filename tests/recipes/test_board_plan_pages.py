"""Planning and publishing as pages: what a form refuses, what comes second, what is missing."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role, Station
from recipes import publishing
from recipes.models import GrinderMatch, Slot
from tests import factories as make

BOARD, PLAN, PUBLISH = "/board/", "/board/plan/", "/board/publish/"


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(), grind_setting="24")


@pytest.fixture
def head(slot):
    return make.signed_in(make.person(Role.HEAD, slot.board.cafe))


@pytest.fixture
def barista(slot):
    return make.signed_in(make.person(cafe=slot.board.cafe))


def planning(slot, version=None, **other):
    """The second step's address and what it wants, for a version on the slot's station."""
    version = version or make.version(make.recipe(slot.board.cafe.company))
    asked = {
        "roast_batch": make.batch(version.recipe.coffee).pk,
        "grinder": slot.setting.grinder.pk,
        "grind_setting": "18",
        "kettle": slot.kettle.pk,
    }
    return f"{PLAN}?version={version.pk}&station={slot.station.pk}", asked | other


def test_planned_then_published_all_at_once(slot, head, barista):
    path, asked = planning(slot)
    assert head.post(path, asked)["Location"] == PLAN
    planned = Slot.objects.planned().get()
    assert planned.version.recipe.name not in barista.get(BOARD).content.decode()
    page = head.get(PLAN)
    assert planned.version.recipe.name in page.content.decode()
    head.post(PUBLISH, {"seen": page.context["mark"]})
    assert planned.version.recipe.name in barista.get(BOARD).content.decode()
    planned.version.refresh_from_db()
    assert planned.version.published_at


@pytest.mark.parametrize(
    ("same", "says", "not_this"),
    [(True, "Same version, set anew", "Replaces version"), (False, "Replaces version 1", "set anew")],
)
def test_the_same_version_planned_again_is_not_said_to_replace_itself(slot, head, same, says, not_this):
    version = slot.version if same else make.version(slot.card.recipe)
    path, asked = planning(slot, version)
    assert head.post(path, asked)["Location"] == PLAN
    for address in (PLAN, PUBLISH):
        page = head.get(address).content.decode()
        assert says in page
        assert not_this not in page


def test_who_comes_second_sees_how_it_stands_and_loses_nothing(slot, head):
    path, asked = planning(slot)
    head.post(path, asked)
    mark = head.get(PLAN).context["mark"]
    path, asked = planning(slot)
    make.signed_in(make.person(Role.HEAD, slot.board.cafe)).post(path, asked)
    answer = head.post(PUBLISH, {"seen": mark}, follow=True)
    assert "has changed since you looked" in answer.content.decode()
    assert Slot.objects.planned().count() == 2


def test_what_is_not_ready_is_refused_with_what_would_mend_it(slot, head):
    short = make.version(make.recipe(slot.board.cafe.company), pours=((0, 40, 5), (40, 130, 5), (80, 220, 5)))
    publishing.plan_slot(
        slot.board,
        slot.station,
        short,
        make.batch(short.recipe.coffee),
        slot.setting.grinder,
        "18",
        slot.kettle,
        slot.published_by,
        timezone.now(),
    )
    page = head.get(PLAN)
    answer = head.post(PUBLISH, {"seen": page.context["mark"]}, follow=True)
    assert "30 g" in answer.content.decode()
    assert Slot.objects.planned().count() == 1


@pytest.mark.parametrize("field", ["roast_batch", "grinder", "kettle"])
@pytest.mark.parametrize("same_company", [True, False])
def test_rows_of_another_place_are_no_choice(slot, head, field, same_company):
    cafe = make.cafe(slot.board.cafe.company if same_company else None)
    foreign = {
        "roast_batch": lambda: make.batch(make.coffee(cafe.company)),
        "grinder": lambda: make.grinder(cafe),
        "kettle": lambda: make.kettle(cafe),
    }[field]()
    path, asked = planning(slot, **{field: foreign.pk})
    answer = head.post(path, asked)
    assert answer.status_code == 422
    assert not Slot.objects.planned().exists()
    assert 'value="18"' in answer.content.decode()
    adjusted = {
        "roast_batch": slot.setting.roast_batch.pk,
        "grinder": slot.setting.grinder.pk,
        "grind_setting": "20",
    }
    if field != "kettle":
        path = reverse("recipes:slot", args=[slot.pk])
        assert head.post(path, adjusted | {field: foreign.pk}).status_code == 422


@pytest.mark.parametrize("field", ["version", "station"])
def test_a_foreign_version_or_station_is_no_choice(slot, head, field):
    other = make.live_slot(make.cafe())
    ids = {"version": slot.version.pk, "station": slot.station.pk}
    ids[field] = {"version": other.version.pk, "station": other.station.pk}[field]
    page = head.get(PLAN, ids)
    assert page.status_code == 422
    assert "form" not in page.context


@pytest.mark.parametrize("missing", ["kettles", "grinders", "batches"])
def test_what_is_missing_is_named_with_the_way_to_add_it(db, missing):
    cafe = make.cafe()
    version = make.version(make.recipe(cafe.company), published=True)
    if missing != "kettles":
        make.kettle(cafe)
    if missing != "grinders":
        make.grinder(cafe)
    if missing != "batches":
        make.batch(version.recipe.coffee)
    head = make.signed_in(make.person(Role.HEAD, cafe))
    page = head.get(PLAN, {"version": version.pk, "station": make.station(cafe).pk}).content.decode()
    coffee = reverse("recipes:coffee", args=[version.recipe.coffee.pk])
    assert (coffee if missing == "batches" else reverse("recipes:equipment")) in page[page.index("<main") :]


def test_stations_are_added_renamed_and_retired(slot, head):
    stations = "/board/stations/"
    head.post(stations, {"name": "Back bar"})
    back = Station.objects.get(name="Back bar")
    assert head.post(stations, {"name": "Back bar"}).status_code == 422
    head.post(reverse("recipes:board_station", args=[back.pk]), {"name": "Garden bar"})
    head.post(reverse("recipes:board_station_retire", args=[back.pk]))
    back.refresh_from_db()
    assert (back.name, bool(back.retired_at)) == ("Garden bar", True)
    head.post(reverse("recipes:board_station_retire", args=[slot.station.pk]))
    slot.station.refresh_from_db()
    assert slot.station.retired_at is None


def test_a_planned_draft_that_is_not_ready_leads_to_its_editor(slot, head):
    path, asked = planning(slot)
    head.post(path, asked)
    planned = Slot.objects.planned().get()
    planned.version.pours.last().delete()
    page = head.get(PLAN).content.decode()
    assert reverse("recipes:version_edit", args=[planned.version.pk]) in page
    assert f"version={planned.version.pk}#add" not in page


def test_a_newer_version_is_one_tap_away_from_the_plan(slot, head):
    make.version(slot.version.recipe, based_on=slot.version, what_changed="finer", why="sour")
    newer = slot.version.recipe.versions.get(number=2)
    page = head.get(PLAN).content.decode()
    assert "Bring on version 2" in page
    assert f"version={newer.pk}#add" in page


def test_a_setting_carried_from_another_stations_grinder_says_so(slot, head):
    cafe = slot.board.cafe
    there = make.live_slot(cafe, grinder=make.grinder(cafe, name="The Nutmeg"))
    asked = {"version": slot.version.pk, "station": there.station.pk}
    assert "not compared" in head.get(PLAN, asked).content.decode()
    GrinderMatch.objects.create(
        cafe=cafe,
        grinder=slot.setting.grinder,
        setting="24",
        other=there.setting.grinder,
        other_setting="22",
        found_at=timezone.now(),
        found_by=slot.published_by,
    )
    page = head.get(PLAN, asked).content.decode()
    assert 'value="22"' in page
    assert "On The Nutmeg that is 22" in page
