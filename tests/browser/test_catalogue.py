"""A new café's head barista adds what the first recipe needs, on a phone and at a desk."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from brewbar.crew.models import Role
from calibration import instruments
from recipes.models import Kettle, RoastBatch
from tests import factories as make

SignIn = Callable[[Page, str, Any], None]
Check = Callable[[Page], None]


@pytest.fixture
def head(live: str) -> Any:
    return make.person(Role.HEAD, make.cafe(name="Harbour"))


def held(page: Page, axe: Check) -> None:
    axe(page)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), page.url


def test_from_an_empty_cafe_to_a_coffee_with_a_batch(
    page: Page, live: str, sign_in: SignIn, axe: Check, head: Any
):
    sign_in(page, live, head)
    page.goto(f"{live}{reverse('recipes:coffees')}")
    held(page, axe)
    page.get_by_role("link", name="Add a coffee").click()
    page.get_by_label("Name").fill("Blue Pear")
    page.get_by_label("Density").fill("dense")
    held(page, axe)
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_label("Density")).to_have_value("dense")
    held(page, axe)
    page.get_by_role("link", name="Bean density").click()
    expect(page.get_by_label("Density")).to_be_focused()
    page.get_by_label("Density").fill("720")
    page.get_by_role("button", name="Save").click()

    page.get_by_role("link", name="Add a batch").click()
    today = timezone.localdate()
    page.get_by_label("Label").fill("BP 1")
    page.get_by_label("Roasted on").fill((today - timedelta(days=9)).isoformat())
    held(page, axe)
    page.get_by_role("button", name="Save").click()
    page.get_by_role("button", name="Opened today").click()
    expect(page.get_by_role("row", name="BP 1")).to_contain_text("opened")
    held(page, axe)
    assert RoastBatch.objects.get().opened_on is not None


def test_a_retired_kettle_comes_back_instead_of_a_second_one(
    wide_page: Page, live: str, sign_in: SignIn, axe: Check, head: Any
):
    cafe = head.memberships.get().cafe
    make.kettle(cafe, name="Station kettle").retire()
    sign_in(wide_page, live, head)
    wide_page.goto(f"{live}{reverse('recipes:equipment')}")
    held(wide_page, axe)
    wide_page.get_by_role("link", name="Add a kettle").click()
    wide_page.get_by_label("Name").fill("station kettle")
    wide_page.get_by_label("Slowest steady flow").fill("2,5")
    wide_page.get_by_label("Fastest steady flow").fill("2")
    wide_page.get_by_role("button", name="Save").click()
    expect(wide_page.get_by_label("Slowest steady flow")).to_have_value("2,5")
    held(wide_page, axe)
    wide_page.get_by_role("button", name="Bring back Station kettle instead").click()
    expect(wide_page.get_by_text("Station kettle is in use again.")).to_be_visible()
    assert Kettle.objects.get().retired_at is None


@pytest.mark.parametrize(("width", "role"), [(320, Role.BARISTA), (390, Role.OWNER), (1280, Role.HEAD)])
def test_full_pages_hold(
    width: int, role: str, open_page: Any, live: str, sign_in: SignIn, axe: Check, head: Any
):
    cafe = head.memberships.get().cafe
    slot = make.live_slot(cafe, station=make.station(cafe, name="Window bar, upper floor"), by=head)
    make.server(cafe, name="A server whose name takes all of forty c")
    make.kettle(cafe, name="An old kettle", note="x" * 200).retire()
    instruments.save(make.refractometer(cafe, name="Glass one", note="Lent to nobody, kept dry"), head)
    make.refractometer(cafe, name="Glass two").retire()
    make.batch(slot.version.recipe.coffee, used_up_on=timezone.localdate())
    page = open_page(width)
    sign_in(page, live, head if role == Role.HEAD else make.person(role, cafe))
    for address in (
        reverse("recipes:coffees"),
        reverse("recipes:coffee", args=[slot.version.recipe.coffee.pk]),
        reverse("recipes:equipment"),
        reverse("calibration:instruments"),
    ):
        page.goto(f"{live}{address}")
        for folded in page.locator(".more:not([open]) > summary").all():
            folded.click()
        held(page, axe)
