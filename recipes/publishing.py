"""Plan what goes on a café's board, and publish it all at once: by hand, or when its hour has come."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from django.db import IntegrityError
from django.utils.text import Truncator
from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe, Change, Station, User
from brewbar.crew.record import note, through
from recipes.aims import OwnAims
from recipes.models import Board, CardCode, Grinder, Kettle, Recipe, RecipeVersion, RoastBatch, Slot
from recipes.readiness import NotReady, errors, other_coffee
from recipes.turns import Moved, Refused, board_of, locked, noted, place_of

TRIES_FOR_A_CODE = 8


@contextmanager
def turn_at(board: Board, now: datetime) -> Iterator[Board]:
    """The board's row, locked, after whatever was due by ``now`` has gone live."""
    bring_up_to_date(Board.objects.get(pk=board.pk), now)
    with locked(board) as board:
        yield board


# --- planning


def card_for(station: Station, recipe: Recipe) -> CardCode:
    """The permanent code of this station and this recipe, made when first asked for."""
    for attempt in range(1, TRIES_FOR_A_CODE + 1):
        try:
            return CardCode.objects.get_or_create(station=station, recipe=recipe)[0]
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
    with turn_at(board, now) as board:
        check_fits(board, station, version, roast_batch, grinder, kettle)
        card = card_for(station, version.recipe)
        board.slots.planned().filter(card=card).delete()
        slot = board.slots.create(card=card, version=version, kettle=kettle, planned_by=by)
        add_setting(slot, roast_batch, grinder, grind_setting, by, now)
        return slot


def check_fits(
    board: Board,
    station: Station,
    version: RecipeVersion,
    roast_batch: RoastBatch,
    grinder: Grinder,
    kettle: Kettle,
) -> None:
    """Raise Refused unless all of it belongs to the board's café, and the batch is of the recipe's coffee."""
    at_home = (station.cafe_id, grinder.cafe_id, kettle.cafe_id) == (board.cafe_id,) * 3
    if not at_home or version.recipe.company_id != board.cafe.company_id:
        raise Refused(_("This does not belong to this café."))
    if roast_batch.coffee_id != version.recipe.coffee_id:
        raise Refused(other_coffee(roast_batch, version))


def add_setting(
    slot: Slot, batch: RoastBatch, grinder: Grinder, setting: str, by: User, now: datetime, note: str = ""
) -> None:
    slot.setting = slot.settings.create(
        roast_batch=batch, grinder=grinder, grind_setting=setting, set_at=now, set_by=by, note=note
    )
    slot.save(update_fields=["setting"])


def drop_planned(slot: Slot, now: datetime) -> None:
    """Take a slot out of the plan. Raises Refused if it is on the board by now."""
    with turn_at(slot.board, now) as board:
        gone, _rows = board.slots.planned().filter(pk=slot.pk).delete()
        if not gone:
            raise Refused(_("This is no longer in the plan: it was published or removed a moment ago."))


def mark_leaving(slot: Slot, why: str, now: datetime) -> None:
    """Have the next publishing take a live slot off, because ``why``. Raises Refused if it is not live."""
    with turn_at(slot.board, now) as board:
        live = still_live(board, slot)
        live.leaving, live.withdrawn_why = True, why
        live.save(update_fields=["leaving", "withdrawn_why"])


def keep(slot: Slot, now: datetime) -> None:
    """Undo ``mark_leaving``. Raises Refused if the slot is not live any more."""
    with turn_at(slot.board, now) as board:
        live = still_live(board, slot)
        live.leaving, live.withdrawn_why = False, ""
        live.save(update_fields=["leaving", "withdrawn_why"])


def still_live(board: Board, slot: Slot) -> Slot:
    """The slot as it is now. Raises Refused if it has left the board."""
    found: Slot | None = board.slots.live().for_card().filter(pk=slot.pk).first()
    if found is None:
        raise Refused(_("This is no longer on the board. What you see now is what is live."))
    return found


# --- publishing


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
    with turn_at(board, now) as board:
        if seen is not None and seen != plan_mark(board):
            raise Moved(_("The board or the plan has changed since you looked. This is how it stands now."))
        _put_on(board, by, now, _("published"))
        return board


def bring_up_to_date(board: Board, now: datetime) -> bool:
    """Publish the plan if its hour has come by ``now``; True if ``board`` no longer says how things stand.

    To be asked before a board is read. It costs nothing while nothing is due, and of many who ask at once the
    first does it. Where the plan cannot be published, the board stays as it is and says why to head baristas.
    """
    if board.due_at is None or board.due_at > now:
        return False
    # Whoever reads the board at that hour has no part in it: nothing is noted of the device they read it on.
    with locked(board) as board, through(""):
        if board.due_at is None or board.due_at > now:
            return True
        by, at = board.due_by, board.due_at
        assert by is not None, "the database holds that what is due is due by somebody"
        try:
            _put_on(board, by, at, _("published, as set before"))
        except Refused as refused:
            trouble = refused.details if isinstance(refused, NotReady) else str(refused)
            board.due_at, board.due_by = None, None
            board.due_trouble = Truncator(trouble).chars(500)
            board.save(update_fields=["due_at", "due_by", "due_trouble"])
            noted(board, _("not published, though it was due"), _("the plan"), by, why=board.due_trouble)
    return True


def board_as_it_stands(cafe: Cafe, now: datetime) -> Board:
    board = board_of(cafe)
    return board_of(cafe) if bring_up_to_date(board, now) else board


def slot_as_it_stands(slot: Slot, now: datetime) -> Slot:
    """The slot, read anew if its board had something due."""
    if not bring_up_to_date(slot.board, now):
        return slot
    anew: Slot = Slot.objects.for_card().get(pk=slot.pk)
    return anew


def ready(board: Board) -> list[Slot]:
    """What is planned. Raises NotReady if any of it has errors, Refused if there is nothing to publish."""
    versions = list(board.slots.planned().values_list("version", flat=True))
    if not versions and not board.slots.live().filter(leaving=True).exists():
        raise Refused(_("Nothing is planned, so there is nothing to publish."))
    # Nobody edits a draft between its review and its freezing, nor publishes it in another café.
    list(RecipeVersion.objects.select_for_update().filter(pk__in=versions).order_by("pk"))
    planned = list(board.slots.planned().for_card())
    own = OwnAims.of([board.cafe], [slot.version.recipe_id for slot in planned])
    held = {slot: own.standing(board.cafe.pk, slot.version) for slot in planned}
    wrong = {slot: found for slot, aims in held.items() if (found := errors(slot, aims))}
    if wrong:
        raise NotReady(wrong)
    return planned


def _put_on(board: Board, by: User, now: datetime, what: str) -> None:
    planned = ready(board)
    replaced_by = {slot.card_id: slot for slot in planned}
    live = list(board.slots.live().for_card())
    going = [slot for slot in live if slot.leaving or slot.card_id in replaced_by]
    freeze([slot.version for slot in planned], by, now)
    for old in going:
        new = replaced_by.get(old.card_id)
        words = {"number": new.version.number} if new else {}
        why = _("Replaced by version %(number)d.") % words if new else old.withdrawn_why
        take_off(old, by, now, why)
    board.slots.filter(pk__in=[slot.pk for slot in planned]).update(published_at=now, published_by=by)
    board.published_at, board.published_by = now, by
    board.due_at, board.due_by, board.due_trouble = None, None, ""
    board.revision += 1
    board.save()
    noted(
        board,
        what,
        _("the board"),
        by,
        before={place_of(slot): brewed_with(slot) for slot in going},
        after={place_of(slot): brewed_with(slot) for slot in planned},
        why=" ".join(slot.withdrawn_why for slot in going if slot.card_id not in replaced_by),
    )


def freeze(versions: list[RecipeVersion], by: User, now: datetime) -> None:
    """Publish those of ``versions`` that are drafts; from then on they cannot change."""
    drafts = {version.pk: version for version in versions if version.is_draft}
    RecipeVersion.objects.filter(pk__in=drafts).update(published_at=now, published_by=by)
    for version in drafts.values():
        version.published_at, version.published_by = now, by
        note(
            company=version.recipe.company,
            about=Change.About.RECIPE,
            what=_("published"),
            subject=version,
            by=by,
            after={"what changed": version.what_changed} if version.what_changed else None,
            why=version.why,
        )


def take_off(slot: Slot, by: User, now: datetime, why: str, replaced_by: Slot | None = None) -> None:
    """Withdraw a live slot. ``replaced_by`` is a slot of another card: under its own code a card leads on."""
    assert slot.published_at is not None, "what is live was published"
    # Who waited long for the lock may carry an older time than the one who went before.
    slot.withdrawn_at = max(now, slot.published_at)
    slot.withdrawn_by, slot.withdrawn_why, slot.leaving = by, why, False
    slot.replaced_by = replaced_by
    slot.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_why", "leaving", "replaced_by"])


def brewed_with(slot: Slot) -> str:
    """Version, batch and grind in a few words, for the record."""
    setting = slot.setting
    assert setting is not None, "a slot is planned together with its first setting"
    return _("version %(number)d, %(batch)s, %(setting)s on %(grinder)s, %(kettle)s") % {
        "number": slot.version.number,
        "batch": setting.roast_batch.label,
        "setting": setting.grind_setting,
        "grinder": setting.grinder,
        "kettle": slot.kettle,
    }
