"""The hour at which a plan goes on the board by itself, on the café's own wall clock."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

from django.utils.translation import gettext as _

from brewbar import dates
from brewbar.crew.models import Cafe, User
from recipes.models import Board
from recipes.publishing import ready, turn_at
from recipes.readiness import NotReady
from recipes.turns import Refused, noted

FURTHEST_AHEAD = timedelta(days=14)


def next_turn(cafe: Cafe, now: datetime) -> datetime:
    """When the business day of ``now`` ends and the next begins."""
    day = cafe.business_day(now) + timedelta(days=1)
    wall = datetime.combine(day, time(cafe.day_turns_at), cafe.zone)
    # An hour that the clocks skip that night is the first one after the gap.
    return wall.astimezone(UTC).astimezone(cafe.zone)


def set_due(board: Board, at: datetime, by: User, now: datetime) -> None:
    """Have the plan go live by itself at ``at``, as it is then.

    Raises Refused if that is past or too far ahead or nothing is planned, NotReady if the plan has errors.
    """
    with turn_at(board, now) as board:
        if at <= now:
            raise Refused(_("This moment is past. Choose a later one, or publish now."))
        if at - now > FURTHEST_AHEAD:
            raise Refused(_("At most %(days)d days ahead.") % {"days": FURTHEST_AHEAD.days})
        try:
            ready(board)
        except NotReady as refused:
            raise Refused(
                _("This could not go live as it is. %(why)s") % {"why": refused.details}
            ) from refused
        before = _written(board)
        board.due_at, board.due_by, board.due_trouble = at, by, ""
        board.save(update_fields=["due_at", "due_by", "due_trouble"])
        what = _("set to go live by itself")
        noted(board, what, _("the plan"), by, before=before, after=_written(board))


def clear_due(board: Board, by: User, now: datetime) -> None:
    """Leave the plan for somebody to publish; a word about one that could not go live is taken away too."""
    with turn_at(board, now) as board:
        before = _written(board)
        board.due_at, board.due_by, board.due_trouble = None, None, ""
        board.save(update_fields=["due_at", "due_by", "due_trouble"])
        if before:
            noted(board, _("no longer to go live by itself"), _("the plan"), by, before=before)


def _written(board: Board) -> dict[str, str]:
    if board.due_at is None:
        return {}
    return {_("goes live"): f"{board.due_at.astimezone(board.cafe.zone):%Y-%m-%d %H:%M}"}


def said(board: Board, now: datetime) -> str:
    """When the plan goes live, as one says it: "tomorrow at 05:00"; blank while it does not by itself."""
    if board.due_at is None:
        return ""
    at, today = board.due_at.astimezone(board.cafe.zone), now.astimezone(board.cafe.zone).date()
    words = {"day": dates.day(at, weekday=True), "time": dates.time_of_day(at)}
    if at.date() == today:
        return _("today at %(time)s") % words
    if at.date() == today + timedelta(days=1):
        return _("tomorrow at %(time)s") % words
    return _("on %(day)s at %(time)s") % words


def mark(board: Board) -> str:
    """Names what head baristas are told about the plan's hour; anything new to tell makes another mark."""
    if board.due_at is not None:
        return f"{board.due_at.timestamp():.0f}"
    return "missed" if board.due_trouble else "none"
