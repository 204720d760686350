"""Publishing in several cafés in a browser: for axe, on every width, and through to what the crew reads."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from tests import factories as make
from tests.recipes.test_everywhere import Two


@pytest.mark.parametrize("width", [320, 390, 1280])
def test_refused_then_published(width, open_page, live, sign_in, axe, transactional_db):
    two = Two()
    make.station(two.yard)
    make.batch(two.recipe.coffee)
    make.grinder(two.yard)
    make.kettle(two.yard)
    page = open_page(width)
    sign_in(page, live, two.head)
    page.goto(live + reverse("recipes:version_everywhere", args=[two.draft.pk]))
    axe(page)
    for cafe in ("Peak", "Quay", "Yard"):
        page.get_by_label(f"Publish it in {cafe}").check()
    page.get_by_role("button", name="Publish in the chosen cafés").click()
    expect(page.get_by_role("alert")).to_contain_text("Yard, Grind setting")
    axe(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    expect(page.get_by_label("Publish it in Peak")).to_be_checked()
    page.get_by_label("Grind setting").fill("8")
    page.get_by_role("button", name="Publish in the chosen cafés").click()
    expect(page.get_by_text("is live in")).to_be_visible()
    assert [two.versions(cafe) for cafe in (two.quay, two.peak, two.yard)] == [{two.draft}] * 3
