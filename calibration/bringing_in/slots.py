"""Where a brew of the past stood: the slot of the board then, or one that the import makes.

A reading belongs to a slot. For what was brewed before brewbar the import makes one slot for each station and version,
withdrawn at once, that says where it is from.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime
from operator import attrgetter

from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe, Station, User
from calibration.bulk import Table
from calibration.entry import Entry
from recipes.models import Board, CardCode, Kettle, RecipeVersion, Slot, SlotSetting


@dataclass(eq=False)
class Made:
    """A slot that is to be made, for so many ``rows``. first: its first brew, whose batch and grind it shows."""

    slot: Slot
    rows: int = 0
    first: Entry | None = None
    place: int = -1
    """Among those that have rows."""

    def count(self, entry: Entry) -> None:
        self.rows += 1
        if self.first is None or _moment(entry) < _moment(self.first):
            self.first = entry


@dataclass
class Slots:
    """The published slots of a café, and those to be made."""

    cafe: Cafe
    board: Board
    made: dict[tuple[int, int], Made] = field(default_factory=dict)

    @classmethod
    def of(cls, cafe: Cafe) -> Slots:
        board = Board.objects.filter(cafe=cafe).first() or Board(cafe=cafe)
        board.cafe = cafe
        return cls(cafe, board)

    def __post_init__(self) -> None:
        self._cards: dict[tuple[int, int], CardCode] = {}
        self._slots: dict[tuple[int, int], list[Slot]] = defaultdict(list)
        self._settings: dict[int, list[SlotSetting]] = defaultdict(list)
        """Both with the oldest first."""
        if self.board.pk is None:
            return
        rows = Slot.objects.filter(board=self.board, published_at__isnull=False)
        ways = ("card__station", "card__recipe__coffee", "version__recipe__coffee", "kettle")
        for slot in rows.select_related(*ways).order_by("published_at", "pk"):
            slot.board = self.board
            self._slots[slot.card.station_id, slot.card.recipe_id].append(slot)
        settings = SlotSetting.objects.filter(slot__board=self.board).select_related("roast_batch", "grinder")
        for setting in settings.order_by("set_at", "pk"):
            self._settings[setting.slot_id].append(setting)

    def at(self, station: Station, recipe: int, at: datetime, version: RecipeVersion | None) -> Slot | None:
        """The slot that stood then, of this version if one is named."""
        slots = self._slots.get((station.pk, recipe), [])
        for place in range(bisect_right(slots, at, key=_published) - 1, -1, -1):
            slot = slots[place]
            stood = slot.withdrawn_at is None or at < slot.withdrawn_at
            if stood and (version is None or slot.version_id == version.pk):
                return slot
        return None

    def setting(self, slot: Slot, at: datetime) -> SlotSetting | None:
        """What held at that hour; of its first hours the first that was said."""
        settings = self._settings.get(slot.pk, []) if slot.pk else []
        before = bisect_right(settings, at, key=_set_at)
        return settings[max(0, before - 1)] if settings else None

    def to_make(self, station: Station, version: RecipeVersion, kettle: Kettle, at: datetime) -> Slot:
        """The slot of a brew for which no board stands."""
        key = (station.pk, version.pk)
        if key not in self.made:
            slot = Slot(board=self.board, card=self._card(station, version), version=version, kettle=kettle)
            slot.published_at = at
            self.made[key] = Made(slot)
        slot = self.made[key].slot
        if slot.published_at is not None and at < slot.published_at:
            slot.published_at = at
        return slot

    def _card(self, station: Station, version: RecipeVersion) -> CardCode:
        key = (station.pk, version.recipe_id)
        if key not in self._cards:
            found = CardCode.objects.filter(station=station, recipe=version.recipe_id).first()
            self._cards[key] = found or CardCode(station=station, recipe=version.recipe)
            self._cards[key].station, self._cards[key].recipe = station, version.recipe
        return self._cards[key]

    def save(self, by: User, now: datetime, filename: str) -> None:
        """Make those that have rows; each has its key afterwards."""
        why = (_("Brought in from the spreadsheet %(name)s.") % {"name": filename})[:200]
        slots = Table(Slot)
        for one in self.made.values():
            if one.first is None:
                continue
            slot, first = one.slot, one.first
            if self.board.pk is None:
                self.board.save()
            if slot.card.pk is None:
                slot.card.save()
            slot.board, slot.card = self.board, slot.card
            slot.planned_by = slot.published_by = by
            slot.published_at, slot.kettle = _moment(first), first.kettle
            # Withdrawn as it is made: it never was on the board, beside what may be live there.
            slot.withdrawn_at = max(now, slot.published_at)
            slot.withdrawn_by, slot.withdrawn_why = by, why
            # Each names the other, and a withdrawn slot is never changed: the setting comes first.
            (slot.pk,) = slots.keys(1)
            slot.setting = SlotSetting.objects.create(
                slot_id=slot.pk,
                roast_batch=first.roast_batch,
                grinder=first.grinder,
                grind_setting=first.grind_setting,
                set_at=slot.published_at,
                set_by=by,
            )
            slot.save(force_insert=True)


_published, _set_at = attrgetter("published_at"), attrgetter("set_at")


def _moment(entry: Entry) -> datetime:
    assert entry.brewed_at is not None
    return entry.brewed_at
