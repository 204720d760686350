"""What the record of changes says about recipes, and that it is silent where nothing changed."""

from decimal import Decimal

import pytest
from django.urls import reverse

from brewbar.crew.models import Change, Role
from recipes import authoring, starting
from recipes.models import Pour, RecipeVersion
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def cafe():
    return make.cafe()


@pytest.fixture
def head(cafe):
    return make.member(make.person(Role.HEAD, cafe, name="Ada"))


@pytest.fixture
def version(cafe, head):
    made = make.version(make.recipe(cafe.company, by=head.user, name="House filter"), published=True)
    return RecipeVersion.objects.get(pk=made.pk)


def noted():
    return [(change.subject, change.what) for change in Change.objects.order_by("pk")]


def newest():
    change = Change.objects.latest("pk")
    assert (change.about, change.by_name, change.cafe) == (Change.About.RECIPE, "Ada", None)
    return change


def pour(starts_at_s, to_g, **more):
    fields = {"flow_g_s": 5, "spout_height_mm": 60}
    return Pour(starts_at_s=starts_at_s, to_g=to_g, **fields | more)


def test_a_recipe_that_begins_is_noted_with_where_it_came_from(cafe, head, version):
    coffee = make.coffee(cafe.company, name="Valley")
    starting.create_recipe(head, "New one", coffee)
    starting.start_from(head, version, "Copied", coffee)
    starting.start_from(head, version, "For two", coffee, factor=2)
    assert noted() == [
        ("New one", "begun"),
        ("Copied", "begun as a copy of House filter, version 1"),
        ("For two", "begun as House filter, version 1 for another dose"),
    ]
    assert newest().after == {"coffee": "Valley", "dose": "30", "brew water": "500"}


def test_a_revision_is_noted_with_its_reasons(head, version):
    authoring.revise(head, version.recipe, "Hotter", "Sour")
    change = newest()
    assert (change.what, change.subject) == ("version 2 begun, based on version 1", "House filter")
    assert change.after == {"what changed": "Hotter", "why": "Sour"}


def test_a_saved_draft_is_noted_once_with_what_differs_pour_by_pour(head, version):
    draft = authoring.revise(head, version.recipe)
    before = Change.objects.count()
    draft = RecipeVersion.objects.get(pk=draft.pk)
    draft.dose_g, draft.brew_time_s = Decimal("16.50"), 190
    pours = [pour(0, 45), pour(40, 160, after=Pour.After.SWIRL, temperature_C=90), pour(80, 250)]
    authoring.save_draft(head, draft, pours, seen=0)
    assert Change.objects.count() == before + 1
    change = newest()
    assert change.what == "draft of version 2 saved"
    assert change.before == {
        "dose": "15",
        "brew time": "2:45",
        "pour 2": "0:40 to 150 g, circle, 5 g/s, 60 mm",
    }
    assert change.after == {
        "dose": "16.5",
        "brew time": "3:10",
        "pour 2": "0:40 to 160 g, circle, 5 g/s, 60 mm, 90 °C, then swirl",
    }


def test_a_pour_taken_out_or_put_in_is_a_line_of_its_own(head, version):
    draft = authoring.revise(head, version.recipe)
    authoring.save_draft(head, RecipeVersion.objects.get(pk=draft.pk), [pour(0, 45), pour(40, 150)], seen=0)
    assert newest().before == {"pour 3": "1:20 to 250 g, circle, 5 g/s, 60 mm"}
    assert newest().after == {}


def test_saving_what_is_there_already_is_not_noted(head, version):
    draft = RecipeVersion.objects.get(pk=authoring.revise(head, version.recipe).pk)
    before = Change.objects.count()
    authoring.save_draft(head, draft, [pour(0, 45), pour(40, 150), pour(80, 250)], seen=0)
    assert Change.objects.count() == before


def test_a_save_that_came_too_late_is_not_noted(head, version):
    draft = RecipeVersion.objects.get(pk=authoring.revise(head, version.recipe).pk)
    before = Change.objects.count()
    draft.dose_g = Decimal(20)
    with pytest.raises(authoring.Conflict):
        authoring.save_draft(head, draft, [], seen=7)
    assert Change.objects.count() == before


def test_a_discarded_draft_leaves_its_plan_in_the_record(head, version):
    draft = authoring.revise(head, version.recipe, "Hotter", "Sour")
    authoring.discard(head, draft)
    change = newest()
    assert change.what == "draft of version 2 discarded"
    assert change.before["pour 1"] == "0:00 to 45 g, circle, 5 g/s, 60 mm"
    assert (change.before["why"], change.after) == ("Sour", {})


def test_renaming_retiring_and_bringing_back_are_noted(head, version):
    client, recipe = make.signed_in(head.user), version.recipe
    client.post(reverse("recipes:recipe_rename", args=[recipe.pk]), {"name": "Morning filter"})
    assert (newest().before, newest().after) == ({"name": "House filter"}, {"name": "Morning filter"})
    client.post(reverse("recipes:recipe_retire", args=[recipe.pk]))
    assert newest().what == "retired"
    client.post(reverse("recipes:recipe_retire", args=[recipe.pk]), {"bring_back": "1"})
    assert newest().what == "brought back"
