"""The first start in a browser: from the code on the console to an owner who can invite somebody."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from brewbar.crew import first_start

PASSWORD = "four plain words here"


@pytest.fixture
def code(transactional_db, settings, tmp_path) -> str:
    settings.DATA_DIR = tmp_path
    return first_start.new_code()


def is_too_wide(page: Page, width: int) -> bool:
    page.set_viewport_size({"width": width, "height": 844})
    return bool(page.evaluate("document.documentElement.scrollWidth") > width)


def fill(page: Page, **answers: str) -> None:
    for label, text in answers.items():
        page.get_by_label(label.replace("_", " "), exact=True).fill(text)


def send(page: Page) -> None:
    fill(page, Password=PASSWORD, The_same_password_once_more=PASSWORD)
    page.get_by_role("button", name="Open the company").click()


def test_from_the_code_to_an_invitation(
    code: str, live: str, open_page: Callable[..., Page], axe: Callable
) -> None:
    page = open_page(390, 844, has_touch=True, timezone_id="America/Bogota")
    page.goto(live)
    page.wait_for_url("**/set-up/")
    zone = page.get_by_label("Time zone")
    expect(zone).to_have_value("America/Bogota")
    axe(page)
    assert not is_too_wide(page, 320)
    fill(page, Code="AAAA-BBBB-CCCC", Company="Invented & Sons", Café="Hilltop")
    zone.select_option("America/Lima")
    fill(page, Your_name="Ada Example", **{"Sign-in name": "ada"})
    page.get_by_label("Altitude").fill("2600")
    send(page)
    expect(page.locator(".errors")).to_contain_text("not the code of the last start")
    # Nothing that was typed is gone, and the script does not choose again what somebody chose.
    expect(zone).to_have_value("America/Lima")
    expect(page.get_by_label("Company", exact=True)).to_have_value("Invented & Sons")
    axe(page)
    fill(page, Code=code.lower())
    send(page)
    page.wait_for_url("**/first-steps/")
    expect(page.get_by_text("Invented & Sons is open")).to_be_visible()
    axe(page)
    assert not is_too_wide(page, 320)
    page.get_by_role("link", name="Invite somebody").click()
    expect(page.get_by_role("radio", name="Head barista")).to_be_attached()


def test_it_works_without_scripts(code: str, live: str, open_page: Callable[..., Page]) -> None:
    page = open_page(390, java_script_enabled=False)
    page.goto(f"{live}/set-up/")
    fill(page, Code=code, Company="Invented & Sons", Café="Hilltop", Your_name="Ada Example")
    page.get_by_label("Time zone").select_option("Europe/Lisbon")
    page.get_by_label("Altitude").fill("0")
    fill(page, **{"Sign-in name": "ada"})
    send(page)
    page.wait_for_url("**/first-steps/")
