"""Two people at one board take turns: every write locks the café's Board row first.

`Board.revision` grows with every change the crew can see, and with nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager

from django.db import transaction

from brewbar.crew.models import Cafe, Change, User
from brewbar.crew.record import note
from recipes.models import Board, Slot


class Refused(Exception):
    """What was asked for cannot be done as things stand; its text is the sentence to show."""


class Moved(Refused):
    """Somebody else changed the board or the plan since this person last saw it."""


def board_of(cafe: Cafe) -> Board:
    """The café's one board; an empty one at first."""
    board, _made = Board.objects.get_or_create(cafe=cafe)
    board.cafe = cafe
    return board


@contextmanager
def locked(board: Board) -> Iterator[Board]:
    """A transaction with the board's row as it is now; whoever comes second waits for the first."""
    with transaction.atomic():
        # SQLite has no row locks: its transactions begin IMMEDIATE here, which locks more than this row.
        rows = Board.objects.select_for_update(of=("self",)).select_related("cafe__company", "due_by")
        yield rows.get(pk=board.pk)


@contextmanager
def all_locked(boards: Iterable[Board]) -> Iterator[list[Board]]:
    """Several boards at once, always in the same order: of two who want both, the second waits for the first."""
    with transaction.atomic():
        rows = Board.objects.select_for_update(of=("self",)).select_related("cafe__company", "due_by")
        yield list(rows.filter(pk__in=[board.pk for board in boards]).order_by("pk"))


def show(board: Board) -> None:
    """Have every open page of the board fetch it anew."""
    board.revision += 1
    board.save(update_fields=["revision"])


def noted(
    board: Board,
    what: str,
    subject: object,
    by: User,
    *,
    before: Mapping[str, str] | None = None,
    after: Mapping[str, str] | None = None,
    why: str = "",
) -> None:
    """Add a change of a board, its plan or its stations to the record."""
    note(
        company=board.cafe.company,
        cafe=board.cafe,
        about=Change.About.BOARD,
        what=what,
        subject=subject,
        by=by,
        before=before,
        after=after,
        why=why,
    )


def place_of(slot: Slot) -> str:
    return f"{slot.card.station}: {slot.card.recipe}"
