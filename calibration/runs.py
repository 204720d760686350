"""Checks under way: opened from a card, timed, cooling, entered. They outlive sign-outs, reloads and changes of device.

All times are the server's. A page says how long ago something was tapped, by a clock that only counts up, so that
neither a slow network nor a change of clocks moves the brew time.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from brewbar.crew.access import Member, Place
from brewbar.crew.models import Cafe, Membership, User
from calibration import attempts
from calibration.checking import BREW_TIME_POSSIBLE_S
from calibration.models import CheckRun, Reading
from recipes.models import Slot

STALE_AFTER = timedelta(hours=6)
"""A run of a business day that is over is left to itself as long, so that the turn of the day interrupts no brew."""
LEFT_IS_TOLD_DAYS = 3
LONGEST_SILENCE = timedelta(hours=2)
"""For so long a page without a network may keep a tap to itself."""
NEVER_KEPT = ("csrfmiddlewaretoken", "uuid", "slot", "later", "more", "left_by_itself")
MOST_KEPT, LONGEST_KEPT = 80, 400
"""Of what is typed: fields, and characters of each. No page of ours has more."""


class NotDone(Exception):
    """It cannot be done, or no longer. The text is the sentence to show."""


# --- opened


def open_run(
    slot: Slot,
    barista: User,
    uuid: UUID,
    now: datetime,
    kind: str = Reading.Kind.CHECK,
    was_served: bool = False,
) -> CheckRun:
    """A run of a live slot. The same tap again gives the same run; so does one like it before its first water."""
    cafe = slot.board.cafe
    like = {"cafe": cafe, "barista": barista, "slot": slot, "kind": kind, "was_served": was_served}
    if before := CheckRun.objects.filter(**like, uuid=uuid).first():
        return _run(before)
    if not slot.is_live:
        raise NotDone(_("This card has left the board. Start from what is live now."))
    day = cafe.business_day(now)
    try:
        with transaction.atomic():
            User.objects.select_for_update(no_key=True).get(pk=barista.pk)
            unpoured = CheckRun.objects.filter(barista=barista, slot=slot, business_day=day).open()
            unpoured = unpoured.filter(poured_at=None, brew_time_s=None)
            if waiting := unpoured.filter(**like).first():
                return _run(waiting)
            # Said otherwise before the first water: what was opened before is no brew.
            unpoured.update(closed_at=now, dropped_why=_("not brewed"))
            made: CheckRun = CheckRun.objects.create(
                **like,
                uuid=uuid4() if CheckRun.objects.filter(uuid=uuid).exists() else uuid,
                business_day=day,
                station=slot.card.station,
                attempt=attempts.of_brew(barista, cafe, slot.card.recipe_id, day, kind),
                opened_at=now,
            )
            return made
    except IntegrityError:
        raise NotDone(_("That page was sent twice. Start once more.")) from None


def _run(row: Any) -> CheckRun:
    assert isinstance(row, CheckRun)
    return row


# --- timed: anybody at the bar may stop a timer


@transaction.atomic
def pour(run: CheckRun, now: datetime, ago: timedelta = timedelta(0)) -> None:
    """First water. A second tap changes nothing."""
    row = _locked(run)
    if row.poured_at is None:
        row.poured_at = max(now - _within(ago), row.opened_at)
        row.save(update_fields=["poured_at"])


@transaction.atomic
def finish(run: CheckRun, now: datetime, ago: timedelta = timedelta(0)) -> None:
    """The bed shows. A second tap changes nothing. Raises NotDone for what is no brew time."""
    row = _locked(run)
    if row.poured_at is None:
        raise NotDone(_("The timer was not started. Type the brew time instead."))
    if row.brew_time_s is None:
        _timed(row, round((now - _within(ago) - row.poured_at).total_seconds()))


@transaction.atomic
def set_time(run: CheckRun, seconds: int) -> None:
    """A brew time that was read off another clock."""
    _timed(_locked(run), seconds)


@transaction.atomic
def step_back(run: CheckRun) -> None:
    """Undo the last tap of the timer: it runs on, or has not been started."""
    row = _locked(run)
    if row.brew_time_s is not None:
        row.brew_time_s = None
    else:
        row.poured_at = None
    _save_time(row)


def _timed(row: CheckRun, seconds: int) -> None:
    shortest, longest = BREW_TIME_POSSIBLE_S
    if not shortest <= seconds <= longest:
        raise NotDone(_("A brew time lies between 0:10 and 60:00."))
    row.brew_time_s = seconds
    _save_time(row)


def _save_time(row: CheckRun) -> None:
    """A time that was typed before says nothing of this one."""
    row.typed = {name: value for name, value in row.typed.items() if name not in ("minutes", "seconds")}
    row.save(update_fields=["poured_at", "brew_time_s", "typed"])


def _within(ago: timedelta) -> timedelta:
    return ago if timedelta(0) <= ago <= LONGEST_SILENCE else timedelta(0)


# --- entered, or not


def keep(run: CheckRun, said: Mapping[str, Any]) -> bool:
    """Keep what was typed of the reading, until it is saved; whether the run was still open."""
    typed = {
        # PostgreSQL holds no NUL
        name.replace("\0", ""): str(value).replace("\0", "")[:LONGEST_KEPT]
        for name, value in list(said.items())[:MOST_KEPT]
        if name not in NEVER_KEPT and value != ""
    }
    return bool(CheckRun.objects.filter(pk=run.pk).open().update(typed=typed))


def became(run: CheckRun, reading: Reading, now: datetime) -> None:
    """The run is over: it is this reading. One that was closed before stays as it was."""
    CheckRun.objects.filter(pk=run.pk).open().update(closed_at=now, reading=reading, attempt=reading.attempt)


@transaction.atomic
def drop(run: CheckRun, why: str, now: datetime) -> None:
    """Give up a brew, for a reason. It is counted."""
    row = _locked(run)
    row.closed_at, row.dropped_why = now, why
    row.save(update_fields=["closed_at", "dropped_why"])


def close_stale(cafe: Cafe, now: datetime) -> int:
    """What nobody came back to is a missed check once its business day is over; how many there were."""
    old = CheckRun.objects.filter(cafe=cafe, business_day__lt=cafe.business_day(now)).open()
    return int(old.filter(opened_at__lt=now - STALE_AFTER).update(closed_at=now))


def _locked(run: CheckRun) -> CheckRun:
    row: CheckRun = CheckRun.objects.select_for_update(of=("self",)).get(pk=run.pk)
    if row.closed_at is not None:
        raise NotDone(_("This check is closed already."))
    return row


# --- seen


def seen_at(place: Place) -> QuerySet[CheckRun]:
    """The runs of the café: whoever stands at its bar may stop a timer."""
    rows: QuerySet[CheckRun] = CheckRun.objects.for_member(place).select_related(
        "barista", "station", "cafe", "slot__version__recipe", "slot__card", "reading"
    )
    return rows


def open_at(place: Place) -> list[CheckRun]:
    """What is under way at the café, the oldest first."""
    return list(seen_at(place).filter(closed_at=None))


def left_lately(member: Member, now: datetime) -> list[CheckRun]:
    """Brewed in the last days and never entered: one's own, and for a head barista everybody's."""
    since = member.cafe.business_day(now) - timedelta(days=LEFT_IS_TOLD_DAYS)
    rows = seen_at(member).filter(
        business_day__gte=since, closed_at__isnull=False, reading=None, dropped_why=""
    )
    rows = rows.exclude(poured_at=None, brew_time_s=None)
    return list(rows if member.is_head else rows.filter(barista=member.user))


def waiting_for(member: Member, slot: Slot) -> CheckRun | None:
    """One's own check of this card that was brewed and not entered yet."""
    own = seen_at(member).filter(barista=member.user, slot__card=slot.card_id, closed_at=None)
    return own.exclude(poured_at=None, brew_time_s=None).first()


def may_enter(member: Place, run: CheckRun) -> bool:
    """Whether it is theirs to enter or drop: one's own, and for a head barista everybody's."""
    return member.is_head or (isinstance(member, Member) and member.user.pk == run.barista_id)


def membership_of(run: CheckRun) -> Membership | None:
    """Whose PIN opens the entry of a run on the café's tablets."""
    rows = Membership.objects.active().filter(cafe=run.cafe_id, user=run.barista_id)
    return rows.first()
