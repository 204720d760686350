"""Take a live slot off the board at once, and put another in its place in the same breath."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from brewbar.crew.models import User
from recipes.models import Board, Grinder, Kettle, RecipeVersion, RoastBatch, Slot
from recipes.publishing import (
    add_setting,
    brewed_with,
    card_for,
    check_fits,
    freeze,
    still_live,
    take_off,
    turn_at,
)
from recipes.readiness import NotReady, errors
from recipes.turns import Refused, noted, place_of, show


@dataclass(frozen=True)
class NewSlot:
    """What comes on the board in place of what goes, and what it is brewed with."""

    version: RecipeVersion
    roast_batch: RoastBatch
    grinder: Grinder
    grind_setting: str
    kettle: Kettle


def withdraw_now(
    slot: Slot, why: str, by: User, now: datetime, instead: Slot | NewSlot | None = None
) -> Slot | None:
    """Take ``slot`` off, because ``why``. Gives what is brewed ``instead``, if anything.

    That is a slot already live at the same station, or a new one, whose draft is then published and frozen.
    Raises Refused if the slot has left the board, or what should stand instead has or belongs elsewhere;
    NotReady if a new one has errors. Then nothing has changed at all.
    """
    with turn_at(slot.board, now) as board:
        old = still_live(board, slot)
        before = {place_of(old): brewed_with(old)}
        if isinstance(instead, NewSlot):
            new: Slot | None = _put_in_place(board, old, instead, why, by, now)
        else:
            new = None if instead is None else _beside(board, old, instead)
            take_off(old, by, now, why, replaced_by=new)
        show(board)
        what = _("replaced at once") if new else _("taken off at once")
        after = {place_of(new): brewed_with(new)} if new else None
        noted(board, what, place_of(old), by, before=before, after=after, why=why)
        return new


def _beside(board: Board, old: Slot, instead: Slot) -> Slot:
    there: Slot | None = board.slots.live().for_card().filter(pk=instead.pk).first()
    if there is None or there == old or there.card.station_id != old.card.station_id:
        raise Refused(_("What you chose instead is not on the board at this station any more."))
    return there


def _put_in_place(board: Board, old: Slot, new: NewSlot, why: str, by: User, now: datetime) -> Slot:
    station = old.card.station
    check_fits(board, station, new.version, new.roast_batch, new.grinder, new.kettle)
    card = card_for(station, new.version.recipe)
    under_its_code = board.slots.live().filter(card=card).exclude(pk=old.pk).first()
    # A card has one live slot at a time, so what is there goes first.
    if card == old.card:
        take_off(old, by, now, why)
    elif under_its_code:
        take_off(
            under_its_code, by, now, _("Replaced by version %(number)d.") % {"number": new.version.number}
        )
    # Published from the first: another version may be planned for this card, and stays planned.
    made = board.slots.create(
        card=card, version=new.version, kettle=new.kettle, planned_by=by, published_at=now, published_by=by
    )
    add_setting(made, new.roast_batch, new.grinder, new.grind_setting, by, now)
    RecipeVersion.objects.select_for_update().get(pk=new.version.pk)
    made = board.slots.for_card().get(pk=made.pk)
    if wrong := errors(made):
        raise NotReady({made: wrong})
    freeze([made.version], by, now)
    if card != old.card:
        take_off(old, by, now, why, replaced_by=made)
    return made
