"""Drafting, revising, saving, discarding and retiring, and what the database itself keeps frozen."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from brewbar.crew.models import Role
from recipes import authoring, catalogue, starting
from recipes.models import InstrumentReach, Pour, Recipe, RecipeVersion
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def cafe():
    return make.cafe()


@pytest.fixture
def head(cafe):
    return make.member(make.person(Role.HEAD, cafe))


@pytest.fixture
def other(cafe):
    return make.member(make.person(Role.HEAD, cafe))


@pytest.fixture
def published(cafe, head):
    made = make.version(make.recipe(cafe.company, by=head.user), published=True, intended_cup="Plum")
    return RecipeVersion.objects.get(pk=made.pk)


def test_a_new_recipe_is_a_draft_with_an_open_bloom(cafe, head):
    draft = starting.create_recipe(head, "House filter", make.coffee(cafe.company))
    assert (draft.number, draft.is_draft, draft.dose_g, draft.water_g) == (1, True, None, None)
    assert [(pour.order, pour.starts_at_s, pour.to_g) for pour in draft.pours.all()] == [(1, 0, None)]
    draft.refresh_from_db()
    assert draft.tds_tolerance == Decimal("0.10")


def test_two_recipes_of_one_company_have_two_names(cafe, head):
    coffee = make.coffee(cafe.company)
    starting.create_recipe(head, "House filter", coffee)
    with pytest.raises(authoring.NameTaken, match="House filter"):
        starting.create_recipe(head, "House filter", coffee)
    assert Recipe.objects.count() == 1


def test_revising_copies_the_newest_published_version(head, published):
    draft = authoring.revise(head, published.recipe, "Hotter", "Sour")
    assert (draft.number, draft.based_on, draft.what_changed, draft.why) == (2, published, "Hotter", "Sour")
    for name in authoring.COPIED:
        assert getattr(draft, name) == getattr(published, name), name
    for ours, theirs in zip(draft.pours.all(), published.pours.all(), strict=True):
        assert all(getattr(ours, name) == getattr(theirs, name) for name in authoring.POUR_COPIED)
    assert (draft.is_draft, draft.revision, draft.created_by) == (True, 0, head.user)


def test_everything_an_author_writes_is_copied():
    """A field added to a version or a pour later must be thought of here."""
    kept = {"id", "recipe", "number", "based_on", "revision", "retired_at", "what_changed", "why"}
    stamps = {"created_at", "created_by", "edited_at", "edited_by", "published_at", "published_by"}
    fields = {field.name for field in RecipeVersion._meta.concrete_fields}
    assert fields == kept | stamps | set(authoring.COPIED)
    assert {f.name for f in Pour._meta.concrete_fields} == {"id", "version", *authoring.POUR_COPIED}


def test_a_recipe_has_one_draft_at_a_time(head, published):
    draft = authoring.revise(head, published.recipe)
    with pytest.raises(authoring.DraftExists) as refused:
        authoring.revise(head, published.recipe)
    assert refused.value.draft == draft
    with pytest.raises(IntegrityError), transaction.atomic():
        make.version(published.recipe)


def test_nothing_to_revise_and_out_of_use(cafe, head, published):
    with pytest.raises(authoring.NothingToRevise):
        authoring.revise(head, make.recipe(cafe.company))
    published.recipe.retire()
    with pytest.raises(authoring.Retired):
        authoring.revise(head, published.recipe)


def test_saving_replaces_the_pours_and_counts(head, published):
    draft = authoring.revise(head, published.recipe)
    draft.dose_g, draft.what_changed = Decimal("16.5"), "More coffee"
    authoring.save_draft(head, draft, [Pour(starts_at_s=0, to_g=60), Pour(starts_at_s=50, to_g=250)], seen=0)
    saved = RecipeVersion.objects.get(pk=draft.pk)
    assert (saved.dose_g, saved.what_changed, saved.revision) == (Decimal("16.5"), "More coffee", 1)
    assert (saved.edited_by, saved.number) == (head.user, 2)
    assert [(p.order, p.to_g) for p in saved.pours.all()] == [(1, Decimal(60)), (2, Decimal(250))]


def test_who_saves_second_is_told_who_saved_first(head, other, published):
    draft = authoring.revise(head, published.recipe)
    theirs, ours = (RecipeVersion.objects.get(pk=draft.pk) for _ in range(2))
    theirs.dose_g, ours.dose_g = Decimal(20), Decimal(10)
    authoring.save_draft(other, theirs, [Pour(to_g=40)], seen=0)
    with pytest.raises(authoring.Conflict) as refused:
        authoring.save_draft(head, ours, [], seen=0)
    assert (refused.value.by, refused.value.revision) == (other.user, 1)
    assert abs((timezone.now() - refused.value.at).total_seconds()) < 60
    saved = RecipeVersion.objects.get(pk=draft.pk)
    assert (saved.dose_g, saved.pours.count()) == (Decimal(20), 1)


def test_a_draft_published_meanwhile_is_not_saved(head, published):
    draft = authoring.revise(head, published.recipe)
    RecipeVersion.objects.filter(pk=draft.pk).update(published_at=timezone.now(), published_by=head.user)
    draft.dose_g = Decimal(20)
    with pytest.raises(authoring.Frozen):
        authoring.save_draft(head, draft, [], seen=0)
    assert draft.pours.count() == 3


def test_the_database_keeps_a_published_version_frozen(published):
    pour = published.pours.first()
    changes = (
        lambda: RecipeVersion.objects.filter(pk=published.pk).update(dose_g=16),
        lambda: RecipeVersion.objects.filter(pk=published.pk).update(published_at=None),
        lambda: Pour.objects.filter(pk=pour.pk).update(to_g=50),
        lambda: Pour.objects.create(version=published, order=9),
    )
    for change in changes:
        with pytest.raises(IntegrityError), transaction.atomic():
            change()
    with pytest.raises(ValidationError), transaction.atomic():
        published.pours.all().delete()
    published.retire()


def test_a_draft_is_discarded_by_its_author_until_a_board_plans_it(cafe, head, other, published):
    draft = authoring.revise(head, published.recipe)
    with pytest.raises(authoring.NotYours):
        authoring.discard(other, draft)
    slot = make.planned_slot(cafe, draft, by=head.user)
    with pytest.raises(authoring.NotYours):
        authoring.discard(head, draft)
    slot.delete()
    authoring.discard(head, draft)
    assert list(published.recipe.versions.all()) == [published]
    with pytest.raises(authoring.NotYours):
        authoring.discard(head, published)


def test_a_first_draft_takes_its_recipe_with_it_unless_a_card_was_made(cafe, head):
    coffee = make.coffee(cafe.company)
    gone, kept = (starting.create_recipe(head, name, coffee) for name in ("Gone", "Kept"))
    make.planned_slot(cafe, kept, by=head.user).delete()
    authoring.discard(head, gone)
    with pytest.raises(authoring.NotYours):
        authoring.discard(head, kept)
    assert [recipe.name for recipe in Recipe.objects.all()] == ["Kept"]


def test_a_recipe_on_a_board_stays_in_use(cafe, head, published):
    slot = make.live_slot(cafe, published, by=head.user)
    with pytest.raises(catalogue.OnABoard, match=cafe.name):
        catalogue.retire(published.recipe, head.user)
    slot.withdrawn_at = timezone.now()
    slot.save()
    catalogue.retire(published.recipe, head.user)
    published.recipe.refresh_from_db()
    assert published.recipe.retired_at


def test_a_plan_is_reviewed_where_it_is_brewed(head, published):
    """Kettle, altitude and the café's coarsest instrument: water boils at 90 °C at 3,000 m."""
    high = make.cafe(head.company, altitude_m=3000)
    slow = make.kettle(high, flow_min_g_s=1, flow_max_g_s=4)
    for name, reach in (("fine", 0.02), ("coarse", 0.5)):
        InstrumentReach.objects.create(cafe=high, name=name, relative_U_tds=reach)
    codes = [f.code for f in authoring.findings_at(published.plan(), slow, high)]
    assert codes == ["above-boiling", "tolerance-too-fine", "flow-range", "flow-range", "flow-range"]
    assert authoring.findings_at(published.plan(), None, head.cafe) == ()


def test_what_blocks_a_version(cafe, head, published):
    assert authoring.what_blocks(published, authoring.findings_at(published.plan(), None, cafe)) == []
    draft = authoring.revise(head, published.recipe, what_changed="Hotter")
    assert "why" in authoring.what_blocks(draft, ())[0]
    draft.why = "Sour"
    assert authoring.what_blocks(draft, ()) == []
    short = make.version(make.recipe(cafe.company), pours=((0, 40, 5), (40, 130, 5), (80, 220, 5)))
    (told,) = authoring.what_blocks(short, authoring.findings_at(short.plan(), None, cafe))
    assert "30 g is missing" in told
