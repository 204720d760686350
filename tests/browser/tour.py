"""Takes the README's pictures from a running demo.

PYTHONPATH=. python tests/browser/tour.py http://127.0.0.1:8000 kofi PASSWORD jun PASSWORD imogen PASSWORD

The report's page on paper is made a picture by pdftoppm.
"""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from brewbar.testing import find_browser

PICTURES = Path(__file__).parents[2] / "static" / "tour"
PHONE, DESK = (390, 844), (1280, 860)


def sign_in(browser: Browser, address: str, size: tuple[int, int], username: str, password: str) -> Page:
    page = browser.new_page(viewport={"width": size[0], "height": size[1]}, locale="en-GB")
    page.goto(f"{address}/sign-in/")
    page.get_by_label("Sign-in name").fill(username)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/board/")
    return page


def keep(page: Page, name: str) -> None:
    """What is on the screen."""
    save(page.screenshot(), name)


def save(png: bytes, name: str) -> None:
    """In few enough colours for a page of text."""
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    picture.quantize(128, dither=Image.Dither.NONE).save(PICTURES / f"{name}.png", optimize=True)


def from_the_heading(page: Page) -> None:
    page.locator("h1").evaluate("heading => window.scrollTo(0, heading.offsetTop - 20)")
    page.wait_for_timeout(600)


def first_page(pdf: bytes) -> bytes:
    to_png = ["pdftoppm", "-png", "-r", "90", "-f", "1", "-l", "1", "-"]
    return subprocess.run(to_png, input=pdf, capture_output=True, check=True).stdout


def report(browser: Browser, address: str, owner: str, password: str) -> None:
    phone = sign_in(browser, address, PHONE, owner, password)
    phone.goto(f"{address}/report/?span=month")
    from_the_heading(phone)
    keep(phone, "report")
    answer = phone.request.get(f"{address}/report/report.pdf?span=month")
    save(first_page(answer.body()), "report-on-paper")


def main(
    address: str,
    head: str,
    head_password: str,
    barista: str,
    barista_password: str,
    owner: str,
    password: str,
) -> None:
    PICTURES.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find_browser(), args=["--no-sandbox"])
        phone = sign_in(browser, address, PHONE, barista, barista_password)
        keep(phone, "board")
        phone.get_by_role("link", name="Enter a reading").last.click()
        phone.get_by_label("Weight on the scale").scroll_into_view_if_needed()
        keep(phone, "entry")
        phone.goto(f"{address}/my-results/")
        phone.locator("th a").first.click()
        keep(phone, "reading")
        phone.goto(f"{address}/check/")
        phone.get_by_role("button", name="Start the check").click()
        phone.get_by_role("button", name="first water").click()
        phone.wait_for_timeout(13_000)
        keep(phone, "timer")
        desk = sign_in(browser, address, DESK, head, head_password)
        desk.get_by_role("link", name="Card", exact=True).first.click()
        desk.wait_for_load_state("networkidle")
        keep(desk, "card")
        desk.goto(f"{address}/recipes/")
        desk.get_by_role("link", name="Window cup").click()
        if desk.get_by_role("button", name="Revise").count():
            desk.get_by_role("button", name="Revise").click()
        else:
            desk.get_by_role("link", name="Edit the draft").click()
        desk.locator("[name$=to_g]").last.fill("220")
        desk.get_by_text("30 g").first.wait_for()
        desk.locator("[name$=starts_at_s]").first.scroll_into_view_if_needed()
        desk.mouse.wheel(0, 330)
        desk.wait_for_timeout(600)
        keep(desk, "editor")
        for path, name in (("charts/", "days"), ("charts/staff/", "staff")):
            desk.goto(f"{address}/{path}")
            desk.wait_for_selector("[data-drawn]")
            from_the_heading(desk)
            keep(desk, name)
        desk.goto(f"{address}/signals/")
        desk.locator("main a[href^='/signals/']").first.click()
        desk.wait_for_selector("[data-drawn]")
        from_the_heading(desk)
        keep(desk, "signal")
        report(browser, address, owner, password)
        browser.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
