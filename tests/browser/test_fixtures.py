"""The browser fixtures themselves: what they must not let pass."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

PHONE, DESKTOP = 390, 1280


def test_widths(page: Page, wide_page: Page, live: str) -> None:
    for opened, width in ((page, PHONE), (wide_page, DESKTOP)):
        opened.goto(f"{live}/sign-in/")
        assert opened.evaluate("window.innerWidth") == width
        assert opened.evaluate("document.documentElement.scrollWidth") <= width


def test_the_sign_in_page_has_no_finding(page: Page, live: str, axe: Callable[[Page], None]) -> None:
    page.goto(f"{live}/sign-in/")
    axe(page)


def test_axe_finds_what_is_wrong(page: Page, axe: Callable[[Page], None]) -> None:
    page.set_content("<html lang='en'><title>x</title><main><h1>x</h1><img src='data:,'></main></html>")
    with pytest.raises(AssertionError, match="image-alt"):
        axe(page)
