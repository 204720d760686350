"""A shared tablet in a browser: enrolled, signed in on, left by Done and by itself. Time is moved, never waited for."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from brewbar.crew import pins
from brewbar.crew.models import Cafe, Role, Tablet, User
from calibration.models import Reading
from recipes.models import Slot
from tests import factories as make

PIN = "4071"
IDLE_S = Tablet.SIGNED_OUT_AFTER_S


@pytest.fixture
def cafe(transactional_db) -> Cafe:
    cafe = make.cafe(name="Harbour")
    make.refractometer(cafe)
    return cafe


@pytest.fixture
def slot(cafe: Cafe) -> Slot:
    return make.live_slot(cafe, station=make.station(cafe, name="Window bar"))


@pytest.fixture
def ana(cafe: Cafe) -> User:
    ana = make.person(Role.HEAD, cafe, name="Ana Prova")
    pins.set_pin(ana.memberships.get(), PIN, ana)
    return ana


def come(page: Page, name: str = "Ana Prova", pin: str = PIN) -> None:
    """From the names, sign in."""
    page.get_by_role("link", name=name).click()
    page.get_by_label("PIN").fill(pin)
    page.get_by_role("button", name="Start").click()


def stand(page: Page, live: str, slot: Slot) -> None:
    """Make the browser the slot's tablet."""
    _tablet, key = make.tablet(slot.station)
    cookie = make.at_tablet(key).cookies
    page.context.add_cookies([{"name": name, "value": cookie[name].value, "url": live} for name in cookie])


@pytest.mark.parametrize(("width", "height"), [(820, 1180), (390, 844)])
def test_from_enrolling_to_done(
    width: int,
    height: int,
    slot: Slot,
    ana: User,
    open_page: Callable[..., Page],
    live: str,
    sign_in: Callable,
) -> None:
    page = open_page(width, height, has_touch=True)
    sign_in(page, live, ana)
    page.goto(live + reverse("crew:tablets"))
    page.get_by_label("Station", exact=True).select_option("Window bar")
    page.get_by_label("Which device").fill("by the grinder")
    page.get_by_role("button", name="Enrol this device").click()
    expect(page.get_by_text("This device is now the tablet of Window bar")).to_be_visible()

    page.get_by_role("link", name="Enter a reading").click()
    name = page.get_by_role("link", name="Ana Prova")
    assert name.bounding_box()["height"] >= 60
    come(page, pin="9155")
    expect(page.get_by_label("PIN")).to_have_accessible_description(re.compile("not the PIN of Ana Prova"))
    expect(page.get_by_label("PIN")).to_be_focused()
    page.get_by_label("PIN").fill(PIN)
    page.get_by_role("button", name="Start").click()
    page.wait_for_url(f"**{reverse('calibration:code', args=[slot.card.code])}")

    page.get_by_role("link", name="Board").first.click()
    expect(page.get_by_text("Plan the board")).to_have_count(0)
    page.mouse.wheel(0, 2000)
    done = page.get_by_role("button", name="Done")
    expect(done).to_be_in_viewport(ratio=1)
    assert done.bounding_box()["height"] >= 60
    done.click()
    expect(page.get_by_role("link", name="Who is brewing?")).to_be_visible()
    for _page in range(2):
        page.go_back()
        expect(page.get_by_role("button", name="Done")).to_have_count(0)


def test_nobody_there_and_what_was_typed(
    slot: Slot, ana: User, open_page: Callable[..., Page], live: str
) -> None:
    page = open_page(820, 1180, has_touch=True)
    page.clock.install()
    stand(page, live, slot)
    entry = reverse("calibration:code", args=[slot.card.code])
    page.goto(live + entry)
    come(page)
    page.locator("[name=weight_g]").fill("217.3")

    page.clock.fast_forward((IDLE_S - 40) * 1000)
    expect(page.get_by_text("Still there?")).to_be_visible()
    with page.expect_request(f"**{reverse('crew:touch')}"):
        page.locator("h1").click()
    expect(page.get_by_text("Still there?")).to_have_count(0)
    page.clock.fast_forward((IDLE_S + 1) * 1000)
    page.wait_for_url("**/board/")
    expect(page.get_by_text("What you typed is kept")).to_be_visible()
    assert not Reading.objects.exists()

    page.get_by_role("link", name="Who is brewing?").click()
    expect(page.get_by_role("link", name="Ana Prova")).to_contain_text("something typed is kept")
    come(page)
    page.get_by_role("button", name="Send what you typed").click()
    page.wait_for_url(f"**{entry}")
    expect(page.locator("[name=weight_g]")).to_have_value("217.3")


def test_the_names_give_way_to_the_board(slot: Slot, ana: User, page: Page, live: str) -> None:
    page.clock.install()
    stand(page, live, slot)
    page.goto(live + reverse("crew:names"))
    page.clock.fast_forward((IDLE_S + 1) * 1000)
    page.wait_for_url("**/board/")


def test_it_works_without_javascript(
    slot: Slot, ana: User, open_page: Callable[..., Page], live: str
) -> None:
    page = open_page(820, 1180, java_script_enabled=False)
    stand(page, live, slot)
    page.goto(live + "/board/")
    page.get_by_role("link", name="Who is brewing?").click()
    come(page)
    page.wait_for_url("**/board/")
    page.get_by_role("button", name="Done").click()
    expect(page.get_by_role("link", name="Who is brewing?")).to_be_visible()
