"""Two heads of several cafés at the same moment: they take turns, whichever café each thinks of first."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone

from brewbar.crew.access import places_of
from brewbar.crew.models import Change
from recipes import everywhere, publishing, turns
from recipes.models import Slot
from recipes.publishing import freeze
from recipes.publishing_in_cafes import Chosen, publish_in
from tests import factories as make
from tests.recipes.test_board_together import HANDS, at_once
from tests.recipes.test_everywhere import Two


@pytest.fixture
def two(transactional_db) -> Two:
    return Two()


def chosen(two: Two, version: Any) -> list[Chosen]:
    places = everywhere.headed(places_of(two.head), two.quay.company)
    found = everywhere.stand(version, places, timezone.now())
    return [Chosen(there.cafe, there.mark) for there in found if there.is_live]


def test_the_same_tapped_by_many_is_done_once(two):
    there = chosen(two, two.draft)
    got = at_once(lambda n: publish_in(two.draft, there[:: 1 if n % 2 else -1], two.head, timezone.now()))
    assert sorted(len(one) for one in got) == [0] * (HANDS - 1) + [2]
    assert Slot.objects.live().count() == 2
    assert Change.objects.filter(about=Change.About.BOARD).count() == 2


def test_of_two_versions_at_once_one_is_live_in_both_cafes(two):
    """The first is done; whoever comes after it is told that the boards have moved. Nobody waits for ever."""
    with transaction.atomic():
        freeze([two.draft], two.head, timezone.now())
    versions = [two.draft, make.version(two.recipe)]
    there = [chosen(two, version) for version in versions]
    got = at_once(
        lambda n: publish_in(versions[n % 2], there[n % 2][:: 1 if n % 2 else -1], two.head, timezone.now())
    )
    [live] = {slot.version for slot in Slot.objects.live()}
    of_the_other = [one for n, one in enumerate(got) if versions[n % 2] != live]
    assert len(of_the_other) == HANDS // 2
    assert all(isinstance(one, turns.Moved) for one in of_the_other)


def test_beside_those_who_publish_one_board_each_nothing_is_lost(two):
    """Both plans hold the same draft of another recipe, which each publishing wants to freeze."""
    shared = make.version(make.recipe(two.quay.company, by=two.head))
    for slot in two.live:
        publishing.plan_slot(
            slot.board,
            slot.station,
            shared,
            make.batch(shared.recipe.coffee),
            slot.setting.grinder,
            "20",
            slot.kettle,
            two.head,
            timezone.now(),
        )
    there = chosen(two, two.draft)
    boards = [slot.board for slot in two.live]
    works = [
        lambda: publish_in(two.draft, there, two.head, timezone.now()),
        lambda: publishing.publish(boards[0], two.head, timezone.now()),
        lambda: publish_in(two.draft, there[::-1], two.head, timezone.now()),
        lambda: publishing.publish(boards[1], two.head, timezone.now()),
    ]
    got = at_once(lambda n: works[n]())
    assert not any(isinstance(got[n], Exception) for n in (1, 3))
    on = {cafe: two.versions(cafe) for cafe in (two.quay, two.peak)}
    assert all(shared in versions for versions in on.values())
    assert len({two.draft in versions for versions in on.values()}) == 1
