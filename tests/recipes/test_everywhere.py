"""One version to several cafés at once: in all or none, in nobody else's, and with what stands there."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from brewbar.crew.access import places_of
from brewbar.crew.models import Cafe, Change, Membership, Role, User
from recipes import due, everywhere, publishing, seen, turns
from recipes.models import CafeTarget, GrindNote, RecipeVersion, Slot
from recipes.publishing_in_cafes import Chosen, publish_in
from tests import factories as make

NOW = datetime(2026, 11, 25, 6, 30, tzinfo=UTC)


def heads(user: User, *cafes: Cafe) -> None:
    for cafe in cafes:
        Membership.objects.create(user=user, company=cafe.company, cafe=cafe, role=Role.HEAD)


class Two:
    """A recipe live in two cafés, one of them high up, a third without it, and the head barista of all three."""

    def __init__(self) -> None:
        self.quay = make.cafe(name="Quay", time_zone="Europe/London")
        company = self.quay.company
        self.peak = make.cafe(company, name="Peak", time_zone="Europe/Zurich", altitude_m=1480)
        self.yard = make.cafe(company, name="Yard")
        self.head = make.person(Role.HEAD, self.quay)
        heads(self.head, self.peak, self.yard)
        self.recipe = make.recipe(company, by=self.head)
        old = make.version(self.recipe)
        yesterday = NOW - timedelta(days=1)
        self.live = [
            make.live_slot(cafe, old, by=self.head, at=yesterday, grind_setting=grind)
            for cafe, grind in ((self.quay, "24"), (self.peak, "17"))
        ]
        self.draft = make.version(self.recipe, based_on=old, what_changed="finer", why="was sour")

    def there(self, cafe: Cafe) -> everywhere.There:
        places = everywhere.headed(places_of(self.head), cafe.company)
        return next(there for there in everywhere.stand(self.draft, places, NOW) if there.cafe == cafe)

    def chosen(self, *cafes: Cafe, new: everywhere.New | None = None) -> list[Chosen]:
        return [Chosen(cafe, self.there(cafe).mark, new) for cafe in cafes]

    def new(self, cafe: Cafe, **fields: Any) -> everywhere.New:
        given = {
            "station": make.station(cafe),
            "roast_batch": make.batch(self.recipe.coffee),
            "grinder": make.grinder(cafe),
            "grind_setting": "8",
            "kettle": make.kettle(cafe),
        }
        return everywhere.New(**given | fields)

    def versions(self, cafe: Cafe) -> set[RecipeVersion]:
        return {slot.version for slot in Slot.objects.live().filter(board__cafe=cafe)}

    def publish(self, chosen: list[Chosen], now: datetime = NOW) -> list[Cafe]:
        return publish_in(self.draft, chosen, self.head, now)


@pytest.fixture
def two(db) -> Two:
    return Two()


def test_stations_take_the_version_and_keep_what_they_brew_with(two):
    assert set(two.publish(two.chosen(two.quay, two.peak))) == {two.quay, two.peak}
    two.draft.refresh_from_db()
    assert (two.draft.published_at, two.draft.published_by) == (NOW, two.head)
    for old in two.live:
        old.refresh_from_db()
        new = Slot.objects.live().get(card=old.card)
        assert new.version == two.draft
        assert (new.kettle, new.published_at, new.published_by) == (old.kettle, NOW, two.head)
        for name in ("roast_batch", "grinder", "grind_setting"):
            assert getattr(new.setting, name) == getattr(old.setting, name)
        assert (old.withdrawn_at, old.withdrawn_why) == (NOW, "Replaced by version 2.")
        assert new.board.revision == 1


def test_only_where_it_was_chosen(two):
    two.publish(two.chosen(two.peak))
    assert two.versions(two.peak) == {two.draft}
    assert two.versions(two.quay) == {two.live[0].version}


def test_where_it_is_not_live_it_comes_where_and_with_what_was_said(two):
    new = two.new(two.yard)
    two.publish([*two.chosen(two.quay), *two.chosen(two.yard, new=new)])
    [slot] = Slot.objects.live().filter(board__cafe=two.yard)
    assert (slot.version, slot.station, slot.kettle) == (two.draft, new.station, new.kettle)
    assert (slot.setting.roast_batch, slot.setting.grind_setting) == (new.roast_batch, "8")


@pytest.mark.parametrize("strange", ["station", "grinder", "kettle", "roast_batch"])
def test_nothing_of_another_cafe_or_coffee_comes_with_it(two, strange):
    foreign = {
        "station": lambda: make.station(two.quay),
        "grinder": lambda: make.grinder(two.quay),
        "kettle": lambda: make.kettle(two.quay),
        "roast_batch": lambda: make.batch(make.coffee(two.quay.company)),
    }[strange]()
    with pytest.raises(turns.Refused):
        two.publish(two.chosen(two.yard, new=two.new(two.yard, **{strange: foreign})))
    assert two.versions(two.yard) == set()


def test_what_it_is_brewed_with_has_to_be_said_where_it_is_new(two):
    with pytest.raises(turns.Refused, match="Say where Yard"):
        two.publish(two.chosen(two.quay, two.yard))
    assert two.versions(two.quay) == {two.live[0].version}


def test_one_cafe_that_is_not_ready_keeps_it_from_all(two):
    """250 g of brew water do not fit a kettle that holds 200 g."""
    small = two.new(two.yard, kettle=make.kettle(two.yard, capacity_g=200))
    with pytest.raises(turns.Refused, match="not ready for Yard"):
        two.publish([*two.chosen(two.quay), *two.chosen(two.yard, new=small)])
    two.draft.refresh_from_db()
    assert two.draft.is_draft
    assert two.versions(two.quay) == {two.live[0].version}
    assert not Change.objects.exists()


@pytest.mark.parametrize("what", ["grind", "plan", "draft"])
def test_one_cafe_that_moved_meanwhile_keeps_it_from_all(two, what):
    chosen = two.chosen(two.quay, two.peak)
    board = two.live[1].board
    if what == "grind":
        turns.show(board)
    elif what == "plan":
        publishing.mark_leaving(two.live[1], "sold out", NOW)
    else:
        RecipeVersion.objects.filter(pk=two.draft.pk).update(revision=two.draft.revision + 1)
    with pytest.raises(turns.Moved, match="Peak"):
        two.publish(chosen)
    assert two.versions(two.quay) == {two.live[0].version}


def test_a_second_tap_does_nothing_more(two):
    chosen = two.chosen(two.quay, two.peak)
    assert len(two.publish(chosen)) == 2
    changes = Change.objects.count()
    assert two.publish(chosen, NOW + timedelta(seconds=1)) == []
    assert Change.objects.count() == changes
    assert Slot.objects.live().count() == 2


@pytest.mark.parametrize("how", ["never", "ended", "barista", "owner", "elsewhere"])
def test_only_by_somebody_who_heads_each_of_the_cafes(two, how):
    chosen = two.chosen(two.quay, two.peak)
    at_peak = two.head.memberships.filter(cafe=two.peak)
    if how == "ended":
        at_peak.update(ended_at=NOW - timedelta(days=1))
    else:
        at_peak.delete()
    if how == "barista":
        Membership.objects.create(user=two.head, company=two.peak.company, cafe=two.peak, role=Role.BARISTA)
    if how == "owner":
        Membership.objects.create(user=two.head, company=two.peak.company, role=Role.OWNER)
    if how == "elsewhere":
        heads(two.head, make.cafe(name="Peak"))
    with pytest.raises(turns.Refused, match="not head barista of Peak"):
        two.publish(chosen)
    assert two.versions(two.quay) == {two.live[0].version}


def test_what_else_is_planned_stays_planned(two):
    board, now = two.live[0].board, two.live[0].setting
    other = make.planned_slot(two.quay, by=two.head)
    again = publishing.plan_slot(
        board,
        two.live[0].station,
        two.live[0].version,
        now.roast_batch,
        now.grinder,
        "20",
        two.live[0].kettle,
        two.head,
        NOW,
    )
    due.set_due(board, NOW + timedelta(hours=2), two.head, NOW)
    two.publish(two.chosen(two.quay))
    board.refresh_from_db()
    assert set(board.slots.planned()) == {other, again}
    assert board.due_at == NOW + timedelta(hours=2)
    assert publishing.bring_up_to_date(board, NOW + timedelta(hours=3))
    assert Slot.objects.live().get(card=two.live[0].card).version == two.live[0].version


def test_a_plan_that_brings_just_the_same_is_done_with_it(two):
    now = two.live[0].setting
    publishing.plan_slot(
        two.live[0].board,
        two.live[0].station,
        two.draft,
        now.roast_batch,
        now.grinder,
        now.grind_setting,
        two.live[0].kettle,
        two.head,
        NOW,
    )
    two.publish(two.chosen(two.quay))
    assert not Slot.objects.planned().exists()


def test_what_was_to_come_off_still_does(two):
    publishing.mark_leaving(two.live[0], "sold out", NOW)
    two.publish(two.chosen(two.quay))
    [new] = Slot.objects.live().filter(board__cafe=two.quay)
    assert (new.leaving, new.withdrawn_why) == (True, "sold out")


def test_a_plan_whose_hour_had_come_goes_live_first(two):
    board, now = two.live[0].board, two.live[0].setting
    publishing.plan_slot(
        board,
        make.station(two.quay),
        two.live[0].version,
        now.roast_batch,
        now.grinder,
        "20",
        two.live[0].kettle,
        two.head,
        NOW,
    )
    due.set_due(board, NOW + timedelta(minutes=5), two.head, NOW)
    seen_before = two.chosen(two.quay)
    later = NOW + timedelta(minutes=10)
    with pytest.raises(turns.Moved):
        two.publish(seen_before, later)
    assert len(two.there(two.quay).takings) == 2


def test_each_cafe_has_it_on_its_own_record(two):
    two.publish(two.chosen(two.quay, two.peak))
    rows = Change.objects.filter(about=Change.About.BOARD)
    assert {row.cafe for row in rows} == {two.quay, two.peak}
    assert {row.what for row in rows} == {"published in several cafés"}
    for row in rows:
        slot = next(slot for slot in two.live if slot.board.cafe == row.cafe)
        assert f"{slot.station}: {two.recipe}" in row.before
    assert Change.objects.get(about=Change.About.RECIPE).what == "published"


def test_the_crew_of_each_reads_what_changed(two):
    baristas = [make.person(cafe=cafe) for cafe in (two.quay, two.peak)]
    Membership.objects.filter(user__in=baristas).update(started_at=NOW - timedelta(days=9))
    two.publish(two.chosen(two.quay, two.peak))
    for barista, old in zip(baristas, two.live, strict=True):
        [slot] = Slot.objects.live().for_card().filter(card=old.card)
        [news] = seen.news_for(make.member(barista), [slot], NOW).values()
        assert news.before == old.version
        assert [version.what_changed for version in news.versions] == ["finer"]


def test_findings_are_each_cafes_own(two):
    """Water boils at 95.0 °C at 1480 m in the standard atmosphere, below the 96 °C of this plan."""
    two.draft.water_temperature_C = 96
    two.draft.save()
    quay, peak = two.there(two.quay), two.there(two.peak)
    assert quay.boils_at_C == pytest.approx(100.0, abs=0.05)
    assert peak.boils_at_C == pytest.approx(95.0, abs=0.15)
    assert quay.takings[0].findings == ()
    assert [finding.code for finding in peak.takings[0].findings] == ["above-boiling"]
    assert not peak.wrong


def test_a_cafes_own_target_and_grind_note_stand_beside_it(two):
    own = {"cafe": two.peak, "recipe": two.recipe, "set_at": NOW, "set_by": two.head}
    target = CafeTarget.objects.create(
        **own, brew_time_s=190, brew_time_tolerance_s=10, why="thinner air, longer brew"
    )
    note = GrindNote.objects.create(**own, says="two clicks finer")
    peak, quay = two.there(two.peak), two.there(two.quay)
    assert (peak.own_target, peak.grind_note) == (target, note)
    assert (quay.own_target, quay.grind_note) == (None, None)
