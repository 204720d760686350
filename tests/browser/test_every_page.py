"""Every page that a role can reach, in a browser: nothing for axe to find, nothing wider than the screen."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.conf import settings
from django.urls import reverse
from playwright.sync_api import Page

from tests.world import World

WIDE, PHONE, NARROW = 1280, 390, 320


def pages(world: World) -> dict[str, list[str]]:
    """The addresses of the pages of each role."""
    rows = world.rows
    code = world.slot.card.code
    board = [reverse("recipes:board"), reverse("recipes:card", args=[rows["slot"].pk])]
    recipes = [
        reverse("recipes:recipes"),
        reverse("recipes:recipe", args=[rows["recipe"].pk]),
        reverse("recipes:version", args=[rows["version"].pk]),
        reverse("recipes:at_cafe", args=[rows["recipe"].pk, world.cafe.pk]),
        reverse("recipes:compare"),
        reverse("recipes:rules"),
        f"{reverse('recipes:compare')}?a={rows['version'].pk}&b={rows['draft'].pk}",
    ]
    entry = [
        reverse("calibration:find_code"),
        reverse("calibration:code", args=[code]),
        reverse("calibration:code", args=[code, 99]),
        reverse("calibration:code", args=[rows["gone"].card.code]),
        reverse("calibration:reading", args=[rows["reading"].uuid]),
        reverse("calibration:correct", args=[rows["reading"].uuid]),
    ]
    charts = [
        reverse("calibration:days"),
        reverse("calibration:days") + "?measure=time",
        *(reverse(f"calibration:{name}") for name in ("staff", "people_share", "heat_map", "scatter")),
        reverse("calibration:strength"),
    ]
    instrument = [rows["refractometer"].pk]
    run = [rows["run"].uuid]
    at_the_check = [reverse("calibration:check"), reverse("calibration:check_run", args=run)]
    check = [
        *at_the_check,
        f"{reverse('calibration:check_start')}?slot={rows['slot'].pk}",
        reverse("calibration:check_enter", args=run),
        reverse("calibration:check_drop", args=run),
    ]
    draft = [rows["upload"].token]
    spreadsheets = [
        *(reverse(f"calibration:{name}") for name in ("imports", "import_new")),
        *(reverse(f"calibration:import_{step}", args=draft) for step in ("sheet", "columns")),
        *(reverse(f"calibration:{name}", args=[rows["import"].pk]) for name in ("brought", "import_undo")),
    ]
    membership = [rows["membership"].pk]
    at_the_tablet = [
        reverse("crew:names"),
        *(reverse(f"crew:{name}", args=membership) for name in ("pin", "pin_new")),
    ]
    crew = [
        reverse("crew:people"),
        reverse("crew:invite"),
        reverse("crew:person", args=membership),
        reverse("crew:end", args=membership),
    ]
    return {
        "station": [*board, *at_the_check, *at_the_tablet],
        "nobody": [
            reverse("crew:sign_in"),
            "/nowhere/",
            *(reverse(f"crew:{name}", args=[world.link_key]) for name in ("join", "join_known")),
            reverse("crew:join", args=["used"]),
        ],
        "barista": [
            *board,
            *recipes,
            *entry,
            *check,
            *charts,
            reverse("calibration:mine"),
            reverse("calibration:signals"),
            reverse("calibration:signal", args=[rows["signal"].pk]),
            reverse("recipes:equipment"),
            reverse("recipes:kettle_measure", args=[rows["kettle"].pk]),
            reverse("recipes:events"),
            reverse("crew:password"),
            reverse("crew:account"),
            reverse("crew:held"),
            reverse("crew:keys"),
            reverse("crew:key_new"),
            reverse("crew:key_revoke", args=[rows["access_key"].pk]),
            reverse("crew:my_pin"),
            reverse("crew:join", args=[world.link_key]),
        ],
        "head": [
            *board,
            *recipes,
            *entry,
            *check,
            *charts,
            reverse("calibration:check_plan"),
            reverse("calibration:today"),
            *spreadsheets,
            reverse("calibration:signals"),
            reverse("calibration:signal", args=[rows["signal"].pk]),
            reverse("calibration:signal_try", args=[rows["signal"].pk]),
            reverse("calibration:void", args=[rows["reading"].uuid]),
            reverse("calibration:instruments"),
            reverse("calibration:instrument_checks", args=instrument),
            *(f"{reverse('calibration:check_new', args=instrument)}?on={on}" for on in ("zero", "standard")),
            reverse("calibration:instrument_new"),
            reverse("crew:tablets"),
            reverse("crew:tablet_revoke", args=[rows["tablet"].pk]),
            f"{reverse('recipes:recipes')}?q=nowhere&state=retired",
            reverse("recipes:recipe_new"),
            f"{reverse('recipes:recipe_new')}?coffee={rows['coffee'].pk}",
            reverse("recipes:version_copy", args=[rows["version"].pk]),
            reverse("recipes:version_scale", args=[rows["version"].pk]),
            reverse("recipes:version_everywhere", args=[rows["version"].pk]),
            reverse("recipes:version_edit", args=[rows["draft"].pk]),
            reverse("recipes:board_plan"),
            f"{reverse('recipes:board_plan')}?version={rows['version'].pk}&station={rows['station'].pk}",
            reverse("recipes:board_stations"),
            reverse("recipes:board_station", args=[rows["station"].pk]),
            reverse("recipes:board_publish"),
            reverse("recipes:slot", args=[rows["slot"].pk]),
            reverse("recipes:slot_leave", args=[rows["slot"].pk]),
            reverse("recipes:slot_off", args=[rows["slot"].pk]),
            reverse("recipes:board_due"),
            reverse("recipes:board_printed"),
            reverse("recipes:coffees"),
            reverse("recipes:coffee", args=[rows["coffee"].pk]),
            reverse("recipes:coffee_new"),
            reverse("recipes:batch_new", args=[rows["coffee"].pk]),
            reverse("recipes:equipment"),
            reverse("recipes:kettle_new"),
            reverse("recipes:kettle", args=[rows["kettle"].pk]),
            reverse("recipes:kettle_measure", args=[rows["kettle"].pk]),
            reverse("recipes:grinder", args=[rows["grinder"].pk]),
            reverse("recipes:water", args=[rows["water"].pk]),
            reverse("recipes:events"),
            reverse("recipes:event_new"),
            reverse("recipes:matches"),
            reverse("recipes:match_new"),
            reverse("calibration:instrument", args=[rows["refractometer"].pk]),
            reverse("calibration:check_new", args=[rows["refractometer"].pk]),
            reverse("calibration:band"),
            f"{reverse('calibration:report')}?span=running",
            reverse("crew:record"),
            *crew,
        ],
        "owner": [
            reverse("calibration:signals"),
            *board,
            *recipes,
            *charts,
            reverse("recipes:coffees"),
            reverse("recipes:equipment"),
            *crew,
            reverse("calibration:band"),
            f"{reverse('calibration:report')}?span=running",
            f"{reverse('calibration:report')}?span=custom&from=2026-03-05&to=2026-03-01",
            reverse("crew:company"),
            reverse("calibration:your_data"),
            reverse("crew:first_steps"),
            reverse("crew:cafe_new"),
            reverse("crew:cafe", args=[rows["cafe"].pk]),
            reverse("crew:account"),
            reverse("crew:held"),
            reverse("crew:role", args=membership),
            reverse("crew:further", args=membership),
            reverse("crew:join", args=[world.link_key]),
        ],
    }


@pytest.mark.parametrize("width", [WIDE, PHONE])
@pytest.mark.parametrize("role", ["station", "nobody", "barista", "head", "owner"])
def test_pages(
    role: str, width: int, open_page: Callable[..., Page], live: str, sign_in: Callable, axe: Callable
) -> None:
    world = World.build()
    page = open_page(width)
    if role == "station":
        page.context.add_cookies(
            [{"name": settings.TABLET_COOKIE_NAME, "value": world.tablet_key, "url": live}]
        )
    elif role != "nobody":
        sign_in(page, live, getattr(world, role))
    wrong = []
    for path in pages(world)[role]:
        page.goto(live + path)
        if page.locator("[data-figure]").count():
            page.wait_for_selector("[data-drawn]")
        try:
            axe(page)
        except AssertionError as found:
            wrong.append(str(found))
        for screen in (width,) if width == WIDE else (width, NARROW):
            page.set_viewport_size({"width": screen, "height": 800})
            if page.evaluate("document.documentElement.scrollWidth") > screen:
                wrong.append(f"{path} is wider than {screen} px")
        page.set_viewport_size({"width": width, "height": 800})
    assert not wrong, "\n".join(wrong)
