"""Which cards were printed, and which of the paper at the stations is out of date."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import OuterRef, QuerySet, Subquery
from django.utils.translation import gettext as _

from brewbar.crew.models import User
from recipes.at_cafe import Past
from recipes.grinds import same_setting
from recipes.models import Board, CardPrint, Slot

ASKED_TWICE = timedelta(minutes=1)
"""A browser that shows a PDF may fetch it more than once: that is one print."""
GONE_FOR = timedelta(days=30)
"""For so long the cards of what left the board are looked for."""


def note_prints(slots: Iterable[Slot], size: str, by: User | None, now: datetime) -> None:
    """Remember that the cards of ``slots`` were printed as they are now; ``by`` is None for a tablet by itself."""
    slots = list(slots)
    recent = CardPrint.objects.filter(slot__in=slots, size=size, printed_at__gt=now - ASKED_TWICE)
    noted = set(recent.values_list("slot", "setting"))
    CardPrint.objects.bulk_create(
        CardPrint(slot=slot, setting=slot.setting, size=size, printed_at=now, printed_by=by)
        for slot in slots
        if (slot.pk, slot.setting_id) not in noted
    )


@dataclass(frozen=True)
class Paper:
    """A card and the last print of it; ``differs`` names what that says otherwise than the board, "grind" say."""

    slot: Slot
    printed: CardPrint | None
    differs: tuple[str, ...] = ()

    @property
    def is_missing(self) -> bool:
        return self.printed is None

    @property
    def wants_printing(self) -> bool:
        return self.is_missing or bool(self.differs)


def papers_of(board: Board) -> list[Paper]:
    """Every live card of the board, in its order, against the last one printed: six queries, however many."""
    slots = list(board.slots.live().for_card().annotate(last_print=_last_print()))
    prints = _prints([slot.last_print for slot in slots])
    past = Past.of(board.cafe, [slot.version.recipe_id for slot in slots])
    return [_paper(slot, prints.get(slot.last_print), past) for slot in slots]


def _last_print() -> Subquery:
    of_card = CardPrint.objects.filter(slot__card=OuterRef("card")).order_by("-printed_at", "-pk")
    return Subquery(of_card.values("pk")[:1])


def _prints(pks: Iterable[int | None]) -> dict[int, CardPrint]:
    rows: QuerySet[CardPrint] = CardPrint.objects.select_related(
        "slot__version", "slot__kettle", "setting__roast_batch", "setting__grinder", "printed_by"
    )
    return rows.in_bulk([pk for pk in pks if pk])


def _paper(slot: Slot, printed: CardPrint | None, past: Past) -> Paper:
    return Paper(slot, printed, tuple(_what_differs(slot, printed, past)) if printed else ())


def _what_differs(slot: Slot, printed: CardPrint, past: Past) -> Iterator[str]:
    now, then = slot.setting, printed.setting
    assert now is not None, "a slot is planned together with its first setting"
    if slot.version_id != printed.slot.version_id:
        yield _("version")
    if not same_setting(now.grind_setting, then.grind_setting):
        yield _("grind")
    if now.grinder_id != then.grinder_id:
        yield _("grinder")
    if now.roast_batch_id != then.roast_batch_id:
        yield _("batch")
    if slot.kettle_id != printed.slot.kettle_id:
        yield _("kettle")
    if past.aims_moved(slot.version, printed.printed_at):
        yield _("own target")
    if past.grind_note_moved(slot.version, printed.printed_at):
        yield _("grind note")


def to_throw_away(board: Board, now: datetime) -> list[Paper]:
    """The printed cards of what has left the board lately, last gone first."""
    newest = Slot.objects.filter(card=OuterRef("card"), published_at__isnull=False).order_by(
        "-published_at", "-pk"
    )
    gone = (
        board.slots.filter(withdrawn_at__gte=now - GONE_FOR, pk=Subquery(newest.values("pk")[:1]))
        .select_related("card__station", "card__recipe", "version__recipe", "withdrawn_by")
        .annotate(last_print=_last_print())
        .exclude(last_print=None)
        .order_by("-withdrawn_at")
    )
    slots = list(gone)
    prints = _prints([slot.last_print for slot in slots])
    return [Paper(slot, prints[slot.last_print]) for slot in slots]
