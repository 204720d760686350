"""Two head baristas at one board at the same moment: they take turns, and nothing is lost."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from recipes import adjusting, publishing, turns
from recipes.models import CardCode, Slot
from tests import factories as make

HANDS = 4


@pytest.fixture
def slot(transactional_db) -> Slot:
    return make.live_slot(make.cafe(), grind_setting="24")


def at_once(work: Callable[[int], Any]) -> list[Any]:
    """What each of several threads got, an exception of ours included."""

    def one(number: int) -> Any:
        try:
            return work(number)
        except turns.Refused as refused:
            return refused
        finally:
            connection.close()

    with ThreadPoolExecutor(HANDS) as pool:
        return list(pool.map(one, range(HANDS)))


def test_of_those_who_publish_one_plan_one_gets_through(slot):
    publishing.mark_leaving(slot, "sold out", timezone.now())
    board, by = slot.board, slot.published_by
    mark = publishing.plan_mark(board)
    got = at_once(lambda _: publishing.publish(board, by, timezone.now(), seen=mark))
    assert sum(isinstance(one, turns.Moved) for one in got) == HANDS - 1
    board.refresh_from_db()
    assert board.revision == 1


def test_taps_from_one_sight_of_the_board_move_it_once(slot):
    by, seen = slot.published_by, slot.setting_id
    got = at_once(lambda n: adjusting.set_grind(slot, str(30 + n), by, timezone.now(), seen=seen))
    assert sum(isinstance(one, turns.Moved) for one in got) == HANDS - 1
    assert slot.settings.count() == 2


def test_a_station_and_a_recipe_planned_by_many_have_one_code_and_one_planned_slot(slot):
    version = make.version(make.recipe(slot.board.cafe.company))
    batch, by, now = make.batch(version.recipe.coffee), slot.published_by, slot.setting
    at_once(
        lambda n: publishing.plan_slot(
            slot.board, slot.station, version, batch, now.grinder, str(n), slot.kettle, by, timezone.now()
        )
    )
    assert CardCode.objects.filter(recipe=version.recipe).count() == 1
    assert Slot.objects.planned().count() == 1
