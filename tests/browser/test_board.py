"""The board in a browser: one tap, and the crew sees it without touching anything."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page, expect

from brewbar.crew.models import Role
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
