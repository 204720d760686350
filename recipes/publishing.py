"""Put versions on a café's board, publish them all at once, and move what moves daily.

Every write is one transaction and locks the café's Board row first: two people at one board take turns.
`Board.revision` grows with every change the crew can see, and with nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from brewbar.crew.access import Member
from brewbar.crew.models import Cafe, Station, User
from recipes.authoring import findings_at
from recipes.brewing.plan import Finding, Severity
from recipes.grinds import same_setting
from recipes.models import (
    Board,
    CardCode,
    Grinder,
    Kettle,
    RecipeVersion,
    RoastBatch,
    Slot,
)

TRIES_FOR_A_CODE = 8


class Refused(Exception):
    """What was asked for cannot be done as things stand; its text is the sentence to show."""


class NotReady(Refused):
    """Publishing was refused because of planned slots; ``errors`` says what is wrong with each."""

    def __init__(self, errors: dict[Slot, tuple[Finding, ...]]) -> None:
        super().__init__(_("Nothing was published: some of what is planned is not ready."))
        self.errors = errors


class Moved(Refused):
    """Somebody else changed the board or the plan since this person last saw it."""


def board_of(cafe: Cafe) -> Board:
    """The café's one board; an empty one at first."""
    board, _made = Board.objects.get_or_create(cafe=cafe)
    board.cafe = cafe
    return board


@contextmanager
def _locked(board: Board) -> Iterator[Board]:
    with transaction.atomic():
        # SQLite has no row locks: its transactions begin IMMEDIATE here, which locks more than this row.
        yield Board.objects.select_for_update(of=("self",)).select_related("cafe").get(pk=board.pk)


def _bump(board: Board) -> None:
    board.revision += 1
    board.save(update_fields=["revision"])


# --- planning


def _card_for(station: Station, version: RecipeVersion) -> CardCode:
    """The permanent code of this station and this version's recipe, made when first asked for."""
    for attempt in range(1, TRIES_FOR_A_CODE + 1):
        try:
            return CardCode.objects.get_or_create(station=station, recipe=version.recipe)[0]
        except IntegrityError:
            # The code just drawn belongs to another card: draw again.
            if attempt == TRIES_FOR_A_CODE:
                raise
    raise AssertionError("unreachable")


def plan_slot(
    board: Board,
    station: Station,
    version: RecipeVersion,
    roast_batch: RoastBatch,
    grinder: Grinder,
    grind_setting: str,
    kettle: Kettle,
    by: User,
    now: datetime,
) -> Slot:
    """Plan ``version`` for ``station``, in place of what was planned there for the same recipe.

    The crew sees nothing of it until the board is published. Raises Refused if anything named belongs to
    another café or company, or the batch to another coffee.
    """
    with _locked(board) as board:
        at_home = (station.cafe_id, grinder.cafe_id, kettle.cafe_id) == (board.cafe_id,) * 3
        if not at_home or version.recipe.company_id != board.cafe.company_id:
            raise Refused(_("This does not belong to this café."))
        if roast_batch.coffee_id != version.recipe.coffee_id:
            raise Refused(_other_coffee(roast_batch, version))
        card = _card_for(station, version)
        board.slots.planned().filter(card=card).delete()
        slot = board.slots.create(card=card, version=version, kettle=kettle, planned_by=by)
        _add_setting(slot, roast_batch, grinder, grind_setting, by, now)
        return slot


def drop_planned(slot: Slot) -> None:
    """Take a slot out of the plan. Raises Refused if it is on the board by now."""
    with _locked(slot.board) as board:
        gone, _rows = board.slots.planned().filter(pk=slot.pk).delete()
        if not gone:
            raise Refused(_("This is no longer in the plan: it was published or removed a moment ago."))


def mark_leaving(slot: Slot, why: str) -> None:
    """Have the next publishing take a live slot off, because ``why``. Raises Refused if it is not live."""
    with _locked(slot.board) as board:
        live = _live(board, slot)
        live.leaving, live.withdrawn_why = True, why
        live.save(update_fields=["leaving", "withdrawn_why"])


def keep(slot: Slot) -> None:
    """Undo ``mark_leaving``. Raises Refused if the slot is not live any more."""
    with _locked(slot.board) as board:
        live = _live(board, slot)
        live.leaving, live.withdrawn_why = False, ""
        live.save(update_fields=["leaving", "withdrawn_why"])


# --- publishing


def findings(slot: Slot) -> tuple[Finding, ...]:
    """All that is wrong or doubtful with a planned slot where it would stand; errors first."""
    own = (Finding(Severity.ERROR, "board", "plan", None, what, mend) for what, mend in _out_of_place(slot))
    return (*own, *findings_at(slot.version.plan(), slot.kettle, slot.board.cafe))


def _out_of_place(slot: Slot) -> Iterator[tuple[str, str]]:
    """(what, mend) of whatever changed under a slot since it was planned."""
    version, setting = slot.version, slot.setting
    assert setting is not None, "a slot is planned together with its first setting"
    batch = setting.roast_batch
    if batch.coffee_id != version.recipe.coffee_id:
        yield _other_coffee(batch, version), _("Choose a batch of its coffee.")
    if batch.retired_at or batch.used_up_on:
        yield _("The batch %(label)s is used up.") % {"label": batch.label}, _("Choose one that is in use.")
    if version.based_on_id and version.is_draft and not (version.what_changed and version.why):
        yield _("The draft does not say what changed and why."), _("Open the draft and say so.")
    for row in (version, version.recipe.coffee, slot.card.station, slot.kettle, setting.grinder):
        if row.retired_at:
            yield _("%(name)s was taken out of use.") % {"name": row}, _("Bring it back, or plan another.")
    if version.recipe.retired_at:
        yield _("The recipe was taken out of use."), _("Bring it back, or take this out of the plan.")


def errors(slot: Slot) -> tuple[Finding, ...]:
    """What keeps a planned slot off the board."""
    return tuple(finding for finding in findings(slot) if finding.severity is Severity.ERROR)


def plan_mark(board: Board) -> str:
    """Names the board and the plan as they are now; any change to either makes another mark."""
    planned = board.slots.planned().order_by("pk").values_list("pk", "version__revision")
    leaving = board.slots.live().filter(leaving=True).order_by("pk").values_list("pk", flat=True)
    comes = ",".join(f"{pk}.{edits}" for pk, edits in planned)
    return f"{board.revision}+{comes}-{','.join(map(str, leaving))}"


def publish(board: Board, by: User, now: datetime, seen: str | None = None) -> Board:
    """Make the whole plan live at once; draft versions in it become published and frozen.

    ``seen`` is the `plan_mark` of what the person confirmed. Raises Moved if it no longer holds, NotReady if
    a planned slot has errors, Refused if nothing is planned. Then nothing has changed at all.
    """
    with _locked(board) as board:
        if seen is not None and seen != plan_mark(board):
            raise Moved(_("The board or the plan has changed since you looked. This is how it stands now."))
        planned = list(board.slots.planned().for_card())
        leaving = list(board.slots.live().filter(leaving=True))
        if not planned and not leaving:
            raise Refused(_("Nothing is planned, so there is nothing to publish."))
        # Nobody edits a draft between its review and its freezing.
        versions = RecipeVersion.objects.filter(pk__in=[slot.version_id for slot in planned])
        list(versions.select_for_update().order_by("pk"))
        wrong = {slot: found for slot in planned if (found := errors(slot))}
        if wrong:
            raise NotReady(wrong)
        versions.drafts().update(published_at=now, published_by=by)
        replaced_by = {slot.card_id: slot for slot in planned}
        for old in board.slots.live().filter(card__in=replaced_by):
            number = replaced_by[old.card_id].version.number
            _withdraw(old, by, now, _("Replaced by version %(number)d.") % {"number": number})
        for old in leaving:
            if old.card_id not in replaced_by:
                _withdraw(old, by, now, old.withdrawn_why)
        board.slots.filter(pk__in=[slot.pk for slot in planned]).update(published_at=now, published_by=by)
        board.published_at, board.published_by = now, by
        board.revision += 1
        board.save()
        return board


def _withdraw(slot: Slot, by: User, now: datetime, why: str) -> None:
    slot.withdrawn_at, slot.withdrawn_by, slot.withdrawn_why, slot.leaving = now, by, why, False
    slot.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_why", "leaving"])


# --- while it is live


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
    with _locked(slot.board) as board:
        slot = _live(board, slot)
        old = slot.setting
        assert old is not None, "a slot is planned together with its first setting"
        batch, grinder = roast_batch or old.roast_batch, grinder or old.grinder
        setting = old.grind_setting if grind_setting is None else grind_setting
        if batch.coffee_id != slot.card.recipe.coffee_id:
            raise Refused(_other_coffee(batch, slot.version))
        if grinder.cafe_id != board.cafe_id:
            raise Refused(_("This grinder stands in another café."))
        if (batch, grinder) == (old.roast_batch, old.grinder) and same_setting(setting, old.grind_setting):
            return slot
        if seen is not None and seen != old.pk:
            raise Moved(
                _("%(who)s changed this a moment ago. Nothing of yours was saved: look, then decide.")
                % {"who": old.set_by}
            )
        _add_setting(slot, batch, grinder, setting, by, now, note)
        _bump(board)
        return slot


def _add_setting(
    slot: Slot, batch: RoastBatch, grinder: Grinder, setting: str, by: User, now: datetime, note: str = ""
) -> None:
    slot.setting = slot.settings.create(
        roast_batch=batch, grinder=grinder, grind_setting=setting, set_at=now, set_by=by, note=note
    )
    slot.save(update_fields=["setting"])


def _live(board: Board, slot: Slot) -> Slot:
    found: Slot | None = board.slots.live().for_card().filter(pk=slot.pk).first()
    if found is None:
        raise Refused(_("This is no longer on the board. What you see now is what is live."))
    return found


def _other_coffee(batch: RoastBatch, version: RecipeVersion) -> str:
    names = {"label": batch.label, "theirs": batch.coffee.name, "ours": version.recipe.coffee.name}
    return _("The batch %(label)s is %(theirs)s; this recipe is for %(ours)s.") % names


# --- stations


def rename_station(station: Station, name: str) -> None:
    """Call a station something else; its codes stay, and the crew sees the new name at once."""
    with _locked(board_of(station.cafe)) as board:
        station.name = name
        station.save(update_fields=["name"])
        _bump(board)


def retire_station(station: Station) -> None:
    """Take a station out of use. Raises Refused while something is on it, or planned for it."""
    with _locked(board_of(station.cafe)) as board:
        if there := board.slots.filter(card__station=station, withdrawn_at=None).first():
            raise Refused(_("%(slot)s is still there. Take it off the board first.") % {"slot": there})
        station.retire()


# --- codes


@dataclass(frozen=True)
class Resolved:
    """Where a card's code leads: ``slot`` is what is live for it now, None once it has left the board."""

    card: CardCode
    slot: Slot | None
    printed_number: int | None
    live_at_station: tuple[Slot, ...]

    @property
    def stale(self) -> bool:
        """Whether a card in hand shows another version than the live one."""
        live_number = self.slot.version.number if self.slot else None
        return self.printed_number is not None and self.printed_number != live_number


def resolve(member: Member, code: str, printed_number: int | None = None) -> Resolved | None:
    """What a code, as scanned or typed, means to this member; None if it means nothing to them."""
    typed = "".join(letter for letter in code.upper() if letter.isalnum())
    cards = CardCode.objects.for_member(member).select_related("station__cafe", "recipe__coffee")
    card = cards.filter(code=typed).first()
    if card is None:
        return None
    live = tuple(Slot.objects.for_member(member).live().for_card().filter(card__station=card.station))
    slot = next((slot for slot in live if slot.card_id == card.pk), None)
    return Resolved(card, slot, printed_number, live)
