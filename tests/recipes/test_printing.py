"""What was printed, and which paper at the stations is out of date."""

from __future__ import annotations

import io
from datetime import timedelta

import pypdf
import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from recipes import adjusting, publishing, withdrawing
from recipes.models import CardPrint, Slot
from recipes.printing import note_prints, papers_of, to_throw_away
from tests import factories as make

CARDS, PRINTED = "/board/cards.pdf", "/board/printed/"


@pytest.fixture
def slot(db) -> Slot:
    return make.live_slot(make.cafe(), grind_setting="24")


@pytest.fixture
def head(slot):
    return make.person(Role.HEAD, slot.board.cafe, name="Rita Faro")


@pytest.fixture
def client(head):
    return make.signed_in(head)


def pages(answer) -> int:
    return len(pypdf.PdfReader(io.BytesIO(answer.content)).pages)


def paper(slot: Slot):
    (found,) = [one for one in papers_of(slot.board) if one.slot.card_id == slot.card_id]
    return found


def test_a_print_is_noted_with_what_is_on_it(slot, head, client):
    client.get(reverse("recipes:card_pdf", args=[slot.pk]), {"size": "a5"})
    (row,) = CardPrint.objects.all()
    assert (row.slot, row.setting, row.size, row.printed_by) == (slot, slot.setting, "a5", head)


def test_what_the_browser_has_already_and_a_mere_look_at_the_head_are_no_prints(slot, client):
    path = reverse("recipes:card_pdf", args=[slot.pk])
    assert client.head(path).status_code == 200
    assert not CardPrint.objects.exists()
    first = client.get(path)
    CardPrint.objects.all().delete()
    assert client.get(path, headers={"If-None-Match": first["ETag"]}).status_code == 304
    client.get(reverse("recipes:card_svg", args=[slot.pk]))
    assert not CardPrint.objects.exists()


def test_the_same_card_twice_within_a_minute_is_one_print(slot, head):
    now = timezone.now()
    for size, seconds in (("a6", 0), ("a6", 59), ("a5", 59), ("a6", 120)):
        note_prints([slot], size, head, now + timedelta(seconds=seconds))
    assert CardPrint.objects.count() == 3


def test_never_printed_then_up_to_date_then_out_of_date(slot, head):
    assert paper(slot).is_missing
    note_prints([slot], "a6", head, timezone.now())
    assert not paper(slot).wants_printing
    adjusting.set_grind(slot, "24.0", head, timezone.now())
    assert not paper(slot).wants_printing
    adjusting.set_grind(slot, "25", head, timezone.now())
    assert paper(slot).differs == ("grind",)
    batch, grinder = make.batch(slot.card.recipe.coffee), make.grinder(slot.board.cafe)
    adjusting.adjust(slot, head, timezone.now(), roast_batch=batch, grinder=grinder, grind_setting="24")
    assert paper(slot).differs == ("grinder", "batch")


def test_a_new_version_makes_the_paper_of_the_one_before_old(slot, head):
    note_prints([slot], "a6", head, timezone.now())
    newer = make.version(slot.version.recipe, based_on=slot.version, what_changed="finer", why="sour")
    now = slot.setting
    publishing.plan_slot(
        slot.board, slot.station, newer, now.roast_batch, now.grinder, "24", slot.kettle, head, timezone.now()
    )
    publishing.publish(slot.board, head, timezone.now())
    found = paper(slot)
    assert found.differs == ("version",)
    assert found.printed.slot == slot
    note_prints([found.slot], "a6", head, timezone.now() + timedelta(seconds=1))
    assert not paper(slot).wants_printing


def test_only_what_is_missing_or_old_is_printed_again(slot, head, client):
    make.live_slot(slot.board.cafe)
    assert pages(client.get(CARDS, {"which": "wanted"})) == 2
    answer = client.get(CARDS, {"which": "wanted"})
    assert answer["Location"] == "/board/"
    adjusting.set_grind(slot, "25", head, timezone.now())
    assert pages(client.get(CARDS, {"which": "wanted"})) == 1
    assert pages(client.get(CARDS, {"which": "all", "size": "sheet"})) == 1
    assert pages(client.get(CARDS, {"which": "all", "size": "a5"})) == 2


def test_a_sheet_is_for_several_cards(slot, client):
    assert client.get(reverse("recipes:card_pdf", args=[slot.pk]), {"size": "sheet"}).status_code == 404


def test_paper_of_what_left_is_to_be_thrown_away_for_a_month(slot, head):
    never_printed = make.live_slot(slot.board.cafe)
    now = timezone.now()
    note_prints([slot], "a6", head, now)
    for one in (slot, never_printed):
        withdrawing.withdraw_now(one, "out of coffee", head, now)
    (gone,) = to_throw_away(slot.board, now)
    assert gone.slot.card.code == slot.card.code
    assert to_throw_away(slot.board, now + timedelta(days=31)) == []
    make.live_slot(slot.board.cafe, version=slot.version, station=slot.station, at=now)
    assert to_throw_away(slot.board, now) == []


def test_the_page_says_which_and_what_differs(slot, head, client):
    note_prints([slot], "a6", head, timezone.now())
    adjusting.set_grind(slot, "26", head, timezone.now())
    gone = make.live_slot(slot.board.cafe)
    note_prints([gone], "a6", None, timezone.now())
    withdrawing.withdraw_now(gone, "out of coffee", head, timezone.now())
    page = client.get(PRINTED).content.decode()
    for said in (
        "Out of date",
        "24 on",
        "26 on",
        "Rita Faro",
        "Print the 1 that is",
        gone.card.code,
        "Throw away",
    ):
        assert said in page
    assert make.signed_in(make.person(cafe=slot.board.cafe)).get(PRINTED).status_code == 403


def test_the_page_does_not_query_by_card(slot, head, client, django_assert_max_num_queries):
    def print_all() -> None:
        note_prints(slot.board.slots.live(), "a6", head, timezone.now())

    print_all()
    with django_assert_max_num_queries(14) as few:
        client.get(PRINTED)
    for _ in range(4):
        make.live_slot(slot.board.cafe)
    print_all()
    with django_assert_max_num_queries(len(few.captured_queries)):
        client.get(PRINTED)
