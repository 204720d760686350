"""What moves on a live slot: its grind setting, its roast batch, its grinder."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.utils.translation import gettext as _

from brewbar.crew.models import User
from recipes.grinds import same_setting
from recipes.models import Grinder, RoastBatch, Slot, SlotSetting
from recipes.publishing import add_setting, still_live, turn_at
from recipes.readiness import other_coffee
from recipes.turns import Moved, Refused, noted, place_of, show


def set_grind(
    slot: Slot, setting: str, by: User, now: datetime, note: str = "", seen: int | None = None
) -> Slot:
    """Move a live slot to another grind setting. See `adjust`."""
    return adjust(slot, by, now, grind_setting=setting, note=note, seen=seen)


def adjust(
    slot: Slot,
    by: User,
    now: datetime,
    *,
    roast_batch: RoastBatch | None = None,
    grinder: Grinder | None = None,
    grind_setting: str | None = None,
    note: str = "",
    seen: int | None = None,
) -> Slot:
    """Add what is given to the history of a live slot; what already holds adds nothing.

    ``seen`` is the setting row the person was looking at. Raises Moved if another one holds by now (unless it
    is already as asked), and Refused if the slot has left the board, the batch is of another coffee, or the
    grinder stands in another café.
    """
    with turn_at(slot.board, now) as board:
        slot = still_live(board, slot)
        old = slot.setting
        assert old is not None, "a slot is planned together with its first setting"
        batch, grinder = roast_batch or old.roast_batch, grinder or old.grinder
        setting = old.grind_setting if grind_setting is None else grind_setting
        if batch.coffee_id != slot.card.recipe.coffee_id:
            raise Refused(other_coffee(batch, slot.version))
        if grinder.cafe_id != board.cafe_id:
            raise Refused(_("This grinder stands in another café."))
        if (batch, grinder) == (old.roast_batch, old.grinder) and same_setting(setting, old.grind_setting):
            return slot
        if seen is not None and seen != old.pk:
            raise Moved(
                _("%(who)s changed this a moment ago. Nothing of yours was saved: look, then decide.")
                % {"who": old.set_by}
            )
        add_setting(slot, batch, grinder, setting, by, now, note)
        show(board)
        assert slot.setting is not None, "it was just set"
        was, holds = dict(_values(old)), dict(_values(slot.setting))
        moved = ", ".join(name for name in was if was[name] != holds[name])
        what = _("changed: %(what)s") % {"what": moved}
        noted(board, what, place_of(slot), by, before=was, after=holds, why=note)
        return slot


def _values(row: SlotSetting) -> Iterator[tuple[str, str]]:
    yield _("grind"), row.grind_setting
    yield _("batch"), row.roast_batch.label
    yield _("grinder"), row.grinder.name
