"""How a recipe begins: empty, as a copy, or for another dose; and what its draft is told."""

from decimal import Decimal

import pytest

from brewbar.crew.models import Change, Role
from recipes import authoring, starting
from recipes.models import Pour, Recipe, RecipeVersion
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def cafe():
    return make.cafe()


@pytest.fixture
def head(cafe):
    return make.member(make.person(Role.HEAD, cafe))


@pytest.fixture
def version(cafe, head):
    made = make.version(
        make.recipe(cafe.company, by=head.user, name="House filter"),
        published=True,
        intended_cup="Plum",
        kettle=make.kettle(cafe),
        bypass_g=30,
    )
    return RecipeVersion.objects.get(pk=made.pk)


def test_a_copy_has_everything_its_author_wrote(cafe, head, version):
    coffee = make.coffee(cafe.company)
    draft = starting.start_from(head, version, "House filter, valley", coffee)
    draft = RecipeVersion.objects.get(pk=draft.pk)
    assert (draft.number, draft.is_draft, draft.based_on, draft.revision) == (1, True, None, 0)
    assert (draft.recipe.coffee, draft.recipe.started_from) == (coffee, version)
    assert (draft.recipe.company, draft.recipe.created_by) == (cafe.company, head.user)
    for name in authoring.COPIED:
        assert getattr(draft, name) == getattr(version, name), name
    for ours, theirs in zip(draft.pours.all(), version.pours.all(), strict=True):
        assert all(getattr(ours, name) == getattr(theirs, name) for name in authoring.POUR_COPIED)
    assert authoring.what_blocks(draft, ()) == []


def test_for_two_cups_the_masses_double_and_nothing_else(head, version):
    """15 g to 250 g becomes 30 g to 500 g. Pour 2 adds 210 g at 5 g/s from 0:40, so pour 3 waits until 1:22."""
    draft = starting.start_from(head, version, "For two", version.recipe.coffee, factor=2)
    draft = RecipeVersion.objects.get(pk=draft.pk)
    assert (draft.dose_g, draft.water_g, draft.bypass_g) == (30, 500, 60)
    kept = set(authoring.COPIED) - set(starting.SCALED)
    assert all(getattr(draft, name) == getattr(version, name) for name in kept)
    assert [(p.starts_at_s, p.to_g) for p in draft.pours.all()] == [(0, 90), (40, 300), (82, 500)]
    for ours, theirs in zip(draft.pours.all(), version.pours.all(), strict=True):
        kept = set(authoring.POUR_COPIED) - set(starting.POUR_SCALED)
        assert all(getattr(ours, name) == getattr(theirs, name) for name in kept)


def test_a_draft_may_be_copied_as_far_as_it_goes(cafe, head):
    begun = starting.create_recipe(head, "Begun", make.coffee(cafe.company))
    copy = starting.start_from(head, begun, "Copied", make.coffee(cafe.company), factor=2)
    assert (copy.dose_g, copy.water_g) == (None, None)
    assert [(pour.starts_at_s, pour.to_g) for pour in copy.pours.all()] == [(0, None)]


def test_a_taken_name_leaves_nothing_behind(head, version):
    before = (
        Recipe.objects.count(),
        RecipeVersion.objects.count(),
        Pour.objects.count(),
        Change.objects.count(),
    )
    with pytest.raises(authoring.NameTaken, match="House filter"):
        starting.start_from(head, version, "House filter", version.recipe.coffee, factor=2)
    after = (
        Recipe.objects.count(),
        RecipeVersion.objects.count(),
        Pour.objects.count(),
        Change.objects.count(),
    )
    assert after == before


def test_a_scaled_draft_is_told_what_does_not_scale_until_it_is_published(head, version):
    draft = starting.start_from(head, version, "For two", version.recipe.coffee, factor=2)
    (said,) = starting.unlike_where_it_began(draft, draft.plan())
    assert said.code == "time-not-scaled"
    copy = starting.start_from(head, version, "Copied", version.recipe.coffee)
    assert starting.unlike_where_it_began(copy, copy.plan()) == ()
    draft.published_at, draft.published_by = version.published_at, head.user
    draft.save()
    assert starting.unlike_where_it_began(draft, draft.plan()) == ()


def test_a_dose_above_the_brewers_largest_is_warned_of(cafe, head, version):
    brewer = make.brewer(cafe.company, largest_dose_g=Decimal("20.0"))
    plan = starting.start_from(head, version, "For two", version.recipe.coffee, factor=2).plan()
    codes = [finding.code for finding in authoring.findings_at(plan, None, cafe, brewer)]
    assert "dose-too-large" in codes
    assert "dose-too-large" not in [f.code for f in authoring.findings_at(version.plan(), None, cafe, brewer)]


@pytest.mark.parametrize(
    ("name", "dose", "said"),
    [
        ("House filter", 30.0, "House filter, two cups"),
        ("House filter, two cups", 7.5, "House filter, one cup"),
        ("House filter", 22.0, "House filter, 22 g"),
        ("x" * 60, 30.0, "x" * 50 + ", two cups"),
    ],
)
def test_names_for_other_cups(version, name, dose, said):
    assert starting.name_for_dose(Recipe(name=name), version.plan(), dose) == said
    assert len(said) <= 60


def test_names_for_another_coffee(cafe):
    old, new = make.coffee(cafe.company, name="Hill"), make.coffee(cafe.company, name="Valley")
    assert starting.name_for_coffee(Recipe(name="Hill, slow", coffee=old), new) == "Valley, slow"
    assert starting.name_for_coffee(Recipe(name="Window", coffee=old), new) == "Window, Valley"


def test_the_usual_dose_is_for_two_cups_where_there_was_one(version):
    assert starting.usual_dose_g(version.plan()) == 30
    version.dose_g, version.water_g = Decimal(30), Decimal(500)
    assert starting.usual_dose_g(version.plan()) == 15
    version.water_g = None
    assert starting.usual_dose_g(version.plan()) is None
