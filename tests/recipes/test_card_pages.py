"""Cards over the web: the picture, the pages to print, and where their codes lead."""

from __future__ import annotations

import io

import pypdf
import pytest
import zxingcpp
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from brewbar.crew.models import Role
from recipes import at_cafe
from recipes.cards import content_of, contents_of, drawn
from recipes.models import Slot
from tests import factories as make


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe())


@pytest.fixture
def client(slot):
    return make.signed_in(make.person(cafe=slot.board.cafe))


def address(name, slot, **query):
    return reverse(f"recipes:{name}", args=[slot.pk], query=query or None)


@pytest.mark.parametrize(("size", "millimetres"), [("a6", 105), ("a5", 148), ("a4", 210)])
def test_a_card_prints_in_each_size(slot, client, size, millimetres):
    answer = client.get(address("card_pdf", slot, size=size))
    assert answer["Content-Type"] == "application/pdf"
    (page,) = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    assert float(page.mediabox.width) == pytest.approx(millimetres * 72 / 25.4, abs=0.5)
    assert slot.card.code in page.extract_text().replace(" ", "")


def test_an_unknown_size_is_not_there(slot, client):
    assert client.get(address("card_pdf", slot, size="a1")).status_code in (400, 404)


def test_the_picture_stands_beside_a_table_of_the_same_plan(slot, client):
    page = client.get(address("card", slot)).content.decode()
    assert address("card_svg", slot).split("?")[0] in page
    assert "alt=" in page
    assert "<table" in page
    assert ">250" in page


def test_the_picture_is_sent_once_while_nothing_changes(slot, client):
    first = client.get(address("card_svg", slot))
    assert first["Content-Type"].startswith("image/svg+xml")
    assert "private" in first["Cache-Control"]
    again = client.get(address("card_svg", slot), headers={"If-None-Match": first["ETag"]})
    assert again.status_code == 304


def test_the_code_on_the_paper_leads_to_the_configured_address_and_not_to_the_host(slot, settings):
    settings.BASE_URL = "https://bar.example"
    content = content_of(Slot.objects.for_card().get(pk=slot.pk), settings.BASE_URL, timezone.now())
    (found,) = zxingcpp.read_barcodes(
        Image.open(io.BytesIO(drawn(content, "a6", timezone.now(), "png", ppi=200))).convert("L")
    )
    assert found.text == f"https://bar.example/c/{slot.card.code}/1/"
    client = make.signed_in(make.person(cafe=slot.board.cafe))
    printed = client.get(address("card_pdf", slot, size="a6"), headers={"Host": "localhost"})
    text = pypdf.PdfReader(io.BytesIO(printed.content)).pages[0].extract_text().replace("\u200b", "")
    assert "bar.example/c/" in text
    assert "localhost" not in text


def test_scanning_the_card_opens_its_entry_page(slot, client):
    content = content_of(Slot.objects.for_card().get(pk=slot.pk), "https://bar.example", timezone.now())
    page = client.get(content.url.removeprefix("https://bar.example"))
    assert page.status_code == 200
    assert slot.version.recipe.name in page.content.decode()


def test_content_reads_nothing_more_than_the_slots_own_queries(slot, django_assert_num_queries):
    (one,) = Slot.objects.live().for_card()
    own = at_cafe.own(one.board.cafe, one.version)
    with django_assert_num_queries(0):
        content_of(one, "https://bar.example", timezone.now(), own)


def test_the_contents_of_all_cards_ask_twice_for_what_the_cafe_has_of_its_own(
    slot, django_assert_num_queries
):
    make.live_slot(slot.board.cafe)
    slots = list(Slot.objects.live().for_card())
    with django_assert_num_queries(2):
        contents_of(slots, "https://bar.example", timezone.now())


def test_all_cards_of_the_board_come_in_one_file(slot, client):
    make.live_slot(slot.board.cafe)
    make.planned_slot(slot.board.cafe)
    answer = client.get(reverse("recipes:board_cards"), {"size": "a6"})
    assert len(pypdf.PdfReader(io.BytesIO(answer.content)).pages) == 2


def test_an_empty_board_has_no_cards_to_print(db):
    cafe = make.cafe()
    answer = make.signed_in(make.person(Role.HEAD, cafe)).get(reverse("recipes:board_cards"))
    assert answer.status_code in (302, 404)
