"""The pages that begin a recipe: for other cups, for another coffee, from a coffee like it."""

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from recipes import starting
from recipes.models import Recipe, RecipeVersion
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def cafe():
    return make.cafe()


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe)


@pytest.fixture
def client(head):
    return make.signed_in(head)


@pytest.fixture
def version(cafe, head):
    coffee = make.coffee(cafe.company, name="Hill", process="washed", roast_level="light")
    return make.version(make.recipe(cafe.company, coffee, by=head, name="House filter"), published=True)


def at(page, version):
    return reverse(f"recipes:{page}", args=[version.pk])


def rows_of(answer):
    beside = answer.context["beside"]
    return {row.label: (row.a, row.b, row.said) for row in [*beside.facts, *beside.sums]}


def test_two_cups_are_shown_before_they_are_made(client, version):
    answer = client.get(at("version_scale", version))
    rows = rows_of(answer)
    assert rows["Dose"] == ("15 g", "30 g", "+15 g")
    assert rows["Brew water"] == ("250 g", "500 g", "+250 g")
    assert rows["Brew ratio"] == ("1:16.7", "1:16.7", "")
    assert rows["Brew time"] == ("2:45", "2:45", "")
    html = answer.content.decode()
    assert "Brew time and bed depth do not scale with the cups" in html
    assert "Pour 3 begins at 1:22 instead of 1:20" in html
    assert 'value="House filter, two cups"' in html
    assert Recipe.objects.count() == 1


def test_a_dose_of_ones_own_with_a_comma(client, version):
    answer = client.get(at("version_scale", version), {"dose": "22,5"})
    assert rows_of(answer)["Brew water"] == ("250 g", "375 g", "+125 g")
    assert 'value="House filter, 22.5 g"' in answer.content.decode()


def test_the_draft_is_begun_and_told_about_on_every_page(client, version):
    answer = client.post(at("version_scale", version), {"dose": "30", "name": " For  two "})
    draft = RecipeVersion.objects.get(recipe__name="For two")
    assert answer["Location"] == at("version_edit", draft)
    assert (draft.dose_g, draft.water_g, draft.recipe.started_from) == (30, 500, version)
    for path in (at("version", draft), at("version_edit", draft)):
        assert "This was written for 15 g" in client.get(path).content.decode()
    for path in (at("version", draft), reverse("recipes:recipe", args=[draft.recipe_id])):
        html = client.get(path).content.decode()
        assert "Began as a copy of" in html
        assert at("version", version) in html


@pytest.mark.parametrize(
    ("dose", "said"),
    [
        ("", "Enter the dose"),
        ("much", "Enter the number alone"),
        ("0", "At least 1"),
        ("0.5", "At least 1"),
        ("201", "At most 200"),
        ("22.55", "at most 1 decimals"),
        ("15", "That is the dose it has"),
        ("nan", "Enter the number alone"),
    ],
)
def test_a_dose_that_cannot_be_is_refused_beside_it_and_the_name_stays(client, version, dose, said):
    answer = client.post(at("version_scale", version), {"dose": dose, "name": "For two"})
    assert answer.status_code == 422
    assert said in str(answer.context["dose"].errors["dose"])
    assert 'value="For two"' in answer.content.decode()
    assert Recipe.objects.count() == 1


def test_more_water_than_a_recipe_holds_is_refused(cafe, client, head):
    """60 g to 3,600 g, asked for at 100 g, would be 6,000 g."""
    large = make.version(make.recipe(cafe.company, by=head), dose_g=60, water_g=3600, published=True)
    answer = client.post(at("version_scale", large), {"dose": "100", "name": "Larger"})
    assert answer.status_code == 422
    assert "than a recipe can hold" in str(answer.context["dose"].errors["dose"])


def test_pours_of_more_than_an_hour_are_refused(cafe, client, head):
    pours = ((0, 100, 0.1), (1000, 250, 5))
    slow = make.version(make.recipe(cafe.company, by=head), pours=pours, published=True)
    answer = client.get(at("version_scale", slow), {"dose": "100"})
    assert answer.status_code == 422
    assert "longer than an hour" in str(answer.context["dose"].errors["dose"])


def test_a_taken_or_unprintable_name_is_refused_beside_it(client, version):
    for name, said in (
        ("house FILTER", "already a recipe"),
        ("Two \N{SNOWMAN}", "cannot print"),
        ("", "required"),
    ):
        answer = client.post(at("version_scale", version), {"dose": "30", "name": name})
        assert answer.status_code == 422
        assert said in str(answer.context["form"].errors["name"])
        assert answer.context["beside"]
    assert Recipe.objects.count() == 1


def test_a_name_of_ones_own_stays_while_the_dose_changes(client, version):
    def named(**query):
        answer = client.get(at("version_scale", version), query, headers={"HX-Request": "true"})
        assert "<html" not in answer.content.decode()
        return answer.context["form"]["name"].value()

    assert named(dose="7.5", name="House filter, two cups", suggested="House filter, two cups") == (
        "House filter, one cup"
    )
    assert named(dose="7.5", name="Mine", suggested="House filter, two cups") == "Mine"


def test_what_has_no_dose_cannot_be_scaled(cafe, client, head):
    begun = starting.create_recipe(make.member(head), "Begun", make.coffee(cafe.company))
    assert client.get(at("version_scale", begun))["Location"] == at("version", begun)
    assert at("version_scale", begun) not in client.get(at("version", begun)).content.decode()
    assert at("version_copy", begun) in client.get(at("version", begun)).content.decode()


def test_a_copy_for_another_coffee(cafe, client, version):
    coffee = make.coffee(cafe.company, name="Valley")
    html = client.get(at("version_copy", version), {"coffee": coffee.pk}).content.decode()
    assert 'value="House filter, Valley"' in html
    answer = client.post(at("version_copy", version), {"coffee": coffee.pk, "name": "Valley filter"})
    draft = RecipeVersion.objects.get(recipe__name="Valley filter")
    assert answer["Location"] == at("version_edit", draft)
    assert (draft.recipe.coffee, draft.dose_g, draft.pours.count()) == (coffee, 15, 3)
    assert "do not scale" not in client.get(at("version", draft)).content.decode()


def test_a_copy_goes_to_no_coffee_that_is_not_ours_or_out_of_use(cafe, client, version):
    theirs = make.coffee(make.company(), name="Theirs")
    gone = make.coffee(cafe.company, name="Gone", retired_at=timezone.now())
    for coffee in (theirs, gone):
        answer = client.post(at("version_copy", version), {"coffee": coffee.pk, "name": "Copied"})
        assert answer.status_code == 422
        assert "valid choice" in str(answer.context["form"].errors["coffee"])
        html = client.get(at("version_copy", version), {"coffee": coffee.pk}).content.decode()
        assert coffee.name not in html
    assert not Recipe.objects.filter(name="Copied").exists()


def test_a_new_lot_starts_from_the_recipe_of_the_coffee_most_like_it(cafe, client, version):
    lot = make.coffee(cafe.company, name="New lot", process="Washed", roast_level="light")
    copy = f"{at('version_copy', version)}?coffee={lot.pk}"
    new = reverse("recipes:recipe_new")
    for path in (reverse("recipes:coffee", args=[lot.pk]), f"{new}?coffee={lot.pk}"):
        html = client.get(path).content.decode()
        assert "Hill: same process, same roast level" in html
        assert copy in html
    fragment = client.get(new, {"coffee": lot.pk}, headers={"HX-Request": "true"}).content.decode()
    assert copy in fragment
    assert "<form" not in fragment
    assert (
        "Start from"
        not in client.get(reverse("recipes:coffee", args=[version.recipe.coffee_id])).content.decode()
    )


def test_nothing_is_pretended_for_a_coffee_unlike_any(cafe, client, version):
    unlike = make.coffee(cafe.company, process="natural")
    unknown = make.coffee(cafe.company, name="Unknown")
    for coffee, said in ((unlike, "No recipe that was brewed here"), (unknown, "Nothing is written down")):
        for path in (
            reverse("recipes:coffee", args=[coffee.pk]),
            f"{reverse('recipes:recipe_new')}?coffee={coffee.pk}",
        ):
            html = client.get(path).content.decode()
            assert said in html
            assert "Start from it" not in html


@pytest.mark.parametrize("coffee", ["x", "-1", "9" * 30, "\N{SUPERSCRIPT TWO}", "987654321"])
def test_a_coffee_that_is_none_is_passed_over(client, version, coffee):
    assert client.get(reverse("recipes:recipe_new"), {"coffee": coffee}).status_code == 200


def test_another_company_finds_no_version_to_start_from(version):
    client = make.signed_in(make.person(Role.HEAD))
    for page in ("version_copy", "version_scale"):
        assert client.get(at(page, version)).status_code == 404
        assert client.post(at(page, version), {"dose": "30", "name": "Taken over"}).status_code == 404


@pytest.mark.parametrize("role", [Role.BARISTA, Role.OWNER])
def test_only_head_baristas_begin_recipes(role, cafe, version):
    client = make.signed_in(make.person(role, cafe))
    html = client.get(at("version", version)).content.decode()
    for page in ("version_copy", "version_scale"):
        assert client.get(at(page, version)).status_code == 403
        assert at(page, version) not in html
