"""What moves on a live slot: grind, batch, grinder; and where codes lead."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from recipes import adjusting, boards, codes, planning, publishing, stations, turns
from recipes.grinds import same_setting, stepped
from recipes.models import RecipeVersion, Slot
from tests import factories as make

NOW = datetime(2026, 11, 25, 7, 42, tzinfo=UTC)


@pytest.mark.parametrize(
    ("setting", "step", "higher", "lower"),
    [
        ("24", "1", "25", "23"),
        ("3.5", "0.1", "3.6", "3.4"),
        ("3.9", "0.1", "4.0", "3.8"),
        ("24", "0.50", "24.5", "23.5"),
        ("7.5", "0.50", "8.0", "7.0"),
        ("3,5", "0.25", "3,75", "3,25"),
        ("0", "1", "1", None),
        ("0.2", "0.25", "0.45", None),
        ("99", "1", "100", "98"),
        ("100", "10", "110", "90"),
        ("4C", "1", None, None),
        ("2+3", "1", None, None),
        ("fine", "1", None, None),
    ],
)
def test_one_step_on_the_scale(setting, step, higher, lower):
    assert stepped(setting, Decimal(step), 1) == higher
    assert stepped(setting, Decimal(step), -1) == lower


@pytest.mark.parametrize("setting", ["0", "3.5", "24", "3,5", "110"])
@pytest.mark.parametrize("step", ["1", "0.1", "0.25", "0.5", "10"])
def test_the_opposite_step_is_the_undo(setting, step):
    there = stepped(setting, Decimal(step), 1)
    assert there is not None
    back = stepped(there, Decimal(step), -1)
    assert back is not None
    assert same_setting(back, setting)
    assert stepped(back, Decimal(step), 1) == there


def test_the_same_place_on_the_scale():
    assert same_setting("24", "24.0")
    assert same_setting(" 3,5", "3.50")
    assert same_setting("4C", "4C")
    assert not same_setting("24", "25")
    assert not same_setting("4C", "4D")
    assert not same_setting("4", "4C")


@pytest.fixture
def slot(db) -> Slot:
    return make.live_slot(make.cafe(), at=NOW - timedelta(days=2), grind_setting="24")


@pytest.fixture
def head(slot):
    return make.person("head", slot.board.cafe)


def revision(slot: Slot) -> int:
    slot.board.refresh_from_db()
    return slot.board.revision


def publish_a_finer_version(slot: Slot, head, planned_at: datetime = NOW) -> RecipeVersion:
    new = make.version(slot.version.recipe, based_on=slot.version, what_changed="finer", why="sour")
    batch, grinder = slot.setting.roast_batch, slot.setting.grinder
    publishing.plan_slot(slot.board, slot.station, new, batch, grinder, "22", slot.kettle, head, planned_at)
    publishing.publish(slot.board, head, NOW)
    return new


def test_a_grind_change_is_added_to_the_history(slot, head):
    moved = adjusting.set_grind(slot, "25", head, NOW, note="ran fast")
    assert [row.grind_setting for row in slot.settings.all()] == ["25", "24"]
    assert (moved.setting.set_at, moved.setting.set_by, moved.setting.note) == (NOW, head, "ran fast")
    assert moved.setting.roast_batch == slot.setting.roast_batch
    assert revision(slot) == 1


def test_a_change_to_what_already_holds_adds_nothing(slot, head):
    adjusting.set_grind(slot, "24.0", head, NOW)
    assert slot.settings.count() == 1
    assert revision(slot) == 0


def test_a_new_batch_keeps_the_grind(slot, head):
    batch = make.batch(slot.card.recipe.coffee)
    moved = adjusting.adjust(slot, head, NOW, roast_batch=batch)
    assert (moved.setting.roast_batch, moved.setting.grind_setting) == (batch, "24")
    with pytest.raises(turns.Refused):
        adjusting.adjust(slot, head, NOW, roast_batch=make.batch(make.coffee(slot.board.cafe.company)))


def test_a_tap_on_what_another_hand_has_moved_is_refused_unless_it_asks_for_the_same(slot, head):
    other = make.person("head", slot.board.cafe, name="Rita Faro")
    seen = slot.setting_id
    adjusting.set_grind(slot, "26", other, NOW)
    with pytest.raises(turns.Moved, match="Rita Faro"):
        adjusting.set_grind(slot, "25", head, NOW, seen=seen)
    assert adjusting.set_grind(slot, "26", head, NOW, seen=seen).setting.set_by == other
    assert slot.settings.count() == 2


def test_a_slot_that_left_the_board_moves_no_more(slot, head):
    publishing.mark_leaving(slot, "sold out", NOW)
    publishing.publish(slot.board, head, NOW)
    with pytest.raises(turns.Refused, match="no longer on the board"):
        adjusting.set_grind(slot, "25", head, NOW)
    assert slot.settings.count() == 1


def test_a_grinder_of_another_cafe_is_refused(slot, head):
    with pytest.raises(turns.Refused):
        adjusting.adjust(slot, head, NOW, grinder=make.grinder(make.cafe(slot.board.cafe.company)))


def test_a_setting_planned_the_evening_before_holds_from_when_it_is_published(slot, head):
    publish_a_finer_version(slot, head, NOW - timedelta(hours=12))
    [[one]] = [there.slots for there in boards.live_board(slot.board, NOW)]
    assert one.now.at == NOW
    assert [(was.row.grind_setting, was.at) for was in one.history] == [
        ("22", NOW),
        ("24", slot.published_at),
    ]


def test_the_board_stands_until_it_is_changed_and_counts_the_days(slot):
    slot.setting.roast_batch.roasted_on = date(2026, 11, 14)
    slot.setting.roast_batch.save()
    for days, shown in ((0, 11), (1, 12), (7, 18)):
        [there] = boards.live_board(slot.board, NOW + timedelta(days=days))
        assert [one.days_off_roast for one in there.slots] == [shown]


def test_what_is_usual_for_a_recipe_at_a_station(slot, head):
    usual = planning.usual(slot.board, slot.station, slot.version)
    assert (usual.roast_batch, usual.grinder, usual.grind_setting, usual.kettle) == (
        slot.setting.roast_batch, slot.setting.grinder, "24", slot.kettle,
    )  # fmt: skip
    elsewhere = planning.usual(slot.board, make.station(slot.board.cafe), slot.version)
    assert elsewhere == usual
    slot.setting.grinder.retire()
    slot.setting.roast_batch.retire()
    own = make.kettle(slot.board.cafe)
    slot.version.kettle = own
    older = make.batch(slot.card.recipe.coffee, roasted_on=date(2026, 11, 1))
    make.batch(slot.card.recipe.coffee, roasted_on=date(2026, 11, 8))
    changed = planning.usual(slot.board, slot.station, slot.version)
    assert (changed.roast_batch, changed.grinder, changed.grind_setting, changed.kettle) == (
        older,
        None,
        "",
        own,
    )


def test_a_code_leads_to_what_is_live_however_it_is_typed(slot):
    member = make.member(make.person("barista", slot.board.cafe))
    code = slot.card.code
    for typed in (code, code.lower(), f" {code[:2]}-{code[2:]} ", f"{code[:3]} {code[3:]}"):
        found = codes.resolve(member, typed, NOW)
        assert found is not None
        assert found.slot == slot
        assert not found.stale
    assert codes.resolve(member, "", NOW) is None
    assert codes.resolve(member, "!!", NOW) is None


def test_yesterdays_card_still_leads_right_and_says_that_it_is_old(slot, head):
    member = make.member(head)
    code = slot.card.code
    fresh = codes.resolve(member, code, NOW, 1)
    assert fresh is not None
    assert not fresh.stale
    new = publish_a_finer_version(slot, head)
    found = codes.resolve(member, code, NOW, 1)
    assert found is not None
    assert found.slot is not None
    assert (found.slot.version, found.stale, found.printed_number) == (new, True, 1)
    publishing.mark_leaving(found.slot, "sold out", NOW)
    publishing.publish(slot.board, head, NOW)
    other = make.live_slot(slot.board.cafe, station=slot.station)
    gone = codes.resolve(member, code, NOW, 2)
    assert gone is not None
    assert gone.slot is None
    assert gone.stale
    assert gone.live_at_station == (other,)


def test_a_code_means_nothing_to_strangers(slot):
    of_company = make.cafe(slot.board.cafe.company)
    for stranger in (make.person("head", of_company), make.person("head"), make.person("owner")):
        assert codes.resolve(make.member(stranger), slot.card.code, NOW) is None
    owner = make.member(make.person("owner", company=slot.board.cafe.company))
    assert codes.resolve(owner, slot.card.code, NOW)


def test_stations_are_renamed_under_the_crews_eyes_and_leave_only_when_empty(slot, head):
    stations.rename_station(slot.station, "Window", head)
    assert revision(slot) == 1
    with pytest.raises(turns.Refused, match="Take it off"):
        stations.retire_station(slot.station, head)
    empty = make.station(slot.board.cafe)
    stations.retire_station(empty, head)
    assert empty.retired_at is not None
