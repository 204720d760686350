"""The editor in a browser: what is computed follows the typing, and neither focus nor words are lost."""

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from brewbar.crew.models import Role
from recipes.models import RecipeVersion
from tests import factories as make

DONE = "Nothing to mend"


@pytest.fixture
def desk(live, sign_in, transactional_db):
    """Opens the editor of a new draft: ``desk(page)``, with more fields of the version if need be."""

    def desk(page, **fields):
        cafe = make.cafe()
        head = make.person(Role.HEAD, cafe)
        draft = make.version(make.recipe(cafe.company, by=head), **fields)
        sign_in(page, live, head)
        page.goto(live + reverse("recipes:version_edit", args=[draft.pk]))
        return draft

    return desk


def weight(page, number):
    return page.get_by_role("group", name=f"Pour {number}").get_by_label("To weight")


def test_sums_and_findings_follow_the_typing(desk, wide_page):
    desk(wide_page)
    expect(wide_page.get_by_role("status")).to_have_text(DONE)
    last = weight(wide_page, 3)
    last.fill("")
    last.press_sequentially("220")
    expect(wide_page.locator("#pour-3-says")).to_contain_text("30 g is missing")
    expect(wide_page.locator("#pour-3-says")).to_contain_text("+70 g")
    expect(wide_page.get_by_role("status")).to_have_text("1 error")
    expect(wide_page.locator("#brief")).to_contain_text("220 of 250 g")
    expect(last).to_be_focused()
    expect(last).to_have_value("220")
    expect(last).to_have_accessible_description(
        "Error: The pours end at 220 g but the recipe's brew water is 250 g: "
        "30 g is missing. Raise the last pour to 250 g, or change the brew water to 220 g."
    )
    last.press_sequentially("x")
    expect(wide_page.locator("#pour-3-says")).to_contain_text("without a unit")
    last.fill("250")
    expect(wide_page.get_by_role("status")).to_have_text(DONE)


def test_the_drawing_follows_the_typing(desk, wide_page):
    desk(wide_page)
    drawing = wide_page.get_by_role("img", name="Water against time")
    wide_page.get_by_role("group", name="Pour 2").get_by_label("Starts at").fill("0:50")
    expect(drawing).to_have_accessible_name(
        "Water against time. 0:00 to 0:09: up to 45 g; 0:50 to 1:11: "
        "up to 150 g; 1:20 to 1:40: up to 250 g; brew time 2:45."
    )


def test_pours_are_added_moved_copied_and_deleted_by_keyboard(desk, wide_page):
    draft = desk(wide_page)
    weight(wide_page, 1).fill("55")
    wide_page.get_by_role("button", name="Down pour 1").press("Enter")
    expect(weight(wide_page, 2)).to_have_value("55")
    expect(wide_page.get_by_role("button", name="Down pour 2")).to_be_focused()
    wide_page.get_by_role("button", name="Up pour 2").press("Enter")
    expect(weight(wide_page, 1)).to_have_value("55")
    expect(wide_page.get_by_role("group", name="Pour 1")).to_be_focused()
    wide_page.get_by_role("button", name="Copy pour 1").press("Enter")
    expect(wide_page.get_by_role("group", name="Pour 4")).to_be_visible()
    expect(weight(wide_page, 2)).to_have_value("55")
    wide_page.get_by_role("button", name="Delete pour 2").press("Enter")
    expect(wide_page.get_by_role("group", name="Pour 4")).to_have_count(0)
    wide_page.get_by_role("button", name="Add a pour").press("Enter")
    expect(wide_page.get_by_role("group", name="Pour 4").get_by_label("Starts at")).to_be_focused()
    wide_page.get_by_role("button", name="Delete pour 4").press("Enter")
    wide_page.get_by_role("button", name="Save draft").click()
    expect(wide_page.get_by_text("The draft is saved.")).to_be_visible()
    assert [float(pour.to_g) for pour in draft.pours.all()] == [55, 150, 250]


def test_clicks_and_typing_keep_their_order_on_a_slow_line(desk, wide_page):
    """Answers are held back: each still finds the page as it was asked for, and no click is lost."""
    desk(wide_page)
    wide_page.route("**/preview/", lambda route: (wide_page.wait_for_timeout(400), route.continue_()))
    weight(wide_page, 1).fill("50")
    wide_page.wait_for_timeout(350)
    wide_page.get_by_role("button", name="Add a pour").click()
    expect(wide_page.get_by_role("group", name="Pour 4")).to_be_visible()
    expect(weight(wide_page, 1)).to_have_value("50")
    expect(wide_page.locator("#pour-1-says")).to_contain_text("+50 g")
    expect(wide_page.get_by_role("status")).to_contain_text("2 still open")


def test_saving_waits_for_a_pour_that_is_on_its_way(desk, wide_page):
    draft = desk(wide_page)
    wide_page.route("**/edit/", lambda route: (wide_page.wait_for_timeout(300), route.continue_()))
    wide_page.get_by_role("button", name="Delete pour 3").press("Enter")
    wide_page.get_by_role("button", name="Save draft").press("Enter")
    expect(wide_page.get_by_text("The draft is saved.")).to_be_visible()
    assert draft.pours.count() == 2


def test_a_field_that_was_refused_loses_its_error_once_mended(desk, wide_page):
    desk(wide_page)
    dose = wide_page.get_by_label("Dose")
    dose.fill("sixteen")
    wide_page.get_by_role("button", name="Save draft").click()
    expect(dose).to_have_accessible_description(re.compile("^Error: Enter the number alone"))
    dose.fill("15")
    expect(dose).to_have_accessible_description("")
    expect(dose).not_to_have_attribute("aria-invalid", "true")
    expect(wide_page.get_by_role("status")).to_have_text(DONE)


def test_enter_in_a_field_saves(desk, wide_page):
    draft = desk(wide_page)
    wide_page.get_by_label("Dose").fill("16")
    wide_page.get_by_label("Dose").press("Enter")
    expect(wide_page.get_by_text("The draft is saved.")).to_be_visible()
    assert RecipeVersion.objects.get(pk=draft.pk).dose_g == 16


def test_leaving_with_something_unsaved_asks_first(desk, wide_page):
    desk(wide_page)
    asked = []
    wide_page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    wide_page.get_by_label("Dose").press_sequentially("5")
    wide_page.evaluate("window.location.assign('/recipes/')")
    wide_page.wait_for_timeout(300)
    assert asked == ["beforeunload"]
    expect(wide_page.get_by_label("Dose")).to_have_value("515")


def test_on_a_phone_and_without_javascript(desk, open_page, axe):
    page = open_page(390, 844, java_script_enabled=False)
    draft = desk(page, dose_g=None, water_g=None, pours=((0, None, None),))
    page.get_by_role("button", name="Fill in a usual trial").click()
    expect(weight(page, 3)).to_have_value("250")
    page.get_by_role("button", name="Copy pour 3").click()
    expect(page.get_by_role("group", name="Pour 4")).to_be_focused()
    page.get_by_role("button", name="Delete pour 4").click()
    page.get_by_role("button", name="Save draft").click()
    expect(page.get_by_text("The draft is saved.")).to_be_visible()
    assert draft.pours.count() == 3


@pytest.mark.parametrize("width", [320, 390, 768, 1280])
def test_every_width_shows_it_all(desk, open_page, axe, width):
    page = open_page(width)
    desk(page, pours=((0, 40, 12), (3, 130, 5), (80, 130, None)), note="Low")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    small = page.eval_on_selector_all(
        "#editor :is(button, select, input:not([type=hidden], [type=checkbox]))",
        "all => all.map(e => e.getBoundingClientRect()).filter(r => r.height < 44 || r.width < 40).length",
    )
    assert small == 0
    axe(page)


def test_what_the_stream_does_follows_the_typing_and_what_is_unfolded_stays_so(desk, wide_page):
    desk(wide_page)
    says = wide_page.locator("#pour-2-says")
    expect(says).to_contain_text("The stream breaks above about")
    wide_page.get_by_text("Figures of pour 2").click()
    figures = wide_page.locator("#pour-2-figures")
    expect(figures).to_contain_text("Reynolds number")
    before = figures.inner_text()
    wide_page.get_by_text("The curves as a table").click()
    flow = wide_page.get_by_role("group", name="Pour 2").get_by_label("Flow")
    flow.fill("7")
    expect(figures).not_to_have_text(before)
    expect(figures).to_be_visible()
    expect(figures).to_contain_text("turbulent")
    expect(wide_page.locator("#moments table")).to_be_visible()
    expect(flow).to_be_focused()
    wide_page.get_by_role("group", name="Pour 2").get_by_label("Pattern").select_option("wall")
    expect(says).to_contain_text("none claimed: it runs down the paper")


def test_curves_stand_on_the_axis_of_the_drawing(desk, wide_page):
    """A line of the same time has the same place in all of them."""
    desk(wide_page)
    drawings = wide_page.locator("#sums svg.timeline")
    expect(drawings).to_have_count(3)
    ticks = [
        [
            round(float(x))
            for x in drawing.locator("line.timeline-axis").evaluate_all(
                "all => all.map(one => one.getBoundingClientRect().x)"
            )
        ]
        for drawing in drawings.all()
    ]
    assert ticks[0] == ticks[1] == ticks[2]
    assert len(ticks[0]) > 2
