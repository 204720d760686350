"""Which coffee is most like a new one: reasons in words, and nothing where nothing is alike.

The weights are a choice of the house, so what is tested is their order and what is said, not a truth about coffee.
"""

from datetime import timedelta
from itertools import pairwise

import pytest
from django.utils import timezone

from brewbar.crew.models import Role
from recipes.likeness import most_alike, why_alike
from recipes.models import Coffee
from tests import factories as make

FACTS = {"origin": "Ethiopia", "process": "washed", "roast_level": "light", "density_g_l": 720}


@pytest.fixture
def cafe(db):
    return make.cafe()


@pytest.fixture
def member(cafe):
    return make.member(make.person(Role.HEAD, cafe))


@pytest.fixture
def new(cafe):
    return make.coffee(cafe.company, name="New lot", **FACTS)


def brewed(cafe, name, published=True, recipe=None, **facts):
    coffee = make.coffee(cafe.company, name=name, **facts)
    return make.version(make.recipe(cafe.company, coffee, **(recipe or {})), published=published)


def reasons(one, **other):
    return [reason for _points, reason in why_alike(Coffee(pk=1, **one), Coffee(pk=2, **other))]


@pytest.mark.parametrize(
    ("one", "other", "said"),
    [
        (FACTS, FACTS, ["same process", "same roast level", "same origin", "same density"]),
        ({"process": " Washed "}, {"process": "washed"}, ["same process"]),
        ({"process": "natural, long"}, {"process": "Natural"}, ["natural in both processes"]),
        ({"process": "washed"}, {"process": "natural"}, []),
        ({"roast_level": "light"}, {"roast_level": "medium-light"}, ["roasted one level darker"]),
        ({"roast_level": "dark"}, {"roast_level": "medium"}, ["roasted one level lighter"]),
        ({"roast_level": "light"}, {"roast_level": "dark"}, []),
        ({"origin": "Guji, Ethiopia"}, {"origin": "Ethiopia (Sidama)"}, ["Ethiopia in both origins"]),
        ({"origin": "Isle of Man"}, {"origin": "Gulf of Siam"}, []),
        ({"density_g_l": 700}, {"density_g_l": 720}, ["density 20 g/L apart"]),
        ({"density_g_l": 700}, {"density_g_l": 741}, []),
        ({}, {}, []),
        ({"process": "", "origin": ""}, {"process": "", "origin": ""}, []),
        (FACTS, {}, []),
    ],
)
def test_reasons_are_said_in_words(one, other, said):
    assert reasons(one, **other) == said


def test_the_most_alike_comes_first_and_three_are_enough(cafe, member, new):
    one_fact = brewed(cafe, "One fact", process="washed")
    all_facts = brewed(cafe, "All facts", **FACTS)
    two_facts = brewed(cafe, "Two facts", process="washed", roast_level="light")
    kin = brewed(cafe, "Kin", process="washed, long", origin="South Ethiopia", density_g_l=730)
    found = most_alike(member, new)
    assert [alike.version for alike in found] == [all_facts, two_facts, kin]
    assert all(a.points > b.points for a, b in pairwise(found))
    assert one_fact not in [alike.version for alike in found]


def test_nothing_alike_is_not_made_up(cafe, member, new):
    brewed(cafe, "Other", origin="Brazil", process="natural", roast_level="dark", density_g_l=600)
    brewed(cafe, "Hardly", origin="Ethiopia", process="natural", roast_level="dark", density_g_l=600)
    brewed(cafe, "Unknown")
    assert most_alike(member, new) == []


def test_what_was_never_brewed_is_no_place_to_start(cafe, member, new):
    brewed(cafe, "Only a draft", published=False, **FACTS)
    assert most_alike(member, new) == []


def test_each_coffee_once_by_what_was_published_last(cafe, member, new):
    first = brewed(cafe, "Twin", **FACTS)
    make.version(make.recipe(cafe.company, first.recipe.coffee), published=True)
    revised = make.version(first.recipe, published=True)
    assert [alike.version for alike in most_alike(member, new)] == [revised]


def test_last_years_lot_is_found_after_what_is_in_use(cafe, member, new):
    gone = timezone.now() - timedelta(days=200)
    retired = brewed(cafe, "Last year", recipe={"retired_at": gone}, retired_at=gone, **FACTS)
    in_use = brewed(cafe, "This year", **FACTS)
    found = most_alike(member, new)
    assert [(alike.version, alike.is_in_use) for alike in found] == [(in_use, True), (retired, False)]


def test_the_coffees_own_recipes_come_before_all(cafe, member, new):
    brewed(cafe, "Twin", **FACTS)
    own = make.version(make.recipe(cafe.company, new), published=True)
    first = most_alike(member, new)[0]
    assert (first.version, first.reasons) == (own, ("the same coffee",))


def test_another_companys_coffees_are_not_looked_at(member, new):
    brewed(make.cafe(), "Theirs", **FACTS)
    assert most_alike(member, new) == []
