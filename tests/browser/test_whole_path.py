"""The main job from end to end, through pages alone: coffee, recipe, board, card, scan, reading, chart."""

from __future__ import annotations

import io
import re
from collections.abc import Callable

import pytest
import zxingcpp
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Page, expect

from brewbar.crew.models import Cafe, Role
from recipes.cards import content_of, drawn
from recipes.models import Slot
from tests import factories as make


@pytest.fixture
def cafe(transactional_db) -> Cafe:
    cafe = make.cafe(name="Harbour")
    make.station(cafe, name="Window bar")
    make.brewer(cafe.company, name="Ribbed cone")
    make.paper(cafe.company, name="Thin paper")
    make.kettle(cafe, name="The Heron")
    make.grinder(cafe, name="The Quern")
    make.server(cafe, name="Server A", tare_g="312.4")
    make.refractometer(cafe, name="The lens")
    return cafe


def write_a_recipe(page: Page, live: str) -> None:
    page.goto(f"{live}/coffees/new/")
    page.get_by_label("Name").fill("Salt Orchard")
    page.get_by_role("button", name=re.compile("Add|Save")).click()
    page.get_by_role("link", name="Add a batch").click()
    page.get_by_label("Label").fill("SO 1")
    page.get_by_label("Roasted on").fill((timezone.now() - timezone.timedelta(days=9)).date().isoformat())
    page.get_by_role("button", name=re.compile("Add|Save")).click()
    page.get_by_role("link", name="Write a recipe").click()
    page.get_by_label("Name").fill("Morning window")
    page.get_by_role("button", name="Begin the first draft").click()
    page.get_by_role("button", name=re.compile("usual trial")).click()
    page.get_by_label("Water temperature").fill("93")
    page.locator("[name$=tds_target]").fill("1,40")
    page.locator("[name$=ey_target]").fill("20.5")
    page.locator("[name$=brew_time_s]").fill("2:45")


def test_from_a_coffee_to_a_chart(
    cafe: Cafe, live: str, page: Page, wide_page: Page, sign_in: Callable[..., None]
) -> None:
    head, barista = make.person(Role.HEAD, cafe), make.person(cafe=cafe, name="Ada Example")
    desk, phone = wide_page, page
    sign_in(desk, live, head)
    write_a_recipe(desk, live)

    # The pours end at 220 g: the missing 30 g is named while typing, and mended.
    last = desk.get_by_label(re.compile("To weight")).last
    last.fill("220")
    expect(desk.get_by_text("30 g").first).to_be_visible()
    last.fill("250")
    expect(desk.get_by_text("Nothing to mend")).to_be_visible()
    desk.get_by_role("button", name="Save draft").click()

    desk.goto(f"{live}/board/plan/")
    desk.get_by_label("Recipe", exact=True).select_option(label="Morning window, draft 1")
    desk.get_by_label("Station", exact=True).select_option(label="Window bar")
    desk.get_by_role("button", name="Next: batch and grind").click()
    desk.get_by_label("Grind setting").fill("6.5")
    desk.get_by_role("button", name="Put it in the plan").click()
    desk.get_by_role("link", name="Look it over and publish").click()
    desk.get_by_role("button", name=re.compile("Publish", re.IGNORECASE)).click()

    desk.goto(f"{live}/board/")
    expect(desk.get_by_role("heading", name="Morning window")).to_be_visible()
    desk.get_by_role("link", name="Card", exact=True).click()
    with desk.expect_response(re.compile("card.svg")) as card:
        desk.reload()
    assert card.value.status in (200, 304)

    # What a camera reads from the printed card is opened on the phone by somebody not yet signed in there.
    slot = Slot.objects.live().for_card().get()
    picture = drawn(content_of(slot, live, timezone.now()), "a6", timezone.now(), "png", ppi=200)
    (scanned,) = zxingcpp.read_barcodes(Image.open(io.BytesIO(picture)).convert("L"))
    assert scanned.text.startswith(live)
    barista.set_password("a long enough one")
    barista.save()
    phone.goto(scanned.text)
    phone.get_by_label("Sign-in name").fill(barista.username)
    phone.get_by_label("Password").fill("a long enough one")
    phone.get_by_role("button", name="Sign in").click()
    assert phone.url == scanned.text

    phone.get_by_label("Weight on the scale").fill("532,4")
    phone.get_by_label("Minutes").fill("2")
    phone.get_by_label("Seconds").fill("48")
    phone.get_by_label("First drop").fill("1,40")
    phone.get_by_label("Second drop").fill("1.41")
    phone.get_by_role("button", name="Save").click()
    expect(phone).to_have_url(re.compile("/readings/"))
    # 1.405 % of 220 g over 15 g is 20.6 % (mass balance).
    expect(phone.locator("main")).to_contain_text("20.6")
    expect(phone.locator("main")).to_contain_text("Inside")

    desk.goto(f"{live}/today/")
    expect(desk.get_by_role("heading", name="Ada Example")).to_be_visible()
    expect(desk.locator("main")).to_contain_text("1.41 %")
    desk.goto(f"{live}/charts/")
    desk.wait_for_selector("[data-drawn]")
    expect(desk.locator("figcaption").first).to_contain_text("n = 1")
    sign_in(phone, live, make.person(Role.OWNER, cafe))
    phone.goto(f"{live}/charts/")
    expect(phone.locator("figcaption").first).to_contain_text("n = 1")
    expect(phone.locator("main")).not_to_contain_text("Ada Example")
