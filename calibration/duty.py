"""Who brews today, who is due a check, and what became of it. There is no rota: whoever signs in is on.

A business day's row is made once for each person. Who brews the check twice is drawn as it is made, so that nobody
can choose it; the draw stays, whatever is marked later.
"""

from __future__ import annotations

import secrets
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Protocol

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _

from brewbar.crew.access import Member, Place, places_of
from brewbar.crew.models import Cafe, Membership, Role, User
from calibration import bulk, check_plans
from calibration.models import CheckPlan, CheckRun, OnDuty, Reading

WEEKS_BACK = 4
PASSING = timedelta(minutes=10)
"""Whoever comes on in another café so soon after has only opened the wrong board: a browser begins at any of them."""


class Draws(Protocol):
    def random(self) -> float: ...


LOTS: Draws = secrets.SystemRandom()


# --- coming on


def come(
    cafe: Cafe,
    user: User,
    now: datetime,
    how: str = OnDuty.How.SIGNED_IN,
    marked_by: User | None = None,
    lots: Draws = LOTS,
) -> OnDuty:
    """The person's row of the business day: what is there already, or a new one with its draw."""
    day = cafe.business_day(now)
    row: OnDuty | None = OnDuty.objects.filter(cafe=cafe, business_day=day, user=user).first()
    if row is not None:
        if _only_passed(row):
            row.off_since = None
            row.save(update_fields=["off_since"])
        return row
    plan = check_plans.of(cafe)
    made: OnDuty = OnDuty.objects.get_or_create(
        cafe=cafe,
        business_day=day,
        user=user,
        defaults={
            "since": now,
            "how": how,
            "marked_by": marked_by,
            "asked_twice": plan.recipe_id is not None and lots.random() < plan.twice_share,
        },
    )[0]
    return made


def signed_in(user: User, tablet: Any, now: datetime) -> OnDuty | None:
    """Where somebody comes on who has just signed in.

    On a tablet that is its café. With roles in several cafés nobody knows yet: the board they open tells.
    """
    places = [place for place in places_of(user) if place.may_brew]
    if tablet is not None:
        places = [place for place in places if place.cafe == tablet.station.cafe]
    return come(places[0].cafe, user, now) if len(places) == 1 else None


@transaction.atomic
def here(place: Place | None, now: datetime) -> OnDuty | None:
    """The row of whoever has opened the board or the check; None for those who do not brew.

    A head barista of several cafés looks after boards they do not stand at: they are on where they brew, are marked,
    or sign in on the bar's tablet.
    """
    if not isinstance(place, Member) or not place.may_brew:
        return None
    if place.is_head and sum(other.is_head for other in places_of(place.user)) > 1:
        on = _of_today(place.cafe, place.user, now).first()
        return None if on is None or _only_passed(on) else on
    row = come(place.cafe, place.user, now)
    _passed_through(row, now)
    return row


def _passed_through(row: OnDuty, now: datetime) -> None:
    """Leave no check due in another café whose board somebody opened a moment before, on their way to this one."""
    others = OnDuty.objects.filter(
        user=row.user_id, how=OnDuty.How.SIGNED_IN, off_since=None, since__gt=now - PASSING, since__lte=now
    ).exclude(cafe=row.cafe_id)
    for other in others.filter(too_busy_at=None):
        busy = {"cafe": other.cafe_id, "barista": other.user_id, "business_day": other.business_day}
        if not CheckRun.objects.filter(**busy).exists() and not Reading.objects.filter(**busy).exists():
            OnDuty.objects.filter(pk=other.pk).update(off_since=other.since - timedelta(seconds=1))


def _only_passed(row: OnDuty) -> bool:
    """Off before they came: nobody took the mark back, they had opened the wrong board."""
    return row.off_since is not None and row.off_since < row.since


def brewed(cafe: Cafe, user: User, day: date, now: datetime) -> OnDuty | None:
    """A brew was entered for ``day``. One of a day that is over asks nobody to brew again."""
    if day == cafe.business_day(now):
        return come(cafe, user, now, OnDuty.How.BREWED)
    row: OnDuty = OnDuty.objects.get_or_create(
        cafe=cafe, business_day=day, user=user, defaults={"since": now, "how": OnDuty.How.BREWED}
    )[0]
    return row


def many_brewed(cafe: Cafe, whose: Iterable[tuple[User, date]], now: datetime) -> None:
    """As `brewed`, for many brews at once."""
    today, table = cafe.business_day(now), bulk.Table(OnDuty)
    said = table.new({"cafe": cafe, "since": now, "how": OnDuty.How.BREWED.value})
    past = []
    for user, day in whose:
        if day == today:
            brewed(cafe, user, day, now)
        else:
            past.append(said.copy())
            table.fill(past[-1], {"business_day": day, "user": user})
    if past:
        table.write(
            ([key, *row] for key, row in zip(table.keys(len(past)), past, strict=True)), or_leave=True
        )


def many_taken_back(cafe: Cafe, at: datetime) -> None:
    """Brews that `many_brewed` was told of at that moment count no longer: whoever was on for them alone was not.

    A day that was not over then has its draw, and keeps it.
    """
    rows = OnDuty.objects.filter(cafe=cafe, since=at, how=OnDuty.How.BREWED, off_since=None, too_busy_at=None)
    same = {"cafe": cafe, "barista": OuterRef("user"), "business_day": OuterRef("business_day")}
    standing, runs = Reading.objects.standing().filter(**same), CheckRun.objects.filter(**same)
    rows = rows.filter(business_day__lt=cafe.business_day(at))
    rows.exclude(Exists(standing)).exclude(Exists(runs)).delete()


# --- marked


@transaction.atomic
def mark_on(cafe: Cafe, user: User, by: User, now: datetime) -> OnDuty:
    """A head barista says that somebody brews today who has not signed in."""
    row = come(cafe, user, now, OnDuty.How.MARKED, by)
    if row.off_since is not None:
        OnDuty.objects.filter(pk=row.pk).update(off_since=None)
    return row


def take_off(cafe: Cafe, user: User, now: datetime) -> bool:
    """A head barista says that somebody is not on today after all; whether they were."""
    return bool(_of_today(cafe, user, now).filter(off_since=None).update(off_since=now))


@transaction.atomic
def too_busy(cafe: Cafe, user: User, now: datetime, note: str = "") -> None:
    """Allowed, and counted; a check that is brewed after all undoes it."""
    come(cafe, user, now)
    _of_today(cafe, user, now).update(too_busy_at=now, too_busy_note=note)


def not_too_busy(cafe: Cafe, user: User, now: datetime) -> None:
    _of_today(cafe, user, now).update(too_busy_at=None, too_busy_note="")


def _of_today(cafe: Cafe, user: User, now: datetime) -> Any:
    return OnDuty.objects.filter(cafe=cafe, business_day=cafe.business_day(now), user=user)


def not_on(cafe: Cafe, day: date) -> list[User]:
    """Who brews at the café but is not on that day."""
    crew = Membership.objects.active().filter(cafe=cafe).exclude(role=Role.OWNER)
    on = OnDuty.objects.filter(cafe=cafe, business_day=day, off_since=None)
    return list(User.objects.filter(pk__in=crew.values("user")).exclude(pk__in=on.values("user")))


# --- who is due


@dataclass(frozen=True)
class Turn:
    """One person's day. ``state`` is one of the constants of this module."""

    row: OnDuty
    state: str
    running: tuple[CheckRun, ...] = ()

    @property
    def person(self) -> User:
        return self.row.user

    @property
    def is_asked(self) -> bool:
        return self.state in ASKED

    @property
    def word(self) -> str:
        return {
            DONE: _("done"),
            REPEAT: _("once more, by lot"),
            BREWING: _("brewing"),
            DUE: _("due"),
            BUSY: _("too busy"),
            MISSED: _("missing"),
            RESTING: _("not due yet"),
            UNASKED: _("nothing asked"),
        }[self.state]


DONE, REPEAT, BREWING, DUE, BUSY, MISSED, RESTING, UNASKED = (
    "done",
    "repeat",
    "brewing",
    "due",
    "busy",
    "missed",
    "resting",
    "unasked",
)
ASKED = frozenset({DUE, REPEAT, BREWING})
"""What is still to be brewed."""
COUNTED = frozenset({DONE, REPEAT, BREWING, DUE, BUSY, MISSED})
"""Who was due that day, whatever came of it."""


def day_at(cafe: Cafe, day: date, now: datetime, plan: CheckPlan | None = None) -> list[Turn]:
    """Everybody who is on that business day, in the order they came. Those marked off are left out."""
    rows = OnDuty.objects.filter(cafe=cafe, business_day=day, off_since=None).select_related("user")
    return list(_turns(cafe, rows, now, plan or check_plans.of(cafe)))


def turn_of(row: OnDuty, now: datetime, plan: CheckPlan | None = None) -> Turn:
    """One person's own day."""
    (turn,) = _turns(row.cafe, [row], now, plan or check_plans.of(row.cafe))
    return turn


def _turns(cafe: Cafe, rows: Iterable[OnDuty], now: datetime, plan: CheckPlan) -> Iterator[Turn]:
    rows = list(rows)
    if not rows:
        return
    days = [row.business_day for row in rows]
    brews = brews_of(plan, min(days) - timedelta(days=plan.every_days - 1), max(days))
    today = cafe.business_day(now)
    running: dict[tuple[int, date], list[CheckRun]] = defaultdict(list)
    open_runs = CheckRun.objects.filter(cafe=cafe, business_day__in=set(days), kind=Reading.Kind.CHECK).open()
    for run in open_runs.filter(slot__card__recipe=plan.recipe_id):
        running[run.barista_id, run.business_day].append(run)
    for row in rows:
        own = tuple(running[row.user_id, row.business_day])
        state = state_of(row, brews[row.user_id], plan, bool(own), row.business_day < today)
        yield Turn(row, state, own)


Brews = dict[date, set[str]]
"""The attempts of each day on which somebody's check counted."""


def brews_of(plan: CheckPlan, first: date, last: date) -> dict[int, Brews]:
    """{barista: {day: attempts}} of the counted brews of the check recipe."""
    found: dict[int, Brews] = defaultdict(lambda: defaultdict(set))
    rows = Reading.objects.counted().filter(
        cafe=plan.cafe, version__recipe=plan.recipe_id, business_day__range=(first, last)
    )
    for barista, day, attempt in rows.values_list("barista", "business_day", "attempt"):
        found[barista][day].add(attempt)
    return found


def state_of(row: OnDuty, brews: Brews, plan: CheckPlan, is_running: bool, is_over: bool) -> str:
    """What became of somebody's day, or will."""
    if plan.recipe_id is None or (plan.recipe_since and row.business_day < plan.recipe_since):
        return UNASKED
    attempts = brews.get(row.business_day)
    if attempts:
        once_more = row.asked_twice and Reading.Attempt.REPEAT not in attempts and not is_over
        return (BREWING if is_running else REPEAT) if once_more else DONE
    if is_running and not is_over:
        return BREWING
    if row.too_busy_at is not None:
        return BUSY
    lately = (row.business_day - timedelta(days=back) for back in range(1, plan.every_days))
    if any(brews.get(day) for day in lately):
        return RESTING
    return MISSED if is_over else DUE


# --- what became of it


@dataclass(frozen=True)
class Tally:
    """What stands beside every chart, since a crew that retakes until it is good looks perfect.

    due: checks that were asked for, of days that are over; done, too_busy, missed: what came of them; twice, repeats:
    days drawn to be brewed twice on which there was a first brew, and how many were; rebrews: brewed again unasked;
    voids: check brews that a head barista voided; dropped: brews begun and given up; left: begun and never entered.
    """

    due: int
    done: int
    too_busy: int
    missed: int
    twice: int
    repeats: int
    rebrews: int
    voids: int
    dropped: int
    left: int


def tally(cafe: Cafe, first: date, last: date, now: datetime, user: User | None = None) -> Tally:
    """Counts of the days from ``first`` to ``last``, both with them; of one person if ``user`` is given."""
    plan = check_plans.of(cafe)
    whose: dict[str, Any] = {} if user is None else {"user": user}
    brewer: dict[str, Any] = {} if user is None else {"barista": user}
    until = min(last, cafe.business_day(now) - timedelta(days=1))
    rows = OnDuty.objects.filter(cafe=cafe, business_day__range=(first, until), off_since=None, **whose)
    brews = brews_of(plan, first - timedelta(days=plan.every_days - 1), until)
    states = [(row, state_of(row, brews[row.user_id], plan, False, True)) for row in rows]
    drawn = [
        brews[row.user_id][row.business_day] for row, state in states if row.asked_twice and state == DONE
    ]
    checks = Reading.objects.filter(
        cafe=cafe, business_day__range=(first, last), kind=Reading.Kind.CHECK, **brewer
    )
    if plan.recipe_id is not None:
        checks = checks.filter(version__recipe=plan.recipe_id)
    runs = CheckRun.objects.filter(cafe=cafe, business_day__range=(first, last), reading=None, **brewer)
    runs = runs.filter(closed_at__isnull=False, kind=Reading.Kind.CHECK)
    # A card that was opened and not brewed from is no brew.
    runs = runs.exclude(poured_at=None, brew_time_s=None)
    return Tally(
        due=sum(state in COUNTED for _row, state in states),
        done=sum(state == DONE for _row, state in states),
        too_busy=sum(state == BUSY for _row, state in states),
        missed=sum(state == MISSED for _row, state in states),
        twice=len(drawn),
        repeats=sum(Reading.Attempt.REPEAT in attempts for attempts in drawn),
        rebrews=checks.standing().filter(attempt=Reading.Attempt.REBREW).count(),
        voids=checks.exclude(voided_at=None).count(),
        dropped=runs.exclude(dropped_why="").count(),
        left=runs.filter(dropped_why="").count(),
    )


def last_weeks(cafe: Cafe, now: datetime) -> tuple[date, date]:
    """The days that pages count back over: four weeks that are over."""
    yesterday = cafe.business_day(now) - timedelta(days=1)
    return yesterday - timedelta(days=7 * WEEKS_BACK - 1), yesterday
