"""Joining by a link on a phone: the link is made, copied and scanned, opened, and leads to a PIN for the tablets."""

from __future__ import annotations

import io
from collections.abc import Callable

import pytest
import zxingcpp
from django.urls import reverse
from PIL import Image
from playwright.sync_api import Page, expect

from brewbar.crew.models import Cafe, Role
from tests import factories as make

PASSWORD = "nine cups of tea"


@pytest.fixture
def cafe(transactional_db) -> Cafe:
    return make.cafe(name="Harbour")


def scanned(page: Page) -> str:
    picture = Image.open(io.BytesIO(page.locator(".link-code").screenshot())).convert("L")
    (found,) = zxingcpp.read_barcodes(picture)
    return found.text


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_from_the_invitation_to_a_pin(
    scheme: str, cafe: Cafe, open_page: Callable[..., Page], live: str, sign_in: Callable, axe: Callable
) -> None:
    head = open_page(390, color_scheme=scheme, permissions=["clipboard-read", "clipboard-write"])
    sign_in(head, live, make.person(Role.HEAD, cafe, name="Hana Head"))
    head.goto(live + "/board/")
    head.locator(".nav-more summary").click()
    head.get_by_role("link", name="Crew").click()
    head.get_by_role("link", name="Invite somebody").click()
    head.get_by_label("Whom is it for?").fill("Bea")
    head.get_by_label("In training").check()
    head.get_by_role("button", name="Make the link").click()
    address = head.get_by_label("The link").input_value()
    assert address.startswith(f"{live}/join/")
    assert scanned(head) == address
    head.get_by_role("button", name="Copy").click()
    expect(head.get_by_text("Copied")).to_be_visible()
    assert head.evaluate("navigator.clipboard.readText()") == address
    axe(head)
    assert head.evaluate("document.documentElement.scrollWidth") <= 390

    page = open_page(390, has_touch=True, is_mobile=True, color_scheme=scheme)
    page.goto(address)
    page.get_by_label("Your name").fill("Bea Nova")
    page.get_by_label("Sign-in name").fill("bea nova")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_label("The same password once more").fill(PASSWORD)
    page.get_by_role("button", name="Join").click()
    name = page.get_by_label("Sign-in name")
    expect(name).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("Your name")).to_have_value("Bea Nova")
    expect(page.get_by_label("Password", exact=True)).to_have_value("")
    name.fill("bea")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_label("The same password once more").fill(PASSWORD)
    page.get_by_role("button", name="Join").click()
    page.wait_for_url(f"**{reverse('crew:my_pin')}")
    expect(page.get_by_text("You have joined Harbour as barista")).to_be_visible()

    head.goto(f"{live}/crew/")
    expect(head.get_by_role("link", name="Bea Nova")).to_be_visible()
    expect(head.get_by_text("Links that are still open")).to_have_count(0)


def test_the_link_is_shown_without_javascript(
    cafe: Cafe, open_page: Callable[..., Page], live: str, sign_in
) -> None:
    page = open_page(390, java_script_enabled=False)
    sign_in(page, live, make.person(Role.HEAD, cafe))
    page.goto(f"{live}/crew/invite/")
    page.get_by_label("Whom is it for?").fill("Bea")
    page.get_by_role("button", name="Make the link").click()
    assert scanned(page) == page.get_by_label("The link").input_value()
    expect(page.get_by_role("button", name="Copy")).to_have_count(0)
