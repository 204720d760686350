"""History is held by the database itself, on both engines."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from brewbar import frozen
from brewbar.crew.models import Change, Role
from brewbar.crew.record import note
from calibration.models import Drop, Reading
from recipes.models import Pour, RecipeVersion, Slot, SlotSetting
from tests import factories as make


@pytest.fixture
def slot(db) -> Slot:
    return make.live_slot(make.cafe())


@contextmanager
def refused(says: str) -> Iterator[None]:
    with pytest.raises(IntegrityError, match=says), transaction.atomic():
        yield


def test_every_trigger_stands_after_migration(db):
    assert frozen.existing(connection) == frozen.expected()


def test_triggers_are_dropped_and_made_anew(db):
    frozen.drop(connection)
    assert frozen.existing(connection) == []
    frozen.make(connection)
    assert frozen.existing(connection) == frozen.expected()


@pytest.mark.parametrize(
    "change",
    [{"dose_g": 16}, {"water_g": 260}, {"number": 9}, {"note": "x"}, {"published_at": None}, {"why": "x"}],
)
def test_a_published_version_cannot_change(slot, change):
    with refused("frozen"):
        RecipeVersion.objects.filter(pk=slot.version.pk).update(**change)


def test_an_unchanged_save_of_a_published_version_passes(slot):
    version = RecipeVersion.objects.get(pk=slot.version.pk)
    version.save()
    version.retire()
    assert RecipeVersion.objects.get(pk=version.pk).retired_at


def test_pours_of_a_published_version_cannot_change_come_or_go(slot):
    pour = slot.version.pours.first()
    with refused("frozen"):
        Pour.objects.filter(pk=pour.pk).update(to_g=50)
    with refused("frozen"):
        Pour.objects.create(version=slot.version, order=9)
    with pytest.raises(ValidationError, match="frozen"), transaction.atomic():
        slot.version.pours.all().delete()
    assert slot.version.pours.count() == 3


def test_a_draft_and_its_pours_stay_free(db):
    draft = make.version(make.recipe(make.company()))
    draft.pours.update(flow_g_s=4)
    draft.pours.all().delete()
    draft.dose_g = 18
    draft.save()
    assert draft.pours.count() == 0


def test_a_published_slot_keeps_what_it_was(slot):
    other = make.version(slot.version.recipe, published=True)
    with refused("frozen"):
        Slot.objects.filter(pk=slot.pk).update(version=other)
    with refused("frozen"):
        Slot.objects.filter(pk=slot.pk).update(published_at=None)
    Slot.objects.filter(pk=slot.pk).update(withdrawn_at=timezone.now(), withdrawn_by=slot.published_by)
    with refused("history"):
        Slot.objects.filter(pk=slot.pk).update(withdrawn_at=None)


def test_settings_are_only_added(slot):
    with refused("never changed"):
        SlotSetting.objects.filter(slot=slot).update(grind_setting="25")


@pytest.mark.parametrize(
    "change", [{"tds": 1}, {"brew_time_s": 1}, {"dose_g": 1}, {"business_day": "2026-01-01"}, {"taste": "x"}]
)
def test_a_reading_cannot_change(slot, change):
    reading = make.reading(slot, make.person(cafe=slot.board.cafe))
    with refused("never changed"):
        Reading.objects.filter(pk=reading.pk).update(**change)


def test_a_drop_cannot_change(slot):
    reading = make.reading(slot, make.person(cafe=slot.board.cafe))
    with refused("never changed"):
        Drop.objects.filter(reading=reading).update(tds=1)


def test_a_reading_is_voided_once_with_somebody_and_a_reason(slot):
    reading = make.reading(slot, make.person(cafe=slot.board.cafe))
    head = make.person(Role.HEAD, slot.board.cafe)
    with refused("reason"):
        Reading.objects.filter(pk=reading.pk).update(voided_at=timezone.now(), voided_by=head)
    Reading.objects.filter(pk=reading.pk).update(
        voided_at=timezone.now(), voided_by=head, void_reason="spilt"
    )
    with refused("stays voided"):
        Reading.objects.filter(pk=reading.pk).update(voided_at=None, voided_by=None, void_reason="")


def test_a_card_has_one_live_slot(slot):
    with refused("(?i)unique"):
        Slot.objects.create(
            board=slot.board,
            card=slot.card,
            version=slot.version,
            kettle=slot.kettle,
            planned_by=slot.planned_by,
            published_at=timezone.now(),
            published_by=slot.planned_by,
        )


@pytest.fixture
def change(db) -> Change:
    company = make.company()
    return note(company=company, about=Change.About.CREW, what="invited", subject="Ada", by=None)


def test_names_alone_may_go_from_the_record_and_only_inside(change):
    rows = Change.objects.filter(pk=change.pk)
    reading = make.reading(make.live_slot(make.cafe()), make.person())
    with frozen.names_lifted("crew_change"):
        rows.update(subject="Former barista 1", words="former barista 1")
        for other in (
            {"what": "x"},
            {"at": timezone.now()},
            {"about": "board"},
            {"through": "x"},
            {"row": "x"},
        ):
            with refused("only added to"):
                rows.update(**other)
        with refused("never changed"):
            Reading.objects.filter(pk=reading.pk).update(tds="1.00")
    with refused("only added to"):
        rows.update(subject="Ada")
    assert rows.get().subject == "Former barista 1"
    assert frozen.existing(connection) == frozen.expected()


def test_the_rule_comes_back_when_it_goes_wrong_half_way(change):
    def half_way() -> None:
        with transaction.atomic(), frozen.names_lifted("crew_change"):
            Change.objects.filter(pk=change.pk).update(subject="x")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        half_way()
    assert Change.objects.get(pk=change.pk).subject == "Ada"
    with refused("only added to"):
        Change.objects.filter(pk=change.pk).update(subject="x")
    assert frozen.existing(connection) == frozen.expected()


@pytest.mark.parametrize("table", ["calibration_reading", "recipes_slot", "crew_tablet"])
def test_other_tables_are_not_lifted(db, table):
    with pytest.raises(KeyError), frozen.names_lifted(table):
        pass


@pytest.mark.django_db(transaction=True)
def test_names_are_lifted_in_a_transaction_only():
    with pytest.raises(RuntimeError, match="transaction"), frozen.names_lifted("crew_change"):
        pass
    assert frozen.existing(connection) == frozen.expected()
