"""The list of recipes: found by words beyond English, by coffee, brewer and state; fifty to a page."""

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from recipes.search import folded
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def cafe():
    return make.cafe()


@pytest.fixture
def client(cafe):
    return make.signed_in(make.person(Role.BARISTA, cafe))


@pytest.fixture
def shelf(cafe):
    """Six recipes, one of each kind that can be looked for."""
    hill = make.coffee(cafe.company, name="Ñandú", origin="Perú, Cusco", process="Washed")
    valley = make.coffee(cafe.company, name="Valley", origin="Äthiopien", process="natural")
    cone, flat = (make.brewer(cafe.company, name=name) for name in ("Cone", "Flat"))

    def recipe(name, coffee, published=True, brewer=cone, **fields):
        made = make.recipe(cafe.company, coffee, name=name, **fields)
        return make.version(made, published=published, brewer=brewer)

    rows = {
        "live": recipe("Zebra", hill),
        "published": recipe("Accent é", hill),
        "flat": recipe("Flat one", valley, brewer=flat),
        "draft": recipe("Only begun", valley, published=False),
        "retired": recipe("Long gone", valley, retired_at=timezone.now()),
    }
    make.live_slot(cafe, rows["live"])
    return {"hill": hill, "valley": valley, "cone": cone, "flat": flat}


def found(client, **query):
    answer = client.get(reverse("recipes:recipes"), query)
    assert answer.status_code == 200
    return [one.recipe.name for one in answer.context["page"]]


def test_what_is_on_a_board_stands_first_and_then_the_names(client, shelf):
    assert found(client) == ["Zebra", "Accent é", "Flat one", "Only begun"]


@pytest.mark.parametrize(
    ("words", "names"),
    [
        ("zebra", ["Zebra"]),
        ("ÑANDÚ", ["Zebra", "Accent é"]),
        ("nandu", ["Zebra", "Accent é"]),
        ("ACCENT É", ["Accent é"]),
        ("äthiopien NATURAL", ["Flat one", "Only begun"]),
        ("washed peru", ["Zebra", "Accent é"]),
        ("washed natural", []),
        ("%", []),
        ("   ", ["Zebra", "Accent é", "Flat one", "Only begun"]),
    ],
)
def test_words_are_found_in_name_coffee_origin_and_process(client, shelf, words, names):
    assert found(client, q=words) == names


@pytest.mark.parametrize(
    ("state", "names"),
    [
        ("live", ["Zebra"]),
        ("published", ["Zebra", "Accent é", "Flat one"]),
        ("draft", ["Only begun"]),
        ("retired", ["Long gone"]),
        ("all", ["Zebra", "Accent é", "Flat one", "Long gone", "Only begun"]),
    ],
)
def test_states(client, shelf, state, names):
    assert found(client, state=state) == names


def test_coffee_brewer_and_words_together(client, shelf):
    assert found(client, coffee=shelf["valley"].pk) == ["Flat one", "Only begun"]
    assert found(client, brewer=shelf["flat"].pk) == ["Flat one"]
    assert found(client, coffee=shelf["valley"].pk, brewer=shelf["cone"].pk, state="all") == [
        "Long gone",
        "Only begun",
    ]
    assert found(client, coffee=shelf["hill"].pk, q="accent") == ["Accent é"]


def test_nothing_found_says_so_and_leads_out(client, shelf):
    html = client.get(reverse("recipes:recipes"), {"q": "nowhere"}).content.decode()
    assert "0 recipes" in html
    assert "No recipe found" in html
    assert f'href="{reverse("recipes:recipes")}"' in html
    assert "nowhere" in html


def test_nothing_there_at_all_offers_no_search(client):
    html = client.get(reverse("recipes:recipes")).content.decode()
    assert "No recipes yet" in html
    assert 'role="search"' not in html


@pytest.mark.parametrize("wrong", [{"coffee": "x"}, {"state": "gone"}, {"q": "x" * 101}])
def test_what_cannot_be_looked_for_is_said_beside_the_field(client, shelf, wrong):
    answer = client.get(reverse("recipes:recipes"), wrong)
    assert answer.status_code == 422
    (name,) = answer.context["form"].errors
    assert [name] == list(wrong)


def test_another_companys_coffee_and_brewer_are_no_choice(client, shelf):
    other = make.company()
    for field, row in (("coffee", make.coffee(other)), ("brewer", make.brewer(other))):
        answer = client.get(reverse("recipes:recipes"), {field: row.pk})
        assert answer.status_code == 422
        assert row.name not in answer.content.decode()


def test_fifty_to_a_page_and_the_filter_stays(cafe, client):
    coffee = make.coffee(cafe.company)
    for number in range(51):
        make.recipe(cafe.company, coffee, name=f"Number {number:02}")
    assert found(client)[-1] == "Number 49"
    assert found(client, page=2, q="number") == ["Number 50"]
    html = client.get(reverse("recipes:recipes"), {"q": "number"}).content.decode()
    assert "51 recipes" in html
    assert "q=number&amp;page=2" in html
    assert "Older" not in html


def test_htmx_gets_the_list_alone_with_its_count(client, shelf):
    answer = client.get(reverse("recipes:recipes"), {"q": "zebra"}, headers={"HX-Request": "true"})
    html = answer.content.decode()
    assert "<html" not in html
    assert 'id="found-count" hx-swap-oob="true">1 recipe\n' in html


def test_folding():
    assert folded("Ñandú STRASSE ßΣ") == folded("nandu strasse ssς")
