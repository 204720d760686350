"""The list, the recipe and the version: who reads, who writes, and what belongs to whom."""

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from recipes import authoring, starting
from recipes.models import Recipe, RecipeVersion
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def cafe():
    return make.cafe(name="Harbour")


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe)


@pytest.fixture
def client(head):
    return make.signed_in(head)


@pytest.fixture
def published(cafe, head):
    return make.version(make.recipe(cafe.company, by=head, name="House filter"), published=True)


def read(client, page, *args, **query):
    answer = client.get(reverse(f"recipes:{page}", args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


def post(client, page, *args, **data):
    return client.post(reverse(f"recipes:{page}", args=args), data)


def test_the_list_says_what_is_published_drafted_and_live(cafe, head, client, published):
    make.live_slot(cafe, published, make.station(cafe, name="Window bar"), by=head)
    authoring.revise(make.member(head), published.recipe)
    html = read(client, "recipes")
    for said in (
        "House filter",
        published.recipe.coffee.name,
        "version 1",
        "draft of version 2",
        "Window bar",
    ):
        assert said in html


def test_the_list_is_searched_by_recipe_and_by_coffee(cafe, client, published):
    make.recipe(cafe.company, make.coffee(cafe.company, name="Valley natural"), name="Sweet one")
    assert "Sweet one" not in read(client, "recipes", q="house")
    assert "House filter" not in read(client, "recipes", q="VALLEY")
    assert "No recipe found" in read(client, "recipes", q="zzz")


def test_a_recipe_is_retired_and_brought_back(client, published):
    assert post(client, "recipe_retire", published.recipe_id).status_code == 302
    assert "is retired. Its versions and readings stay." in read(client, "recipe", published.recipe_id)
    assert "House filter" not in read(client, "recipes")
    assert "House filter" in read(client, "recipes", state="retired")
    assert "keeps it off the board" in read(client, "version", published.pk)
    post(client, "recipe_retire", published.recipe_id, bring_back="1")
    assert "House filter" in read(client, "recipes")


def test_a_recipe_on_a_board_is_not_retired(cafe, head, client, published):
    make.live_slot(cafe, published, by=head)
    answer = client.post(reverse("recipes:recipe_retire", args=[published.recipe_id]), follow=True)
    assert "is on the board, or planned for it" in answer.content.decode()


def test_a_new_recipe_leads_to_its_draft(cafe, client):
    coffee = make.coffee(cafe.company)
    answer = post(client, "recipe_new", name="  Window  filter ", coffee=coffee.pk)
    draft = RecipeVersion.objects.get()
    assert answer["Location"] == reverse("recipes:version_edit", args=[draft.pk])
    assert (draft.recipe.name, draft.recipe.company) == ("Window filter", cafe.company)


def test_a_new_recipe_is_refused_kindly(cafe, client, published):
    mine, theirs = make.coffee(cafe.company), make.coffee(make.company())
    out_of_use = make.coffee(cafe.company, retired_at=timezone.now())
    for name, coffee, field, said in (
        ("house FILTER", mine, "name", "already a recipe"),
        ("\N{SNOWMAN} filter", mine, "name", "cannot print"),
        ("Theirs", theirs, "coffee", "valid choice"),
        ("Old", out_of_use, "coffee", "valid choice"),
    ):
        answer = post(client, "recipe_new", name=name, coffee=coffee.pk)
        assert answer.status_code == 422
        assert said in str(answer.context["form"].errors[field])
        assert name in answer.content.decode()
    assert Recipe.objects.count() == 1


def test_without_a_coffee_the_way_leads_there_first(client):
    assert reverse("recipes:coffees") in read(client, "recipe_new")


def test_revising_asks_what_and_why_and_leads_to_the_draft(client, published):
    answer = post(client, "recipe_revise", published.recipe_id, what_changed="Hotter", why="Sour")
    draft = RecipeVersion.objects.get(number=2)
    assert answer["Location"] == reverse("recipes:version_edit", args=[draft.pk])
    assert (draft.what_changed, draft.why) == ("Hotter", "Sour")
    again = post(client, "recipe_revise", published.recipe_id)
    assert again["Location"] == reverse("recipes:version_edit", args=[draft.pk])
    assert RecipeVersion.objects.count() == 2
    html = read(client, "recipe", published.recipe_id)
    assert "Hotter" in html
    assert "Edit the draft of version 2" in html


def test_reasons_that_cannot_be_kept_are_shown_again(client, published):
    answer = post(client, "recipe_revise", published.recipe_id, what_changed="x" * 201, why="Sour")
    assert answer.status_code == 422
    assert "x" * 201 in answer.content.decode()
    assert RecipeVersion.objects.count() == 1


def test_a_version_says_what_blocks_it_or_leads_to_the_board(cafe, head, client, published):
    to_board = f"{reverse('recipes:board_plan')}?version="
    assert f"{to_board}{published.pk}" in read(client, "version", published.pk)
    draft = authoring.revise(make.member(head), published.recipe)
    html = read(client, "version", draft.pk)
    assert "Say what changed and why" in html
    assert to_board not in html
    draft.pours.filter(order=3).update(to_g=220)
    assert "30 g is missing" in read(client, "version", draft.pk)


def test_warnings_do_not_block(cafe, head, client, published):
    draft = authoring.revise(make.member(head), published.recipe, "Wall", "Rinse down")
    draft.pours.filter(order=3).update(pattern="wall")
    html = read(client, "version", draft.pk)
    assert "Warning:" in html
    assert "Put it on the board" in html


def test_a_draft_is_discarded(client, head, published):
    draft = authoring.revise(make.member(head), published.recipe)
    assert "Discard this draft" in read(client, "version", draft.pk)
    answer = post(client, "version_discard", draft.pk)
    assert answer["Location"] == reverse("recipes:recipe", args=[published.recipe_id])
    assert not RecipeVersion.objects.filter(pk=draft.pk).exists()
    first = starting.create_recipe(make.member(head), "Trial", published.recipe.coffee)
    assert post(client, "version_discard", first.pk)["Location"] == reverse("recipes:recipes")
    answer = client.post(reverse("recipes:version_discard", args=[published.pk]), follow=True)
    assert "A draft is discarded by the one who began it" in answer.content.decode()
    assert RecipeVersion.objects.filter(pk=published.pk).exists()


@pytest.mark.parametrize("role", [Role.BARISTA, Role.OWNER])
def test_baristas_and_owners_read_and_write_nothing(role, cafe, head, published):
    draft = authoring.revise(make.member(head), published.recipe)
    client = make.signed_in(make.person(role, cafe))
    for name, pk in (("recipe", published.recipe_id), ("version", published.pk), ("version", draft.pk)):
        html = read(client, name, pk)
        for word in ("Revise it", "Retire this", "Edit the draft", "Discard", "Put it on the board"):
            assert word not in html
    assert "New recipe" not in read(client, "recipes")
    assert client.get(reverse("recipes:version_edit", args=[draft.pk])).status_code == 403
    for name, pk in (
        ("recipe_revise", published.recipe_id),
        ("recipe_retire", published.recipe_id),
        ("version_edit", draft.pk),
        ("version_preview", draft.pk),
        ("version_discard", draft.pk),
    ):
        assert post(client, name, pk).status_code == 403


def test_another_company_finds_nothing(published):
    client = make.signed_in(make.person(Role.HEAD))
    assert "House filter" not in read(client, "recipes", state="retired")
    for name, pk in (
        ("recipe", published.recipe_id),
        ("version", published.pk),
        ("version_edit", published.pk),
    ):
        assert client.get(reverse(f"recipes:{name}", args=[pk])).status_code == 404
    for name, pk in (
        ("recipe_revise", published.recipe_id),
        ("recipe_retire", published.recipe_id),
        ("version_edit", published.pk),
        ("version_preview", published.pk),
        ("version_discard", published.pk),
    ):
        assert post(client, name, pk).status_code == 404


def test_another_cafe_of_the_company_shares_the_recipe_and_not_the_stations(cafe, head, published):
    make.live_slot(cafe, published, make.station(cafe, name="Window bar"), by=head)
    client = make.signed_in(make.person(Role.HEAD, make.cafe(cafe.company)))
    assert "House filter" in read(client, "recipes")
    for html in (read(client, "recipes"), read(client, "recipe", published.recipe_id)):
        assert "Window bar" not in html


def test_queries_do_not_grow_with_recipes_versions_or_stations(
    cafe, head, client, published, django_assert_num_queries
):
    def ask():
        for queries, name, args in (
            (8, "recipes", []),
            (9, "recipe", [published.recipe_id]),
            (11, "version", [published.pk]),
        ):
            with django_assert_num_queries(queries):
                read(client, name, *args)

    make.live_slot(cafe, published, by=head)
    ask()
    for _ in range(3):
        make.live_slot(cafe, published, by=head)
        make.live_slot(cafe, by=head)
    make.version(published.recipe, published=True, number=2, based_on=published)
    authoring.revise(make.member(head), published.recipe)
    ask()


def test_a_recipe_is_renamed_under_the_crews_eyes_and_keeps_its_code(db):
    slot = make.live_slot(make.cafe())
    head = make.signed_in(make.person(Role.HEAD, slot.board.cafe))
    path = reverse("recipes:recipe_rename", args=[slot.version.recipe.pk])
    taken = make.recipe(slot.board.cafe.company)
    for wrong in ("", taken.name.upper(), "☕"):
        refused = head.post(path, {"name": wrong})
        assert refused.status_code == 422
        assert wrong in refused.content.decode()
    head.post(path, {"name": " Morning  window "})
    before = slot.board.revision
    slot = type(slot).objects.for_card().get(pk=slot.pk)
    assert slot.card.recipe.name == "Morning window"
    assert slot.board.revision == before + 1
    assert head.get(reverse("calibration:code", args=[slot.card.code])).status_code == 200
