"""Instrument first, on a phone: water fails, what to do is said, and it is read again; a standard is mixed and read."""

from __future__ import annotations

from collections.abc import Callable

from django.urls import reverse
from playwright.sync_api import Page, expect

from calibration.models import InstrumentCheck, Reading
from tests.world import World

PHONE, NARROW = 390, 320


def looked_at(page: Page, axe: Callable) -> None:
    axe(page)
    page.set_viewport_size({"width": NARROW, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") == NARROW
    page.set_viewport_size({"width": PHONE, "height": 844})


def test_the_instrument_comes_first(
    open_page: Callable[..., Page], live: str, sign_in: Callable, axe: Callable
) -> None:
    world = World.build()
    glass = world.rows["refractometer"]
    page = open_page(PHONE)
    sign_in(page, live, world.barista)
    page.goto(live + reverse("calibration:check_new", args=[glass.pk]))
    box = page.get_by_role("button", name="Save").bounding_box()
    assert box
    assert box["y"] + box["height"] < 844, "one number and one tap, without scrolling"
    assert page.get_by_label("It reads").bounding_box()["height"] >= 60

    page.get_by_label("It reads").fill("0,09")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("Is that what the display shows?")
    assert InstrumentCheck.objects.filter(kind="zero").count() == 0
    looked_at(page, axe)
    page.get_by_role("button", name="Yes, save it so").click()

    expect(page.locator(".notice ol li").first).to_contain_text("Clean the prism")
    expect(page.get_by_text("It has never passed")).to_contain_text(str(Reading.objects.count()))
    page.wait_for_selector("[data-drawn]")
    looked_at(page, axe)

    page.get_by_role("link", name="Check again").click()
    expect(page.get_by_label("I have just set it to zero")).to_be_checked()
    page.get_by_label("It reads").fill("0.01")
    page.get_by_role("button", name="Save").click()

    expect(page).to_have_url(live + reverse("calibration:check_new", args=[glass.pk]) + "?on=standard")
    looked_at(page, axe)
    page.get_by_label("Sugar", exact=False).first.fill("15,1")
    page.get_by_label("Sugar and water together").fill("1000")
    page.get_by_label("It reads").fill("1.29")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("reads right.")).to_be_visible()
    page.wait_for_selector("[data-drawn]")
    looked_at(page, axe)
    last, left, found = InstrumentCheck.objects.all()[:3]
    assert (last.kind, last.passed, float(last.sucrose_g)) == ("standard", True, 15.1)
    assert (left.as_found, left.passed, found.as_found, found.passed) == (False, True, True, False)
