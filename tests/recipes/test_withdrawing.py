"""Off the board at once: with a reason, with or without something instead, all of it or nothing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse

from brewbar.crew.models import Change
from recipes import boards, codes, publishing, turns, withdrawing
from recipes.models import Slot
from recipes.readiness import NotReady
from tests import factories as make

NOW = datetime(2026, 11, 25, 7, 42, tzinfo=UTC)


@pytest.fixture
def slot(db) -> Slot:
    return make.live_slot(make.cafe(), at=NOW - timedelta(days=2), grind_setting="24")


@pytest.fixture
def head(slot):
    return make.person("head", slot.board.cafe, name="Rita Faro")


def beside(slot: Slot) -> Slot:
    return make.live_slot(slot.board.cafe, station=slot.station, at=NOW - timedelta(days=1))


def new_slot(slot: Slot, version=None, **fields) -> withdrawing.NewSlot:
    version = version or make.version(make.recipe(slot.board.cafe.company))
    given = {
        "roast_batch": make.batch(version.recipe.coffee),
        "grinder": slot.setting.grinder,
        "grind_setting": "21",
        "kettle": slot.kettle,
    }
    return withdrawing.NewSlot(version, **given | fields)


def live(slot: Slot) -> set[Slot]:
    return set(slot.board.slots.live())


def revision(slot: Slot) -> int:
    slot.board.refresh_from_db()
    return slot.board.revision


def noted(slot: Slot) -> Change:
    (change,) = Change.objects.filter(cafe=slot.board.cafe)
    return change


def test_off_with_a_reason_and_nothing_instead(slot, head):
    assert withdrawing.withdraw_now(slot, "out of coffee", head, NOW) is None
    slot.refresh_from_db()
    assert (slot.withdrawn_at, slot.withdrawn_by, slot.withdrawn_why) == (NOW, head, "out of coffee")
    assert (live(slot), revision(slot)) == (set(), 1)
    change = noted(slot)
    assert (change.by, change.why, change.after) == (head, "out of coffee", {})
    assert "24 on" in " ".join(change.before.values())


def test_another_that_is_live_there_can_stand_in(slot, head):
    other = beside(slot)
    assert withdrawing.withdraw_now(slot, "out of coffee", head, NOW, other) == other
    slot.refresh_from_db()
    assert slot.replaced_by == other
    assert (live(slot), revision(slot)) == ({other}, 1)


def test_a_draft_that_comes_on_with_it_is_published_and_frozen(slot, head):
    given = new_slot(slot)
    new = withdrawing.withdraw_now(slot, "out of coffee", head, NOW, given)
    assert new is not None
    slot.refresh_from_db()
    given.version.refresh_from_db()
    assert (slot.replaced_by, live(slot), revision(slot)) == (new, {new}, 1)
    assert (new.published_at, new.setting.grind_setting, new.station) == (NOW, "21", slot.station)
    assert (given.version.published_at, given.version.published_by) == (NOW, head)


def test_the_version_before_comes_back_under_the_same_code_while_another_is_planned(slot, head):
    recipe = slot.version.recipe
    newer = make.version(recipe, based_on=slot.version, what_changed="finer", why="sour", published=True)
    setting = slot.setting
    planned = publishing.plan_slot(
        slot.board, slot.station, newer, setting.roast_batch, setting.grinder, "20", slot.kettle, head, NOW
    )
    back = withdrawing.withdraw_now(slot, "tastes flat", head, NOW, new_slot(slot, slot.version))
    assert back is not None
    assert (back.card, live(slot)) == (slot.card, {back})
    assert list(slot.board.slots.planned()) == [planned]
    assert codes.follower(Slot.objects.get(pk=slot.pk)) == back


def test_what_stood_under_the_code_of_the_new_one_goes_too(slot, head):
    other = beside(slot)
    newer = make.version(
        other.version.recipe, based_on=other.version, what_changed="x", why="y", published=True
    )
    new = withdrawing.withdraw_now(slot, "out of coffee", head, NOW, new_slot(slot, newer))
    other.refresh_from_db()
    assert (live(slot), other.withdrawn_why) == ({new}, "Replaced by version 2.")


def test_one_with_errors_leaves_everything_as_it_was(slot, head):
    """40 + 90 + 90 g against 250 g of brew water."""
    short = make.version(make.recipe(slot.board.cafe.company), pours=((0, 40, 5), (40, 130, 5), (80, 220, 5)))
    with pytest.raises(NotReady) as refused:
        withdrawing.withdraw_now(slot, "out of coffee", head, NOW, new_slot(slot, short))
    assert "30 g" in refused.value.details
    short.refresh_from_db()
    assert short.is_draft
    assert (live(slot), revision(slot), Slot.objects.count()) == ({slot}, 0, 1)
    assert not Change.objects.exists()


def test_what_is_elsewhere_or_gone_is_refused(slot, head):
    elsewhere = make.live_slot(slot.board.cafe)
    abroad = make.live_slot(make.cafe(slot.board.cafe.company))
    foreign = new_slot(slot, kettle=make.kettle(make.cafe(slot.board.cafe.company)))
    for instead in (elsewhere, abroad, slot, foreign):
        with pytest.raises(turns.Refused):
            withdrawing.withdraw_now(slot, "out of coffee", head, NOW, instead)
    assert slot in live(slot)
    withdrawing.withdraw_now(slot, "out of coffee", head, NOW)
    with pytest.raises(turns.Refused, match="no longer on the board"):
        withdrawing.withdraw_now(slot, "again", head, NOW)


def test_an_open_board_is_told_why(slot, head):
    shown = [slot.setting_id]
    withdrawing.withdraw_now(slot, "out of coffee", head, NOW)
    assert boards.news(slot.board, shown, []) == [
        f"{slot.station}, {slot.card.recipe} is off the board: out of coffee"
    ]


def test_its_card_says_when_why_by_whom_and_leads_on(slot, head):
    first, second = beside(slot), beside(slot)
    withdrawing.withdraw_now(slot, "out of coffee", head, NOW, first)
    withdrawing.withdraw_now(first, "burnt", head, NOW, second)
    barista = make.signed_in(make.person(cafe=slot.board.cafe))
    page = barista.get(reverse("calibration:code", args=[slot.card.code])).content.decode()
    for said in ("out of coffee", "Rita Faro", "25 November", "7:42", second.version.recipe.name):
        assert said in page
    assert reverse("calibration:code", args=[second.card.code]) in page
    card = barista.get(reverse("recipes:card", args=[slot.pk]))
    assert card["Location"] == reverse("recipes:card", args=[second.pk])


class TestPage:
    @pytest.fixture
    def client(self, head):
        return make.signed_in(head)

    def path(self, slot):
        return reverse("recipes:slot_off", args=[slot.pk])

    def test_a_reason_is_asked_for(self, slot, client):
        answer = client.post(self.path(slot), {"why": " "})
        assert answer.status_code == 422
        assert "Say why" in answer.content.decode()
        assert slot in live(slot)

    def test_without_anything_instead(self, slot, client):
        assert client.post(self.path(slot), {"why": "out of coffee"})["Location"] == "/board/"
        assert live(slot) == set()

    def test_a_new_one_is_asked_for_in_a_second_round_and_nothing_typed_is_lost(self, slot, client):
        version = make.version(make.recipe(slot.board.cafe.company))
        batch = make.batch(version.recipe.coffee)
        asked = {"why": "out of coffee", "instead": f"new-{version.pk}"}
        first = client.post(self.path(slot), asked)
        page = first.content.decode()
        assert first.status_code == 200
        assert 'value="out of coffee"' in page
        assert slot in live(slot)
        asked |= {"made_with": version.pk, "roast_batch": batch.pk, "grinder": slot.setting.grinder.pk}
        asked |= {"kettle": slot.kettle.pk}
        second = client.post(self.path(slot), asked | {"grind_setting": ""})
        assert second.status_code == 422
        assert 'value="out of coffee"' in second.content.decode()
        assert client.post(self.path(slot), asked | {"grind_setting": "19"})["Location"] == "/board/"
        (new,) = live(slot)
        assert (new.version, new.setting.grind_setting) == (version, "19")

    def test_another_choice_asks_anew_with_what(self, slot, client):
        one, other = (make.version(make.recipe(slot.board.cafe.company)) for _ in range(2))
        make.batch(other.recipe.coffee)
        asked = {"why": "x", "instead": f"new-{other.pk}", "made_with": one.pk, "grind_setting": "19"}
        answer = client.post(self.path(slot), asked)
        assert answer.status_code == 200
        assert f'value="{other.pk}"' in answer.content.decode()

    @pytest.mark.parametrize("same_company", [True, False])
    def test_what_belongs_elsewhere_is_no_choice(self, slot, client, same_company):
        cafe = make.cafe(slot.board.cafe.company if same_company else None)
        abroad = make.live_slot(cafe)
        choices = [f"live-{abroad.pk}", f"live-{slot.pk}", "new-987654", "nonsense"]
        if not same_company:
            choices.append(f"new-{abroad.version.pk}")
        for choice in choices:
            assert client.post(self.path(slot), {"why": "x", "instead": choice}).status_code == 422
        assert slot in live(slot)
