"""One version to several cafés at once: in all that were chosen, or in none.

A recipe belongs to the company and a board to its café, so this is the one change that touches more than one board.
Whoever makes it is head barista of each of them, by a membership of their own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from brewbar.crew.access import places_of
from brewbar.crew.models import Cafe, User
from recipes.everywhere import New, coming, headed, live_of, mark_of
from recipes.models import Board, RecipeVersion, Slot
from recipes.publishing import (
    add_setting,
    board_as_it_stands,
    brewed_with,
    card_for,
    check_fits,
    freeze,
    take_off,
)
from recipes.readiness import errors
from recipes.turns import Moved, Refused, all_locked, noted, place_of

Step = tuple[Slot | None, Slot]
"""What goes, if anything, and what comes, not saved yet."""


@dataclass(frozen=True)
class Chosen:
    """A café to publish in, as it stood when it was looked at; ``new`` where the recipe is not live."""

    cafe: Cafe
    seen: str
    new: New | None = None


def publish_in(version: RecipeVersion, chosen: Sequence[Chosen], by: User, now: datetime) -> list[Cafe]:
    """Make ``version`` live in all the ``chosen`` cafés in one go; gives those where something changed.

    A draft becomes published and frozen. What is planned on the boards stays planned. Where it stands everywhere
    already, nothing is done. Raises Moved if a café no longer stands as it was looked at, Refused if ``by`` is not
    its head barista or the version is not ready there. Then nothing has changed anywhere.
    """
    choices = {choice.cafe.pk: choice for choice in chosen}
    with all_locked([board_as_it_stands(choice.cafe, now) for choice in choices.values()]) as boards:
        _check_headed(boards, version, by)
        # All boards before any version, as wherever one is published: nobody who waits holds what the other wants.
        version = RecipeVersion.objects.select_for_update().get(pk=version.pk)
        live = {board: live_of(board, version) for board in boards}
        if all(_have_it(slots, version) for slots in live.values()):
            return []
        _check_unmoved(boards, version, choices, now)
        steps = {board: _steps(board, version, live[board], choices[board.cafe_id].new) for board in boards}
        _check_ready(steps)
        freeze([version], by, now)
        for board in boards:
            _put_on(board, steps[board], by, now)
        return [board.cafe for board in boards if steps[board]]


def _steps(board: Board, version: RecipeVersion, live: Sequence[Slot], new: New | None) -> list[Step]:
    if live:
        return [(slot, coming(board, version, slot)) for slot in live if slot.version_id != version.pk]
    if new is None:
        raise Refused(_("Say where %(cafe)s brews it, and with what.") % {"cafe": board.cafe})
    check_fits(board, new.station, version, new.roast_batch, new.grinder, new.kettle)
    return [(None, coming(board, version, new))]


def _have_it(live: Sequence[Slot], version: RecipeVersion) -> bool:
    return bool(live) and all(slot.version_id == version.pk for slot in live)


def _check_headed(boards: Sequence[Board], version: RecipeVersion, by: User) -> None:
    mine = {place.cafe.pk for place in headed(places_of(by), version.recipe.company)}
    for board in boards:
        if board.cafe_id not in mine:
            raise Refused(_("You are not head barista of %(cafe)s (any more).") % {"cafe": board.cafe})


def _check_unmoved(
    boards: Sequence[Board], version: RecipeVersion, choices: Mapping[int, Chosen], now: datetime
) -> None:
    moved = [
        board
        for board in boards
        if choices[board.cafe_id].seen != mark_of(board, version) or (board.due_at and board.due_at <= now)
    ]
    if moved:
        raise Moved(told_moved([board.cafe for board in moved]))


def told_moved(cafes: Sequence[Cafe]) -> str:
    return _(
        "The board or the plan of %(cafes)s has changed since you looked. What you chose is still here, beside how "
        "it stands now."
    ) % {"cafes": together(cafes)}


def together(things: Sequence[object]) -> str:
    """A, B and C."""
    return get_text_list([str(thing) for thing in things], _("and"))


def _check_ready(steps: Mapping[Board, list[Step]]) -> None:
    unready = [board.cafe for board, there in steps.items() if any(errors(new) for _old, new in there)]
    if unready:
        raise Refused(
            _("It is not ready for %(cafes)s, so it was published nowhere. What is wrong stands there.")
            % {"cafes": together(unready)}
        )


def _put_on(board: Board, steps: list[Step], by: User, now: datetime) -> None:
    """Have each new slot live, in place of the old one where there is one."""
    if not steps:
        return
    for old, new in steps:
        setting = new.setting
        assert setting is not None, "it was made together with one"
        new.card = card_for(new.card.station, new.card.recipe)
        new.setting, new.planned_by = None, by
        # Published from the first: what is planned for this card stays planned.
        new.published_at, new.published_by = now, by
        if old is not None:
            # The next publishing takes it off, if that was the plan.
            new.leaving, new.withdrawn_why = old.leaving, old.withdrawn_why
            take_off(old, by, now, _("Replaced by version %(number)d.") % {"number": new.version.number})
        new.save(force_insert=True)
        add_setting(new, setting.roast_batch, setting.grinder, setting.grind_setting, by, now)
        _drop_the_same(board, new)
    board.published_at, board.published_by = now, by
    board.revision += 1
    board.save(update_fields=["published_at", "published_by", "revision"])
    noted(
        board,
        _("published in several cafés"),
        _("the board"),
        by,
        before={place_of(old): brewed_with(old) for old, _new in steps if old is not None},
        after={place_of(new): brewed_with(new) for _old, new in steps},
    )


def _drop_the_same(board: Board, new: Slot) -> None:
    """Take what is planned for the card out of the plan if it would bring just what is live now."""
    planned = board.slots.planned().for_card().filter(card=new.card, version=new.version).first()
    if planned is not None and brewed_with(planned) == brewed_with(new):
        planned.delete()
