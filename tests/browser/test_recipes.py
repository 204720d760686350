"""Finding, scaling and comparing recipes in a browser: what follows the typing, and what works without scripts."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from brewbar.crew.models import Role
from recipes.models import RecipeVersion
from tests import factories as make


@pytest.fixture
def desk(live, sign_in, transactional_db):
    """Signs a head barista in and returns a published version: ``desk(page)``."""

    def desk(page):
        cafe = make.cafe()
        head = make.person(Role.HEAD, cafe)
        coffee = make.coffee(cafe.company, name="Hill", process="washed", roast_level="light")
        version = make.version(
            make.recipe(cafe.company, coffee, by=head, name="House filter"), published=True
        )
        make.version(make.recipe(cafe.company, by=head, name="Évening cup"), published=True)
        make.coffee(cafe.company, name="New lot", process="washed")
        sign_in(page, live, head)
        return version

    return desk


def test_the_list_follows_the_typing_and_the_address_keeps_it(desk, live, wide_page):
    desk(wide_page)
    wide_page.goto(live + reverse("recipes:recipes"))
    words = wide_page.get_by_label("Name, origin or process")
    words.press_sequentially("évening")
    expect(wide_page.get_by_role("status")).to_have_text("1 recipe")
    expect(wide_page.get_by_role("link", name="House filter")).to_have_count(0)
    expect(words).to_be_focused()
    wide_page.wait_for_url("**/recipes/?q=*")
    wide_page.reload()
    expect(words).to_have_value("évening")
    expect(wide_page.get_by_role("link", name="House filter")).to_have_count(0)


def test_a_dose_is_shown_at_once_and_a_name_of_ones_own_stays(desk, live, page):
    version = desk(page)
    page.goto(live + reverse("recipes:version_scale", args=[version.pk]))
    expect(page.get_by_label("Name")).to_have_value("House filter, two cups")
    dose = page.get_by_label("Dose")
    dose.fill("22")
    dose.press("Tab")
    expect(page.get_by_role("button", name="Begin the draft with 22 g")).to_be_visible()
    expect(page.get_by_label("Name")).to_have_value("House filter, 22 g")
    page.get_by_label("Name").fill("Large cup")
    dose.fill("x")
    dose.press("Enter")
    expect(page.locator("#id_dose_error")).to_contain_text("without a unit")
    expect(page.get_by_role("button", name="Begin the draft")).to_have_count(0)
    dose.fill("24")
    dose.press("Enter")
    page.get_by_role("button", name="Begin the draft with 24 g").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Version 1")
    draft = RecipeVersion.objects.get(recipe__name="Large cup")
    assert (draft.dose_g, draft.water_g) == (24, 400)


def test_the_coffees_like_it_follow_the_choice(desk, live, page):
    desk(page)
    page.goto(live + reverse("recipes:recipe_new"))
    page.get_by_label("Name").fill("Kept")
    page.get_by_label("Coffee", exact=True).select_option(label="New lot")
    expect(page.get_by_text("Hill: same process")).to_be_visible()
    expect(page.get_by_label("Name")).to_have_value("Kept")
    page.get_by_role("link", name="Start from it").click()
    expect(page.get_by_label("Name")).to_have_value("House filter, New lot")


def test_scaling_and_finding_work_without_scripts(desk, live, open_page):
    page = open_page(390, java_script_enabled=False)
    version = desk(page)
    page.goto(live + reverse("recipes:version_scale", args=[version.pk]))
    page.get_by_role("link", name="One cup instead of two").click()
    page.get_by_role("button", name="Begin the draft with 7.5 g").click()
    assert RecipeVersion.objects.get(recipe__name="House filter, one cup").water_g == 125
    page.goto(live + reverse("recipes:recipes"))
    page.get_by_label("State").select_option("draft")
    page.get_by_role("button", name="Show").click()
    expect(page.get_by_role("status")).to_have_text("1 recipe")


def test_two_versions_are_readable_on_a_narrow_phone(desk, live, open_page, axe):
    page = open_page(320)
    version = desk(page)
    draft = make.version(version.recipe, pours=((0, 50, 5), (45, 250, 4)), number=2, dose_g=16)
    page.goto(f"{live}{reverse('recipes:compare')}?a={version.pk}&b={draft.pk}")
    dose = page.get_by_role("row").filter(has_text="Dose")
    left, right = (dose.get_by_role("cell").nth(at).bounding_box() for at in (0, 1))
    assert left["y"] == right["y"]
    assert left["x"] + left["width"] <= right["x"]
    assert min(left["width"], right["width"]) > 120
    expect(dose).to_contain_text("+1 g")
    axe(page)
