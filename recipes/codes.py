"""What the permanent code of a card leads to now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from brewbar.crew.access import Member
from recipes.models import CardCode, Slot
from recipes.publishing import bring_up_to_date

STEPS_TO_WHAT_IS_LIVE = 20


@dataclass(frozen=True)
class Resolved:
    """Where a card's code leads: ``slot`` is what is live for it now, None once it has left the board."""

    card: CardCode
    slot: Slot | None
    printed_number: int | None
    live_at_station: tuple[Slot, ...]
    left: Slot | None = None
    """What was last live for it, where nothing is: it says when it was taken off, by whom and why."""
    instead: Slot | None = None
    """What is live in its place, where somebody named it."""

    @property
    def stale(self) -> bool:
        """Whether a card in hand shows another version than the live one."""
        live_number = self.slot.version.number if self.slot else None
        return self.printed_number is not None and self.printed_number != live_number


def resolve(member: Member, code: str, now: datetime, printed_number: int | None = None) -> Resolved | None:
    """What a code, as scanned or typed, means to this member; None if it means nothing to them."""
    typed = "".join(letter for letter in code.upper() if letter.isalnum())
    cards = CardCode.objects.for_member(member).select_related("station__cafe__board", "recipe__coffee")
    card = cards.filter(code=typed).first()
    if card is None:
        return None
    # A code is made when its recipe is first planned, so its café has a board.
    bring_up_to_date(card.station.cafe.board, now)
    live = tuple(Slot.objects.for_member(member).live().for_card().filter(card__station=card.station))
    slot = next((slot for slot in live if slot.card_id == card.pk), None)
    if slot is not None:
        return Resolved(card, slot, printed_number, live)
    withdrawn = card.slots.exclude(withdrawn_at=None).select_related("withdrawn_by", "version__recipe")
    left = withdrawn.order_by("-withdrawn_at", "-pk").first()
    return Resolved(card, None, printed_number, live, left, follower(left) if left else None)


def follower(slot: Slot) -> Slot | None:
    """What is live in the place of a withdrawn slot: under its own code, or as somebody named it."""
    for _step in range(STEPS_TO_WHAT_IS_LIVE):
        live: Slot | None = Slot.objects.live().for_card().filter(card=slot.card_id).first()
        if live is not None:
            return live
        if slot.replaced_by_id is None:
            return None
        slot = Slot.objects.select_related("replaced_by").get(pk=slot.replaced_by_id)
    return None
