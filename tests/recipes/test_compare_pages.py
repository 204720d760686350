"""Two versions side by side: who may compare what, and how differences are told without colour."""

import pytest
from django.urls import reverse

from brewbar.crew.models import Role
from recipes import authoring, starting
from recipes.models import RecipeVersion
from recipes.side_by_side import plans_beside, versions_beside
from tests import factories as make

pytestmark = pytest.mark.django_db

COMPARE = "/versions/compare/"


@pytest.fixture
def cafe():
    return make.cafe()


@pytest.fixture
def head(cafe):
    return make.member(make.person(Role.HEAD, cafe))


@pytest.fixture
def a(cafe, head):
    made = make.version(make.recipe(cafe.company, by=head.user, name="House filter"), published=True)
    return RecipeVersion.objects.get(pk=made.pk)


@pytest.fixture
def b(head, a):
    """A draft with another temperature, a later second pour in the centre, and a third pour less."""
    draft = authoring.revise(head, a.recipe, "Hotter", "Sour")
    draft.water_temperature_C, draft.intended_cup = 95, "Plum"
    draft.save()
    draft.pours.filter(order=2).update(starts_at_s=45, pattern="centre", to_g=250)
    draft.pours.filter(order=3).delete()
    return RecipeVersion.objects.get(pk=draft.pk)


@pytest.fixture
def client(cafe):
    return make.signed_in(make.person(Role.BARISTA, cafe))


def said(rows):
    return {row.label: (row.a, row.b, row.said) for row in rows if row.said}


def test_the_differences_in_words(a, b):
    beside = versions_beside(a, b, make.member(make.person(Role.OWNER, company=a.recipe.company)))
    assert said(beside.facts) == {"Temperature": ("93 °C", "95 °C", "+2 °C")}
    assert said(beside.others) == {"What the cup should taste like": ("", "Plum", "only here")}
    assert said(beside.pours[1].rows) == {
        "Starts at": ("0:40", "0:45", "+5 s"),
        "Ends at": ("1:01", "1:26", "+25 s"),
        "To weight": ("150 g", "250 g", "+100 g"),
        "Adds": ("105 g", "205 g", "+100 g"),
        "Pattern": ("circle", "centre", "changed"),
    }
    assert [pour.only for pour in beside.pours] == ["", "", "a"]
    # Temperature, cup, three numbers of pour 2, and pour 3.
    assert beside.differences == 6


def test_what_is_shown_can_be_subtracted_by_hand(a):
    """11.25 s and 22.5 s show as 0:11 and 0:23, so they are 12 s apart on the page."""
    slow = make.version(a.recipe, pours=((0, 45, 4), (40, 250, 5)), number=9, published=True)
    double = make.version(a.recipe, pours=((0, 90, 4), (40, 250, 5)), number=10, published=True)
    rows = plans_beside(slow.plan(), double.plan()).pours[0].rows
    assert said(rows)["Ends at"] == ("0:11", "0:23", "+12 s")


def test_a_page_marks_differences_by_word_and_shape(client, a, b):
    html = client.get(COMPARE, {"a": a.pk, "b": b.pk}).content.decode()
    assert "6 differences" in html
    assert html.count("◆") > 6
    for word in ("+2 °C", "only here", "changed", "only in House filter, version 1", "1:16.7"):
        assert word in html
    assert "30 g is missing" not in html
    only = client.get(COMPARE, {"a": a.pk, "b": b.pk, "only": "on"}).content.decode()
    assert "Spout height" in html
    assert only.count("Spout height") < html.count("Spout height")


def test_both_sides_are_reviewed(client, a, b):
    b.pours.filter(order=2).update(to_g=220)
    html = client.get(COMPARE, {"a": a.pk, "b": b.pk}).content.decode()
    assert html.count("30 g is missing") == 1
    assert "Nothing to mend" in html


def test_one_version_beside_itself(client, a):
    assert "beside itself" in client.get(COMPARE, {"a": a.pk, "b": a.pk}).content.decode()


def test_two_recipes_of_one_company(cafe, client, a):
    other = make.version(make.recipe(cafe.company, name="Window"), published=True)
    answer = client.get(COMPARE, {"a": a.pk, "b": other.pk})
    assert answer.status_code == 200
    assert "Coffee" in {row.label for row in answer.context["beside"].others if row.said}


def test_without_two_versions_it_asks_for_them(client, a):
    for query in ({}, {"b": a.pk}, {"a": a.pk}, {"b": "x"}):
        answer = client.get(COMPARE, query)
        assert answer.status_code == 200
        assert "sides" not in answer.context
    for query in ({"a": a.pk, "b": ""}, {"a": a.pk, "b": "x"}, {"a": a.pk, "b": 987654321}):
        answer = client.get(COMPARE, query)
        assert answer.status_code == 422
        assert list(answer.context["form"].errors) == ["b"]


def test_another_companys_version_is_no_choice(client, a):
    theirs = make.version(make.recipe(make.company(), name="Secret blend"), published=True)
    answer = client.get(COMPARE, {"a": a.pk, "b": theirs.pk})
    assert answer.status_code == 422
    assert "Secret blend" not in answer.content.decode()


def test_a_version_leads_to_what_it_is_based_on_and_a_recipe_to_its_last_two(client, head, a, b):
    link = f"{COMPARE}?a={a.pk}&amp;b={b.pk}"
    assert link in client.get(reverse("recipes:version", args=[b.pk])).content.decode()
    assert link in client.get(reverse("recipes:recipe", args=[a.recipe_id])).content.decode()
    copied = starting.start_from(head, a, "Copied", a.recipe.coffee, factor=2)
    page = client.get(reverse("recipes:version", args=[copied.pk])).content.decode()
    assert f"{COMPARE}?a={a.pk}&amp;b={copied.pk}" in page
    assert f'{COMPARE}?b={a.pk}"' in client.get(reverse("recipes:version", args=[a.pk])).content.decode()


def test_queries_do_not_grow_with_versions(cafe, client, a, b, django_assert_max_num_queries):
    def ask():
        with django_assert_max_num_queries(18):
            client.get(COMPARE, {"a": a.pk, "b": b.pk})

    ask()
    for _ in range(5):
        make.version(make.recipe(cafe.company), published=True)
    ask()
