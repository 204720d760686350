"""A brew that waited for the network, or for somebody's time, is of what stood on the board when it was brewed."""

from datetime import timedelta

import pytest
from django.utils import timezone

from calibration.models import Reading
from recipes.models import Slot, SlotSetting
from tests import factories as make
from tests.api.bar import pointers, send


def test_a_brew_sent_late_takes_the_setting_of_its_hour(bar):
    then = timezone.now() - timedelta(hours=20)
    moved = SlotSetting.objects.create(
        slot=bar.slot, roast_batch=bar.slot.setting.roast_batch, grinder=bar.slot.setting.grinder,
        grind_setting="22", set_at=timezone.now() - timedelta(hours=1), set_by=bar.head,
    )  # fmt: skip
    bar.slot.setting = moved
    bar.slot.save()
    assert send(bar.program(), "/readings/", bar.body(brewed_at=then.isoformat())).status_code == 201
    assert send(bar.program(), "/readings/", bar.body()).status_code == 201
    assert list(Reading.objects.order_by("pk").values_list("grind_setting", flat=True)) == ["24", "22"]


@pytest.fixture
def gone(bar):
    """The bar's slot, in whose place a newer version came an hour ago; its grind was set the evening before."""
    newer = make.version(bar.slot.version.recipe, published=True, what_changed="Finer", why="It ran fast")
    now = timezone.now()
    bar.slot.withdrawn_at, bar.slot.withdrawn_by = now - timedelta(hours=1), bar.head
    bar.slot.save()
    live = make.live_slot(
        bar.cafe, newer, bar.slot.station, at=now - timedelta(hours=1), by=bar.head, grind_setting="23",
        grinder=bar.slot.setting.grinder, roast_batch=bar.slot.setting.roast_batch,
    )  # fmt: skip
    planned = now - timedelta(hours=9)
    live.setting = SlotSetting.objects.create(
        slot=live, roast_batch=live.setting.roast_batch, grinder=live.setting.grinder, grind_setting="22",
        set_at=planned, set_by=bar.head,
    )  # fmt: skip
    live.save()
    return bar.slot


@pytest.mark.parametrize("by", ["code", "slot"])
def test_a_brew_that_waited_for_the_network_is_of_what_stood_at_its_hour(bar, gone, by):
    named = {"code": gone.card.code, "slot": None} if by == "code" else {"code": None, "slot": gone.pk}
    then = (timezone.now() - timedelta(hours=2)).isoformat()
    program, late = bar.program(), bar.body(brewed_at=then, **named)
    assert send(program, "/readings/", late).status_code == 201
    row = Reading.objects.get()
    assert (row.version, row.grind_setting) == (gone.version, "24")
    # Sent again it is still the same; and what is brewed now is of what stands now.
    assert send(program, "/readings/", late).status_code == 200
    assert send(program, "/readings/", bar.body()).status_code == 201
    assert Reading.objects.order_by("pk").last().grind_setting == "22"


@pytest.mark.parametrize(("minutes_ago", "setting"), [(20, "21"), (40, "22"), (90, "24"), (60 * 73, "24")])
def test_an_old_card_is_ground_as_the_board_said_at_that_hour(bar, gone, minutes_ago, setting):
    """Planned nine hours ago, on the board since one, moved half an hour ago; the old one went up three days ago."""
    now, live = timezone.now(), Slot.objects.live().get(card=gone.card)
    live.setting = SlotSetting.objects.create(
        slot=live, roast_batch=live.setting.roast_batch, grinder=live.setting.grinder, grind_setting="21",
        set_at=now - timedelta(minutes=30), set_by=bar.head,
    )  # fmt: skip
    live.save()
    at = now - timedelta(minutes=minutes_ago)
    body = bar.body(code=None, slot=gone.pk, brewed_at=at.isoformat(), sure=[f"late:{at.date()}"])
    assert send(bar.program(), "/readings/", body).status_code == 201
    row = Reading.objects.get()
    assert (row.version, row.grind_setting) == (gone.version, setting)


def test_a_card_that_has_left_the_board_takes_brews_of_before_alone(bar):
    bar.slot.withdrawn_at, bar.slot.withdrawn_by = timezone.now() - timedelta(hours=1), bar.head
    bar.slot.save()
    program, ago = bar.program(), timezone.now() - timedelta(hours=2)
    assert send(program, "/readings/", bar.body(brewed_at=ago.isoformat())).status_code == 201
    for at in (None, timezone.now().isoformat()):
        assert pointers(send(program, "/readings/", bar.body(brewed_at=at))) == ["/code"]
