"""The board in a browser: one tap, and the crew sees it without touching anything."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page, expect

from brewbar.crew.models import Membership, Role
from recipes.models import Slot
from tests import factories as make

PATIENCE_MS = 40_000
"""Long enough for a loaded machine: that a change arrives is tested here, not how fast the machine is."""


@pytest.fixture
def slot(transactional_db) -> Slot:
    return make.live_slot(make.cafe(), grind_setting="24")


def test_a_tap_reaches_an_open_board_by_itself(
    slot, live, page: Page, wide_page: Page, sign_in: Callable
) -> None:
    sign_in(page, live, make.person(cafe=slot.board.cafe))
    sign_in(wide_page, live, make.person(Role.HEAD, slot.board.cafe))
    page.goto(f"{live}/board/")
    page.get_by_text("Pours", exact=True).click()
    wide_page.goto(f"{live}/board/")
    wide_page.get_by_role("button", name="Up to 25").click()
    expect(wide_page.locator(".grind-now")).to_have_text("25")
    expect(wide_page.get_by_role("button", name="Up to 26")).to_be_focused()
    expect(page.locator(".grind-now")).to_have_text("25", timeout=PATIENCE_MS)
    expect(page.locator("#board-news")).to_contain_text(re.compile(r"grind 24 . 25"))


def test_a_poll_with_nothing_new_leaves_the_page_alone(slot, live, page: Page, sign_in: Callable) -> None:
    sign_in(page, live, make.person(cafe=slot.board.cafe))
    page.goto(f"{live}/board/")
    page.get_by_text("Pours", exact=True).click()
    link = page.get_by_role("link", name="Enter a reading")
    link.focus()
    with page.expect_response(re.compile(r"/board/\?seen="), timeout=PATIENCE_MS) as poll:
        page.wait_for_timeout(0)
    assert poll.value.status == 204
    expect(page.locator("details[open]").first).to_be_visible()
    expect(link).to_be_focused()


def test_a_lost_connection_is_told(slot, live, browser: Browser, sign_in: Callable) -> None:
    # A page of its own: what goes wrong in it here is meant.
    page = browser.new_page()
    sign_in(page, live, make.person(cafe=slot.board.cafe))
    page.goto(f"{live}/board/")
    page.route("**/board/?seen=*", lambda route: route.abort())
    expect(page.locator("#board-old")).to_contain_text("This board may be old", timeout=PATIENCE_MS)
    page.unroute("**/board/?seen=*")
    expect(page.locator("#board-old")).to_be_empty(timeout=PATIENCE_MS)
    page.close()


def test_everything_works_without_a_script(
    slot, live, open_page: Callable[..., Page], sign_in: Callable
) -> None:
    page = open_page(390, java_script_enabled=False)
    sign_in(page, live, make.person(Role.HEAD, slot.board.cafe))
    page.goto(f"{live}/board/")
    page.get_by_role("button", name="Up to 25").click()
    expect(page.locator(".grind-now")).to_have_text("25")


def test_a_change_of_recipe_is_seen_by_one_tap_and_stays_seen(
    slot, live, page: Page, wide_page: Page, sign_in: Callable, axe: Callable
) -> None:
    barista, head = make.person(cafe=slot.board.cafe), make.person(Role.HEAD, slot.board.cafe)
    Membership.objects.filter(user=barista).update(started_at=slot.published_at)
    sign_in(page, live, barista)
    sign_in(wide_page, live, head)
    wide_page.goto(f"{live}/board/")
    wide_page.get_by_text("Seen by 0 of 1").click()
    axe(wide_page)
    page.goto(f"{live}/board/")
    expect(page.locator(".slot-news")).to_contain_text("New on the board")
    axe(page)
    page.get_by_role("button", name=re.compile("^Seen")).click()
    expect(page.locator(".slot-news")).to_have_count(0)
    wide_page.get_by_role("button", name="Up to 25").click()
    expect(wide_page.get_by_text("Seen by 1 of 1")).to_be_visible()
    expect(page.locator(".grind-now")).to_have_text("25", timeout=PATIENCE_MS)
    expect(page.locator(".slot-news")).to_have_count(0)


def test_a_recipe_is_taken_off_and_another_comes_on_without_a_script(
    slot, live, open_page: Callable[..., Page], sign_in: Callable
) -> None:
    version = make.version(make.recipe(slot.board.cafe.company, name="Rain day"))
    make.batch(version.recipe.coffee)
    page = open_page(390, java_script_enabled=False)
    sign_in(page, live, make.person(Role.HEAD, slot.board.cafe))
    page.goto(f"{live}/board/slots/{slot.pk}/off/")
    page.get_by_label("Why is it coming off?").fill("out of coffee")
    page.get_by_label("What is brewed instead?").select_option(label="Rain day, draft 1")
    page.get_by_role("button", name="Take it off now").click()
    page.get_by_label("Grind setting").fill("21")
    page.get_by_role("button", name="Take it off, and bring this on").click()
    expect(page.get_by_role("heading", name="Rain day")).to_be_visible()
    page.goto(f"{live}/c/{slot.card.code}/")
    expect(page.locator("main")).to_contain_text("out of coffee")
    page.get_by_role("link", name="Instead: Rain day, version 1").click()
    expect(page.get_by_role("heading", name="Rain day")).to_be_visible()
