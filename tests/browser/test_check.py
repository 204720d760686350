"""The shift check as a barista does it: on a phone, on the bar's tablet with a sign-out between, without a script."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from brewbar.crew import pins
from brewbar.crew.models import Tablet, User
from calibration.models import CheckPlan, CheckRun, OnDuty, Reading
from recipes.models import Slot
from tests import factories as make

PIN = "4071"
BREW = timedelta(seconds=165)


@pytest.fixture
def slot(transactional_db) -> Slot:
    cafe = make.cafe(name="Harbour")
    slot = make.live_slot(
        cafe, station=make.station(cafe, name="Window bar"), at=timezone.now() - timedelta(days=3)
    )
    make.refractometer(cafe)
    make.server(cafe, name="Server A", tare_g="312.4")
    CheckPlan.objects.create(cafe=cafe, recipe=slot.card.recipe, twice_share=0)
    return slot


@pytest.fixture
def ana(slot: Slot) -> User:
    ana = make.person(cafe=slot.board.cafe, name="Ana Prova")
    pins.set_pin(ana.memberships.get(), PIN, ana)
    return ana


def brew(page: Page) -> CheckRun:
    """Time passes on the server, as if the water had run through."""
    expect(page.get_by_role("button", name="The bed shows")).to_be_visible()
    page.wait_for_function("() => !document.getElementById('digits').textContent.startsWith('x')")
    for _wait in range(50):
        run = CheckRun.objects.exclude(poured_at=None).first()
        if run is not None:
            break
        page.wait_for_timeout(100)
    assert run is not None, "the first water was not written down"
    CheckRun.objects.filter(pk=run.pk).update(opened_at=run.opened_at - BREW, poured_at=run.poured_at - BREW)
    return run


def come(page: Page) -> None:
    page.get_by_label("PIN").fill(PIN)
    page.get_by_role("button", name="Start").click()


def stand(page: Page, live: str, slot: Slot) -> None:
    _tablet, key = make.tablet(slot.station)
    cookie = make.at_tablet(key).cookies
    page.context.add_cookies([{"name": name, "value": cookie[name].value, "url": live} for name in cookie])


def test_on_a_phone_from_the_board_to_done(
    slot, ana, live, page: Page, sign_in: Callable, axe: Callable
) -> None:
    sign_in(page, live, ana)
    page.goto(live + reverse("recipes:board"))
    taps = 0

    def tap(place) -> None:
        nonlocal taps
        taps += 1
        place.click()

    tap(page.get_by_role("navigation").get_by_role("link", name="Check"))
    axe(page)
    tap(page.get_by_role("button", name="Start the check"))
    start = page.get_by_role("button", name="Start: first water")
    assert start.bounding_box()["height"] >= 60
    tap(start)
    expect(page.locator("#now")).to_have_text("Now: pour to 45 g, circle")
    expect(page.locator("#next")).to_have_text("Next at 0:40: pour to 150 g, circle")
    # A second tap of a wet thumb ends no brew.
    page.get_by_role("button", name="The bed shows").click()
    brew(page)
    page.reload()
    expect(page.locator("#digits")).to_have_text(re.compile("2:4[5-9]"))
    expect(page.locator("#now")).to_have_text("Wait until the bed shows")
    axe(page)
    tap(page.get_by_role("button", name="The bed shows"))
    page.wait_for_url("**/enter/")
    assert page.get_by_label("Minutes").input_value() == "2"
    for name, value in (("Weight on the scale", "532,4"), ("First drop", "1,40"), ("Second drop", "1.41")):
        taps += 1
        page.get_by_label(name).fill(value)
    axe(page)
    tap(page.locator(".big-form button.button-wide").first)
    page.wait_for_url("**/readings/**")
    expect(page.locator(".reading-feedback")).to_have_count(1)
    expect(page.locator(".reading-feedback")).to_be_in_viewport()
    tap(page.get_by_role("link", name="Back to the board"))
    page.wait_for_url("**/board/")
    assert taps == 9
    assert Reading.objects.get().brew_time_s in range(165, 175)


def test_what_is_touched_is_large_enough_for_a_wet_thumb(
    slot, ana, live, page: Page, sign_in: Callable
) -> None:
    sign_in(page, live, ana)
    page.goto(live + reverse("calibration:check"))
    for button in page.locator(".check-buttons .button").all():
        assert button.bounding_box()["height"] >= 60
    page.get_by_role("button", name="Start the check").click()
    page.get_by_text("Put the timer right").click()
    for part in page.locator(".run .button:visible, .run input:visible:not([type=hidden])").all():
        assert part.bounding_box()["height"] >= 60


def test_on_the_bars_tablet_the_timer_outlives_a_sign_out(
    slot, ana, open_page: Callable[..., Page], live: str
) -> None:
    page = open_page(820, 1180, has_touch=True)
    page.clock.install()
    stand(page, live, slot)
    page.goto(live + reverse("calibration:check"))
    page.get_by_role("link", name="Who is brewing?").click()
    page.get_by_role("link", name="Ana Prova").click()
    come(page)
    page.goto(live + reverse("calibration:check"))
    page.get_by_role("button", name="Start the check").click()
    page.get_by_role("button", name="Start: first water").click()
    run = brew(page)
    # Nobody touches the tablet while the water runs.
    page.clock.fast_forward((Tablet.SIGNED_OUT_AFTER_S + 1) * 1000)
    page.wait_for_url("**/board/")
    expect(page.get_by_role("link", name="Who is brewing?")).to_be_visible()

    page.get_by_role("navigation").get_by_role("link", name="Check").click()
    expect(page.get_by_text("Ana Prova")).to_be_visible()
    page.get_by_role("link", name="Timer").click()
    expect(page.locator("#digits")).to_have_text(re.compile("2:4[5-9]|2:5"))
    page.get_by_role("button", name="The bed shows").click()
    page.get_by_role("link", name="Enter it, Ana Prova").click()
    come(page)
    page.wait_for_url("**/enter/")
    page.get_by_label("Weight on the scale").fill("532.4")
    page.clock.fast_forward(2_000)
    for _wait in range(50):
        run.refresh_from_db()
        if run.typed:
            break
        page.wait_for_timeout(100)
    assert run.typed["weight_g"] == "532.4"

    page.get_by_role("button", name="Done").click()
    page.goto(live + reverse("calibration:check_run", args=[run.uuid]))
    page.get_by_role("link", name="Enter it, Ana Prova").click()
    come(page)
    expect(page.get_by_label("Weight on the scale")).to_have_value("532.4")
    page.get_by_label("First drop").fill("1.40")
    page.get_by_label("Second drop").fill("1.41")
    page.locator(".big-form button.button-wide").first.click()
    page.wait_for_url("**/readings/**")
    reading = Reading.objects.get()
    assert (reading.barista, reading.uuid) == (ana, run.uuid)
    assert OnDuty.objects.get().user == ana


def test_a_tap_without_a_network_is_told_later_with_its_own_moment(
    slot, ana, live, page: Page, sign_in: Callable
) -> None:
    sign_in(page, live, ana)
    page.goto(live + reverse("calibration:check"))
    page.get_by_role("button", name="Start the check").click()
    page.wait_for_url("**/check/*-*/")
    run = CheckRun.objects.get()
    CheckRun.objects.update(opened_at=run.opened_at - BREW)
    page.context.set_offline(True)
    before = timezone.now()
    page.get_by_role("button", name="Start: first water").click()
    expect(page.locator("#unsent")).to_be_visible()
    page.wait_for_timeout(2_500)
    page.context.set_offline(False)
    expect(page.locator("#unsent")).to_be_hidden()
    run.refresh_from_db()
    assert abs((run.poured_at - before).total_seconds()) < 1.5


def test_it_works_without_a_script(
    slot, ana, live, open_page: Callable[..., Page], sign_in: Callable
) -> None:
    page = open_page(390, java_script_enabled=False)
    sign_in(page, live, ana)
    page.goto(live + reverse("calibration:check"))
    page.get_by_role("button", name="Start the check").click()
    page.get_by_role("button", name="Start: first water").click()
    CheckRun.objects.update(poured_at=timezone.now() - BREW)
    page.get_by_role("button", name="The bed shows").click()
    page.get_by_role("link", name="Enter it", exact=True).click()
    page.get_by_label("Weight on the scale").fill("532.4")
    page.get_by_role("button", name="Later: keep what is typed").click()
    page.get_by_role("link", name=re.compile("Enter it: brewed in 2:[45]")).click()
    expect(page.get_by_label("Weight on the scale")).to_have_value("532.4")
    page.get_by_label("First drop").fill("1.40")
    page.get_by_label("Second drop").fill("1.41")
    page.locator(".big-form button.button-wide").first.click()
    expect(page.locator("main")).to_contain_text("Inside")
