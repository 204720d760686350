"""The board and its planning, as pages: what each role sees, what a poll costs, what a form refuses."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role, Station
from recipes import publishing
from recipes.models import Slot
from tests import factories as make

HTMX = {"HX-Request": "true"}
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


def tap(client, slot, setting, htmx=True, seen=None):
    slot.refresh_from_db()
    data = {"grind_setting": setting, "seen": seen or slot.setting.pk}
    path = reverse("recipes:slot_grind", args=[slot.pk])
    return client.post(path, data, headers=HTMX if htmx else {})


def test_the_board_shows_what_a_barista_needs(slot, barista):
    page = barista.get(BOARD).content.decode()
    for text in (
        slot.version.recipe.name,
        slot.card.code,
        ">24<",
        slot.setting.grinder.name,
        slot.kettle.name,
    ):
        assert text in page
    assert reverse("calibration:code", args=[slot.card.code]) in page
    assert reverse("recipes:card", args=[slot.pk]) in page
    assert "off roast" in page


def test_only_a_head_barista_can_turn_the_grind_or_plan(slot, head, barista):
    owner = make.signed_in(make.person(Role.OWNER, slot.board.cafe))
    taps = reverse("recipes:slot_grind", args=[slot.pk])
    for client, may in ((head, True), (barista, False), (owner, False)):
        page = client.get(BOARD).content.decode()
        assert (taps in page) is may
        assert (PLAN in page) is may
    assert reverse("calibration:code", args=[slot.card.code]) not in owner.get(BOARD).content.decode()


def test_a_poll_that_has_seen_everything_costs_almost_nothing(slot, barista, django_assert_num_queries):
    slot.board.refresh_from_db()
    # Session, person, memberships, and the board's number.
    with django_assert_num_queries(4):
        answer = barista.get(BOARD, {"seen": slot.board.revision}, headers=HTMX)
    assert answer.status_code == 204
    assert not answer.content
    assert "sessionid" not in answer.cookies


def test_a_poll_after_a_change_brings_it_and_says_what(slot, head, barista):
    page = barista.get(BOARD)
    seen, shown = slot.board.revision, slot.setting.pk
    assert tap(head, slot, "25").status_code == 200
    answer = barista.get(BOARD, {"seen": seen, "shown": shown}, headers=HTMX)
    text = answer.content.decode()
    assert answer.status_code == 200
    assert "<html" not in text
    assert ">25<" in text
    assert 'id="board-news" class="board-news" role="status"' in page.content.decode()
    assert 'id="board-news" hx-swap-oob' in text
    assert re.search(r"24\b.*25\b", text, re.DOTALL)
    assert "HX-Request" in page["Vary"]


def test_one_tap_moves_the_grind_and_keeps_who_did_it(slot, head):
    assert tap(head, slot, "25", htmx=False)["Location"] == BOARD
    slot.refresh_from_db()
    assert slot.setting.grind_setting == "25"
    assert [row.grind_setting for row in slot.settings.all()] == ["25", "24"]
    assert slot.setting.set_by == head.get(BOARD).wsgi_request.user


def test_two_taps_on_one_old_page_move_it_once(slot, head):
    first = slot.setting.pk
    tap(head, slot, "25", seen=first)
    answer = tap(head, slot, "26", seen=first)
    assert answer.status_code == 422
    assert "a moment ago" in answer.content.decode()
    slot.refresh_from_db()
    assert slot.setting.grind_setting == "25"


def test_a_garbled_tap_changes_nothing(slot, head):
    answer = head.post(reverse("recipes:slot_grind", args=[slot.pk]), {}, headers=HTMX)
    assert answer.status_code == 422
    assert slot.settings.count() == 1


def test_an_empty_board_says_what_to_do_next(db):
    cafe = make.cafe()
    assert PLAN in make.signed_in(make.person(Role.HEAD, cafe)).get(BOARD).content.decode()
    for role in (Role.BARISTA, Role.OWNER):
        page = make.signed_in(make.person(role, cafe)).get(BOARD)
        assert page.status_code == 200
        assert PLAN not in page.content.decode()


def test_the_board_does_not_query_by_slot(slot, barista, django_assert_max_num_queries):
    with django_assert_max_num_queries(14) as few:
        barista.get(BOARD)
    for _ in range(4):
        make.live_slot(slot.board.cafe)
    with django_assert_max_num_queries(len(few.captured_queries)):
        barista.get(BOARD)


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
