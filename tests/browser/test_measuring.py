"""A head barista measures a kettle on a phone beside the sink: three points, and the fit on the page."""

from collections.abc import Callable
from typing import Any

from django.urls import reverse
from playwright.sync_api import Page, expect

from brewbar.crew.models import Role
from recipes.models import BreakupPoint
from tests import factories as make

SignIn = Callable[[Page, str, Any], None]
Check = Callable[[Page], None]


def begin(page: Page, live: str, sign_in: SignIn) -> None:
    head = make.person(Role.HEAD, make.cafe())
    kettle = make.kettle(head.memberships.get().cafe, name="The Heron")
    sign_in(page, live, head)
    page.goto(f"{live}{reverse('recipes:kettle', args=[kettle.pk])}")
    page.get_by_role("link", name="Measure this kettle").click()


def enter(page: Page, flow: str, height: str, outcome: str) -> None:
    page.get_by_label("Flow").fill(flow)
    page.get_by_label("Temperature of the water").fill("18")
    page.get_by_label("Height of the spout").fill(height)
    page.get_by_text(outcome, exact=True).click()
    page.get_by_role("button", name="Keep this point").click()


def test_three_points_and_the_fit(page: Page, live: str, sign_in: SignIn, axe: Check):
    begin(page, live, sign_in)
    expect(page.get_by_text("Not measured yet: three points make a fit.")).to_be_visible()
    enter(page, "2", "", "broke into drops")
    expect(page.get_by_text("Enter how high the spout was.").first).to_be_visible()
    axe(page)
    page.get_by_role("link", name="Height of the spout").click()
    expect(page.get_by_label("Height of the spout")).to_be_focused()
    expect(page.get_by_label("Flow")).to_have_value("2")
    expect(page.get_by_label("broke into drops")).to_be_checked()
    enter(page, "2", "75", "broke into drops")
    enter(page, "4,5", "140", "broke into drops")
    expect(page.get_by_text("2 points so far. 1 more makes a fit.").first).to_be_visible()
    enter(page, "7", "200", "was still whole")
    expect(page.get_by_text("3 points. At 4.5 g/s and 18 °C").first).to_be_visible()
    page.wait_for_selector("[data-drawn]")
    legend = page.locator(".chart .legend")
    for name in ("18 °C: broke", "18 °C: still whole", "18 °C: measured", "93 °C: breaks above about"):
        expect(legend.get_by_text(name, exact=True)).to_be_visible()
    for folded in page.locator("figure .more > summary").all():
        folded.click()
    axe(page)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.get_by_role("button", name="Take back").first.click()
    expect(page.get_by_text("It is taken back.")).to_be_visible()
    assert BreakupPoint.objects.standing().count() == 2


def test_without_scripts_the_numbers_stand_in_the_table(open_page: Any, live: str, sign_in: SignIn):
    page = open_page(390, java_script_enabled=False)
    begin(page, live, sign_in)
    expect(page.locator(".chart-canvas")).to_be_hidden()
    table = page.get_by_role("table", name="At 93 °C, in mm (any hand-held kettle, not measured)")
    # N of 6 to 12, to 5 mm, for 5 g/s through 6 mm.
    expect(table.get_by_role("row", name="5 g/s")).to_contain_text("100–215")
    enter(page, "2", "75", "broke into drops")
    expect(page.get_by_text("1 point so far. 2 more make a fit.").first).to_be_visible()
