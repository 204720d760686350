"""The board as a page: what each role sees, what a poll costs, what a tap does."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from recipes import adjusting
from tests import factories as make

HTMX = {"HX-Request": "true"}
BOARD, PLAN = "/board/", "/board/plan/"


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


def test_a_refused_change_keeps_what_was_typed_and_can_be_sent_again(slot, head):
    path = reverse("recipes:slot", args=[slot.pk])
    typed = {
        "roast_batch": slot.setting.roast_batch.pk,
        "grinder": slot.setting.grinder.pk,
        "grind_setting": "21",
        "note": "ran fast",
        "seen": slot.setting.pk,
    }
    adjusting.set_grind(slot, "25", make.person(Role.HEAD, slot.board.cafe, name="Rita Faro"), timezone.now())
    answer = head.post(path, typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Rita Faro changed this" in page
    assert 'value="21"' in page
    assert 'value="ran fast"' in page
    slot.refresh_from_db()
    assert slot.setting.grind_setting == "25"
    seen = re.search(r'name="seen" value="(\d+)"', page)
    assert seen
    assert head.post(path, typed | {"seen": seen[1]})["Location"] == BOARD
    slot.refresh_from_db()
    assert (slot.setting.grind_setting, slot.setting.note) == ("21", "ran fast")


def test_a_new_day_brings_the_board_without_a_word_of_change(slot, barista):
    slot.board.refresh_from_db()
    seen = {"seen": slot.board.revision, "shown": slot.setting.pk}
    today = slot.board.cafe.business_day(timezone.now()).isoformat()
    assert barista.get(BOARD, seen | {"day": today}, headers=HTMX).status_code == 204
    answer = barista.get(BOARD, seen | {"day": "2026-01-01"}, headers=HTMX)
    assert answer.status_code == 200
    assert "off roast" in answer.content.decode()
    assert "board-news" not in answer.content.decode()


@pytest.mark.parametrize("shown", ["", "x", "9" * 40, "-1", "²"])
def test_a_poll_that_shows_nonsense_is_answered_all_the_same(slot, barista, shown):
    answer = barista.get(BOARD, {"seen": "x", "shown": shown}, headers=HTMX)
    assert answer.status_code == 200
    assert "is new on the board" in answer.content.decode()
