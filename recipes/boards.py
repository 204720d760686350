"""What the crew sees on a board, and what is new on it. Nothing here writes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from typing import Any

from django.db.models import F, Window
from django.db.models.functions import RowNumber
from django.dispatch import Signal
from django.utils.translation import gettext as _

from brewbar.crew.access import Place
from brewbar.crew.models import Station
from recipes.at_cafe import Own, own_of
from recipes.grinds import stepped
from recipes.models import Board, Slot, SlotSetting
from recipes.seen import News, Readers, news_for, readers_of
from recipes.timeline import PlanRow, plan_rows

SETTINGS_SHOWN, HISTORY_SHOWN = 8, 60

opened = Signal()
"""Somebody has opened the whole board: ``place``, ``now``. What a page asks for by itself sends none."""


@dataclass(frozen=True)
class Setting:
    """One row of a card's history of settings: what held from ``at`` on."""

    at: datetime
    row: SlotSetting

    @classmethod
    def of(cls, row: SlotSetting, slot: Slot) -> Setting:
        # A setting that was planned the evening before holds from when it was published.
        return cls(max(row.set_at, slot.published_at or row.set_at), row)


@dataclass(frozen=True)
class OnBoard:
    """A live slot as the crew sees it; ``lower`` and ``higher`` are the settings one tap away."""

    slot: Slot
    now: Setting
    days_off_roast: int
    lower: str | None
    higher: str | None
    plan_rows: list[PlanRow]
    history: tuple[Setting, ...]
    own: Own
    """What the café has of its own for its recipe, and what is aimed at with it."""
    told: News | None = None
    """What changed that the one who looks has not read."""
    readers: Readers | None = None
    """For head baristas: who has read what changed."""


@dataclass(frozen=True)
class AtStation:
    station: Station
    slots: tuple[OnBoard, ...]


def live_board(board: Board, now: datetime, place: Place | None = None) -> list[AtStation]:
    """Every station that has something on it, as seen from ``place``; the queries do not grow with their number."""
    slots = list(board.slots.live().for_card())
    history: dict[int, list[Setting]] = {}
    for row in _last_settings(slots):
        history.setdefault(row.slot.card_id, []).append(Setting.of(row, row.slot))
    today = board.cafe.business_day(now)
    own = own_of(board.cafe, [slot.version for slot in slots])
    shown = [
        _shown(slot, today, _newest_first(history.get(slot.card_id, ())), own[slot.version_id])
        for slot in slots
    ]
    if place is not None:
        told = news_for(place, slots, now)
        readers = readers_of(board.cafe, slots) if place.is_head else {}
        shown = [replace(one, told=told.get(one.slot.pk), readers=readers.get(one.slot.pk)) for one in shown]
    return [
        AtStation(station, tuple(there))
        for station, there in groupby(shown, lambda one: one.slot.card.station)
    ]


def _shown(slot: Slot, today: Any, history: tuple[Setting, ...], own: Own) -> OnBoard:
    setting = slot.setting
    assert setting is not None, "a slot is planned together with its first setting"
    grind, step = setting.grind_setting, setting.grinder.setting_step
    return OnBoard(
        slot=slot,
        now=Setting.of(setting, slot),
        days_off_roast=setting.roast_batch.days_off_roast(today),
        lower=stepped(grind, step, -1),
        higher=stepped(grind, step, 1),
        plan_rows=plan_rows(slot.version.plan()),
        history=history,
        own=own,
    )


def _newest_first(settings: Iterable[Setting]) -> tuple[Setting, ...]:
    # What was planned before another was put on at once has the older row, and holds later.
    return tuple(sorted(settings, key=lambda setting: (setting.at, setting.row.pk), reverse=True))


def _last_settings(slots: list[Slot]) -> Iterable[SlotSetting]:
    """The newest few settings of each card, also from before its present slot."""
    place = Window(RowNumber(), partition_by=F("slot__card"), order_by=F("pk").desc())
    rows: Iterable[SlotSetting] = (
        SlotSetting.objects.filter(
            slot__card__in=[slot.card_id for slot in slots], slot__published_at__isnull=False
        )
        .annotate(place=place)
        .filter(place__lte=SETTINGS_SHOWN)
        .select_related("slot", "roast_batch", "grinder", "set_by")
        .order_by("-pk")
    )
    return rows


def history_of(slot: Slot) -> list[Setting]:
    """Every setting of the slot's card, newest first, also from before this slot."""
    rows = SlotSetting.objects.filter(slot__card=slot.card_id, slot__published_at__isnull=False)
    rows = rows.select_related("slot__version", "roast_batch", "grinder", "set_by")[:HISTORY_SHOWN]
    return list(_newest_first(Setting.of(row, row.slot) for row in rows))


def settings_on(stations: Iterable[AtStation]) -> list[int]:
    """The setting rows that are shown: what `news` compares with."""
    return [one.now.row.pk for there in stations for one in there.slots]


def news(board: Board, shown: Iterable[int], stations: list[AtStation]) -> list[str]:
    """What changed since a page that shows the settings ``shown``, in a sentence each."""
    before = {
        row.slot.card_id: row
        for row in SlotSetting.objects.filter(pk__in=list(shown), slot__board=board).select_related(
            "slot__card__station", "slot__card__recipe", "slot__version", "roast_batch", "grinder"
        )
    }
    live = {one.slot.card_id: one for there in stations for one in there.slots}
    said = [text for card, one in live.items() for text in _what_is_new(one, before.get(card))]
    return said + [_gone(row.slot) for card, row in before.items() if card not in live]


def _gone(slot: Slot) -> str:
    said = {"where": _where(slot), "why": slot.withdrawn_why}
    return (
        _("%(where)s is off the board: %(why)s") if slot.withdrawn_why else _("%(where)s is off the board")
    ) % said


def _where(slot: Slot) -> str:
    return f"{slot.card.station}, {slot.card.recipe}"


def _what_is_new(one: OnBoard, old: SlotSetting | None) -> Iterator[str]:
    new, where = one.now.row, _where(one.slot)
    if old is None:
        yield _("%(where)s is new on the board") % {"where": where}
        return
    pairs = (
        (_("version"), old.slot.version.number, one.slot.version.number),
        (_("batch"), old.roast_batch.label, new.roast_batch.label),
        (_("grinder"), old.grinder.name, new.grinder.name),
        (_("grind"), old.grind_setting, new.grind_setting),
    )
    moved = [f"{what} {was} → {now}" for what, was, now in pairs if was != now]
    if moved:
        yield f"{where}: {', '.join(moved)}"
