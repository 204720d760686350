"""What was changed of coffees and equipment stands in the record, and only with the change itself."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from brewbar.crew.models import Change, Role
from recipes import catalogue
from recipes.models import Kettle
from tests import factories as make

pytestmark = pytest.mark.django_db

KETTLE = {"name": "Grey", "flow_min_g_s": "2", "flow_max_g_s": "6", "capacity_g": "900"}


@pytest.fixture
def cafe():
    return make.cafe()


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe)


def changes(about=Change.About.EQUIPMENT):
    return list(Change.objects.filter(about=about).order_by("pk"))


def test_a_kettle_from_its_first_day_to_its_last(cafe, head):
    client = make.signed_in(head)
    client.post(reverse("recipes:kettle_new"), KETTLE)
    kettle = Kettle.objects.get()
    client.post(reverse("recipes:kettle", args=[kettle.pk]), KETTLE | {"name": "Blue", "flow_max_g_s": "6,5"})
    client.post(reverse("recipes:kettle", args=[kettle.pk]), KETTLE | {"name": "Blue", "flow_max_g_s": "6.5"})
    client.post(reverse("recipes:kettle_retire", args=[kettle.pk]))
    client.post(reverse("recipes:kettle_retire", args=[kettle.pk]), {"bring_back": "1"})
    added, changed, retired, back = changes()
    assert (added.what, added.subject, added.cafe, added.by) == ("added", "Grey", cafe, head)
    assert added.after == {
        "name": "Grey",
        "slowest steady flow": "2",
        "fastest steady flow": "6",
        "holds": "900",
    }
    assert changed.before == {"name": "Grey", "fastest steady flow": "6"}
    assert changed.after == {"name": "Blue", "fastest steady flow": "6.5"}
    assert [retired.what, back.what] == ["retired", "brought back"]
    assert len({change.row for change in changes()}) == 1


def test_what_was_refused_is_not_noted(cafe, head):
    make.kettle(cafe, name="Grey")
    twin = Kettle(cafe=cafe, name="Grey", flow_min_g_s=1, flow_max_g_s=5, capacity_g=900)
    with pytest.raises(catalogue.NameTaken):
        catalogue.save(twin, head)
    with pytest.raises(catalogue.OnABoard):
        catalogue.retire(make.planned_slot(cafe, by=head).kettle, head)
    assert not changes()


def test_what_the_company_shares_is_noted_for_all_its_cafes(cafe, head):
    brewer = make.brewer(cafe.company, largest_dose_g=Decimal("20.0"))
    brewer.largest_dose_g = Decimal("24.0")
    catalogue.save(brewer, head)
    change = changes()[0]
    assert (change.cafe, change.company) == (None, cafe.company)
    assert (change.before, change.after) == ({"largest dose": "20"}, {"largest dose": "24"})


def test_coffees_their_batches_and_the_names_of_recipes(cafe, head):
    coffee = make.coffee(cafe.company, name="Blue Pear")
    coffee.name = "Green Pear"
    catalogue.save(coffee, head)
    batch = make.batch(coffee, label="BP 7", roasted_on=date(2026, 3, 2))
    catalogue.mark(batch, "opened_on", date(2026, 3, 9), head)
    with pytest.raises(catalogue.NotDone):
        catalogue.mark(batch, "opened_on", date(2026, 3, 9) + timedelta(days=1), head)
    recipe = make.recipe(cafe.company, coffee, by=head, name="Old")
    recipe.name = "New"
    catalogue.save(recipe, head)
    of_coffee, of_batch = changes(Change.About.COFFEE)
    assert (of_coffee.before, of_coffee.after) == ({"name": "Blue Pear"}, {"name": "Green Pear"})
    assert (of_batch.what, of_batch.after) == ("opened", {"opened on": "2026-03-09"})
    (of_recipe,) = changes(Change.About.RECIPE)
    assert (of_recipe.before, of_recipe.after) == ({"name": "Old"}, {"name": "New"})
