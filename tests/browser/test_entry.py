"""Entering a reading on a phone."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from calibration.models import Reading
from recipes.models import Slot
from tests import factories as make


@pytest.fixture
def slot(transactional_db) -> Slot:
    slot = make.live_slot(make.cafe())
    make.refractometer(slot.board.cafe)
    make.server(slot.board.cafe, name="Server A", tare_g="312.4")
    return slot


def open_entry(page: Page, live: str, slot: Slot, sign_in: Callable[..., None]) -> None:
    sign_in(page, live, make.person(cafe=slot.board.cafe))
    page.goto(f"{live}/c/{slot.card.code}/")


def fill(page: Page, drops: tuple[str, ...] = ("1,40", "1.41")) -> None:
    page.get_by_label("Weight on the scale").fill("532,4")
    page.get_by_label("Minutes").fill("2")
    page.get_by_label("Seconds").fill("45")
    for name, drop in zip(("First drop", "Second drop", "Third drop"), drops, strict=False):
        page.get_by_label(name).fill(drop)


def save(page: Page) -> None:
    page.locator(".big-form button.button-wide").first.click()


def test_four_things_and_a_verdict(slot, live, page: Page, sign_in: Callable) -> None:
    open_entry(page, live, slot, sign_in)
    expect(page.locator(".optional:visible")).to_have_count(0)
    fill(page)
    expect(page.locator("#net")).to_contain_text("220")
    save(page)
    expect(page).to_have_url(re.compile("/readings/"))
    expect(page.locator("main")).to_contain_text("Inside")


def test_what_is_touched_is_large_enough_for_a_wet_thumb(slot, live, page: Page, sign_in: Callable) -> None:
    open_entry(page, live, slot, sign_in)
    touched = page.locator(
        ".big-form input:visible:not([type=radio]), .big-form select:visible, .big-form .button"
    )
    assert touched.count() >= 7
    for box in (touched.nth(n).bounding_box() for n in range(touched.count())):
        assert box
        assert box["height"] >= 60


def test_a_double_tap_saves_one(slot, live, page: Page, sign_in: Callable) -> None:
    open_entry(page, live, slot, sign_in)
    fill(page)
    page.locator(".big-form button.button-wide").first.dblclick()
    expect(page).to_have_url(re.compile("/readings/"))
    assert Reading.objects.count() == 1
    page.go_back()
    page.go_forward()
    assert Reading.objects.count() == 1


def test_drops_that_disagree_ask_for_one_more_and_keep_the_rest(
    slot, live, page: Page, sign_in: Callable
) -> None:
    open_entry(page, live, slot, sign_in)
    fill(page, ("1.40", "1.48"))
    save(page)
    expect(page.locator("main")).to_contain_text("one more drop")
    expect(page.get_by_label("Weight on the scale")).to_have_value("532,4")
    page.get_by_label("Third drop").fill("1.41")
    save(page)
    expect(page.get_by_label("Fourth drop")).to_be_visible()
    page.get_by_label("Fourth drop").fill("1.41")
    save(page)
    expect(page).to_have_url(re.compile("/readings/"))
    assert Reading.objects.get().tds_rule == "median"


def test_one_more_drop_leaves_what_is_typed(slot, live, page: Page, sign_in: Callable) -> None:
    open_entry(page, live, slot, sign_in)
    fill(page)
    page.get_by_role("button", name="One more drop").click()
    page.get_by_label("Third drop").fill("1.40")
    expect(page.get_by_label("Minutes")).to_have_value("2")
    save(page)
    expect(page).to_have_url(re.compile("/readings/"))
    assert Reading.objects.get().drops.count() == 3


def test_it_all_works_without_a_script(slot, live, open_page: Callable[..., Page], sign_in: Callable) -> None:
    page = open_page(320, java_script_enabled=False)
    open_entry(page, live, slot, sign_in)
    fill(page)
    page.get_by_role("button", name="One more drop").click()
    expect(page.get_by_label("First drop")).to_have_value("1,40")
    page.get_by_label("Third drop").fill("1.40")
    save(page)
    expect(page.locator("main")).to_contain_text("Inside")
