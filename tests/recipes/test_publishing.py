"""Planning, publishing and moving what is live: all at once, frozen afterwards, and in the café alone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from recipes import publishing, readiness, turns
from recipes.brewing.plan import Severity
from recipes.models import CardCode, Slot, SlotSetting
from tests import factories as make

NOW = datetime(2026, 11, 25, 6, 30, tzinfo=UTC)
LATER = NOW + timedelta(hours=3)


class Bar:
    """A café about to open, with what one slot needs."""

    def __init__(self) -> None:
        self.cafe = make.cafe()
        self.board = turns.board_of(self.cafe)
        self.head = make.person("head", self.cafe)
        self.station = make.station(self.cafe)
        self.recipe = make.recipe(self.cafe.company, by=self.head)
        self.draft = make.version(self.recipe)
        self.batch = make.batch(self.recipe.coffee)
        self.grinder = make.grinder(self.cafe)
        self.kettle = make.kettle(self.cafe)

    def plan(self, version: Any = None, **fields: Any) -> Slot:
        version = version or self.draft
        given = {
            "station": self.station,
            "version": version,
            "roast_batch": self.batch if version.recipe == self.recipe else make.batch(version.recipe.coffee),
            "grinder": self.grinder,
            "grind_setting": "24",
            "kettle": self.kettle,
            "by": self.head,
            "now": NOW,
        }
        return publishing.plan_slot(self.board, **given | fields)

    def publish(self, now: datetime = NOW, **fields: Any) -> None:
        publishing.publish(self.board, self.head, now, **fields)

    def live(self) -> list[Slot]:
        return list(self.board.slots.live().for_card())

    def revision(self) -> int:
        self.board.refresh_from_db()
        return self.board.revision


@pytest.fixture
def bar(db) -> Bar:
    return Bar()


def broken(recipe: Any, **fields: Any) -> Any:
    """40 + 90 + 90 g against 250 g of brew water."""
    return make.version(recipe, pours=((0, 40, 5), (40, 130, 5), (80, 220, 5)), **fields)


def test_a_plan_is_seen_by_nobody_until_it_is_published(bar):
    slot = bar.plan()
    assert bar.live() == []
    assert bar.revision() == 0
    bar.publish()
    assert bar.live() == [slot]
    assert bar.revision() == 1
    slot.refresh_from_db()
    bar.draft.refresh_from_db()
    assert (slot.published_at, slot.published_by) == (NOW, bar.head)
    assert (bar.draft.published_at, bar.draft.published_by) == (NOW, bar.head)
    assert (bar.board.published_at, bar.board.published_by) == (NOW, bar.head)


def test_publishing_freezes_the_version_its_pours_and_the_slot(bar):
    slot = bar.plan()
    bar.publish()
    slot, pour = bar.live()[0], bar.draft.pours.first()
    for row, name, value in (
        (slot.version, "dose_g", 16),
        (pour, "to_g", 46),
        (slot, "kettle", make.kettle(bar.cafe)),
        (slot.setting, "grind_setting", "25"),
    ):
        setattr(row, name, value)
        with pytest.raises(IntegrityError), transaction.atomic():
            row.save()


def test_planning_again_replaces_what_was_planned_for_the_same_station_and_recipe(bar):
    first = bar.plan()
    second = bar.plan(grind_setting="22")
    assert list(bar.board.slots.planned()) == [second]
    assert not SlotSetting.objects.filter(slot_id=first.pk).exists()
    assert first.card == second.card


def test_a_station_holds_several_recipes(bar):
    bar.plan()
    bar.plan(make.version(make.recipe(bar.cafe.company, by=bar.head)))
    bar.publish()
    assert [slot.card.station for slot in bar.live()] == [bar.station] * 2


def test_publishing_replaces_takes_off_and_leaves_alone(bar):
    old, leaving, staying = (
        make.live_slot(bar.cafe, by=bar.head, at=NOW - timedelta(days=1)) for _ in range(3)
    )
    new = make.version(old.version.recipe, based_on=old.version, what_changed="finer", why="was sour")
    bar.plan(new, station=old.station)
    publishing.mark_leaving(leaving, "sold out", NOW)
    bar.publish()
    for slot in (old, leaving, staying):
        slot.refresh_from_db()
    assert (old.withdrawn_at, old.withdrawn_why) == (NOW, "Replaced by version 2.")
    assert (leaving.withdrawn_at, leaving.withdrawn_by, leaving.withdrawn_why) == (NOW, bar.head, "sold out")
    assert staying.withdrawn_at is None
    assert {slot.version for slot in bar.live()} == {new, staying.version}


def test_what_was_to_leave_can_stay_after_all(bar):
    slot = make.live_slot(bar.cafe)
    publishing.mark_leaving(slot, "sold out", NOW)
    publishing.keep(slot, NOW)
    with pytest.raises(turns.Refused, match="nothing to publish"):
        bar.publish()
    slot.refresh_from_db()
    assert (slot.leaving, slot.withdrawn_why) == (False, "")


def test_one_slot_that_is_not_ready_leaves_nothing_half_published(bar):
    live = make.live_slot(bar.cafe)
    publishing.mark_leaving(live, "sold out", NOW)
    good = bar.plan()
    bad = bar.plan(broken(make.recipe(bar.cafe.company, by=bar.head)), station=make.station(bar.cafe))
    before = bar.revision()
    with pytest.raises(readiness.NotReady) as refused:
        bar.publish()
    assert list(refused.value.errors) == [bad]
    assert any("30 g" in finding.what for finding in refused.value.errors[bad])
    assert bar.live() == [live]
    assert bar.revision() == before
    good.refresh_from_db()
    bar.draft.refresh_from_db()
    assert good.published_at is None
    assert bar.draft.is_draft


def test_a_database_that_fails_half_way_leaves_nothing_half_published(bar, monkeypatch):
    old = make.live_slot(bar.cafe, at=NOW - timedelta(days=1))
    bar.plan(old.version, station=old.station)
    bar.plan()

    def fails(*args: Any) -> None:
        raise IntegrityError("invented")

    monkeypatch.setattr(publishing, "take_off", fails)
    with pytest.raises(IntegrityError):
        bar.publish()
    bar.draft.refresh_from_db()
    assert bar.draft.is_draft
    assert bar.live() == [old]
    assert bar.revision() == 0


def test_a_revision_has_to_say_what_changed_and_why(bar):
    slot = make.live_slot(bar.cafe)
    bar.plan(
        make.version(slot.version.recipe, based_on=slot.version, what_changed="finer"), station=slot.station
    )
    with pytest.raises(readiness.NotReady) as refused:
        bar.publish()
    [(error,)] = refused.value.errors.values()
    assert "what changed and why" in error.what


def test_errors_are_those_of_the_slots_own_kettle(bar):
    """250 g of brew water do not fit a kettle that holds 200 g."""
    bar.plan(kettle=make.kettle(bar.cafe, capacity_g=200))
    with pytest.raises(readiness.NotReady):
        bar.publish()
    bar.plan(kettle=make.kettle(bar.cafe, capacity_g=900))
    bar.publish()


def test_warnings_are_those_of_the_cafes_own_altitude(bar):
    """Water boils at 93.3 °C at 2000 m (US Standard Atmosphere 1976), below the 95 °C of this plan."""
    slot = bar.plan(make.version(make.recipe(bar.cafe.company), water_temperature_C=95))
    assert readiness.findings(slot) == ()
    bar.cafe.altitude_m = 2000
    bar.cafe.save()
    [finding] = readiness.findings(Slot.objects.get(pk=slot.pk))
    assert finding.severity is Severity.WARNING
    bar.publish()


@pytest.mark.parametrize("row", ["version", "recipe", "coffee", "batch", "station", "kettle", "grinder"])
def test_what_was_taken_out_of_use_meanwhile_is_not_published(bar, row):
    slot = bar.plan()
    {
        "version": slot.version,
        "recipe": slot.version.recipe,
        "coffee": slot.version.recipe.coffee,
        "batch": slot.setting.roast_batch,
        "station": bar.station,
        "kettle": slot.kettle,
        "grinder": slot.setting.grinder,
    }[row].retire()
    with pytest.raises(readiness.NotReady):
        bar.publish()


def test_a_batch_that_was_used_up_meanwhile_is_not_published(bar):
    bar.plan()
    bar.batch.used_up_on = NOW.date()
    bar.batch.save()
    with pytest.raises(readiness.NotReady):
        bar.publish()


def test_the_second_of_two_who_publish_sees_that_the_first_was_quicker(bar):
    bar.plan()
    mark = publishing.plan_mark(bar.board)
    bar.publish(seen=mark)
    late = bar.plan(make.version(make.recipe(bar.cafe.company)))
    with pytest.raises(turns.Moved):
        bar.publish(seen=mark)
    assert list(bar.board.slots.planned()) == [late]


def test_a_draft_edited_after_it_was_looked_at_is_not_published_unseen(bar):
    bar.plan()
    mark = publishing.plan_mark(bar.board)
    bar.draft.revision += 1
    bar.draft.save()
    with pytest.raises(turns.Moved):
        bar.publish(seen=mark)
    assert bar.live() == []


def test_a_planned_slot_can_be_dropped_until_it_is_live(bar):
    slot = bar.plan()
    publishing.drop_planned(slot, NOW)
    assert not Slot.objects.exists()
    assert not SlotSetting.objects.exists()
    again = bar.plan()
    bar.publish()
    with pytest.raises(turns.Refused):
        publishing.drop_planned(again, NOW)
    assert bar.live() == [again]


@pytest.mark.parametrize(
    ("strange", "of_same_company"),
    [("station", True), ("grinder", True), ("kettle", True), ("roast_batch", True)]
    + [(strange, False) for strange in ("station", "grinder", "kettle", "roast_batch", "version")],
)
def test_nothing_of_another_place_is_planned(bar, strange, of_same_company):
    """Recipes alone are shared by the cafés of a company; a batch has to be of the recipe's coffee."""
    other = make.cafe(bar.cafe.company if of_same_company else None)
    recipe = make.recipe(other.company)
    foreign = {
        "station": lambda: make.station(other),
        "grinder": lambda: make.grinder(other),
        "kettle": lambda: make.kettle(other),
        "version": lambda: make.version(recipe),
        "roast_batch": lambda: make.batch(recipe.coffee),
    }[strange]()
    with pytest.raises(turns.Refused):
        bar.plan(**{strange: foreign})
    assert not Slot.objects.exists()


def test_codes_are_permanent_for_a_station_and_a_recipe(bar):
    first = bar.plan()
    bar.publish()
    publishing.mark_leaving(first, "sold out", NOW)
    bar.publish(LATER)
    again = bar.plan(make.version(bar.recipe, based_on=bar.draft, what_changed="finer", why="was sour"))
    elsewhere = bar.plan(again.version, station=make.station(bar.cafe))
    assert again.card == first.card
    assert elsewhere.card.code != first.card.code


def test_a_code_that_another_card_has_is_drawn_again(bar, monkeypatch):
    taken = make.live_slot(bar.cafe).card.code
    drawn = iter([taken, taken, "XYX34"])
    monkeypatch.setattr(CardCode._meta.get_field("code"), "default", lambda: next(drawn))
    monkeypatch.delitem(CardCode._meta.get_field("code").__dict__, "_get_default", raising=False)
    assert bar.plan().card.code == "XYX34"


def test_one_live_and_one_planned_slot_a_card_at_most(bar):
    bar.plan()
    bar.publish()
    slot = bar.live()[0]
    for published_at in (NOW, None):
        row = {"board": bar.board, "card": slot.card, "version": slot.version, "kettle": slot.kettle}
        Slot.objects.filter(published_at=None).delete()
        if published_at is None:
            Slot.objects.create(**row, planned_by=bar.head)
        with pytest.raises(IntegrityError), transaction.atomic():
            Slot.objects.create(**row, planned_by=bar.head, published_at=published_at)
