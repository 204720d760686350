"""What the charts of a café are told: its recent check brews of a recipe, what is known to have changed, and what was
signalled before.

Rows become plain arrays once, here. Everything is as it was on some business day, so that the same question about an
earlier day, asked later, has the same answer.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cached_property
from typing import Any

import numpy as np
from django.utils import timezone

from brewbar.crew.models import Cafe
from calibration import check_plans, instrument_spans
from calibration.models import CheckPlan, Reading, Signal, SignalNote
from calibration.statistics.rows import Floats
from recipes.aims import OwnAims
from recipes.models import BarEvent, RecipeVersion

DAYS_BACK = 120
"""Some fifty brews of everybody: more would narrow a baseline by little and take longer than a save may."""
CHANGES = (
    *(BarEvent.Kind.BURRS, BarEvent.Kind.ALIGNED, BarEvent.Kind.DESCALED, BarEvent.Kind.PAPER),
    *(BarEvent.Kind.CARTRIDGE, BarEvent.Kind.WATER, BarEvent.Kind.SWAPPED, BarEvent.Kind.REPAIRED),
)
"""What gives the cup another level. Cleaning is no change of anything that lasts."""
MEASURES = (Signal.Measure.TDS, Signal.Measure.TIME)


@dataclass(frozen=True)
class Brew:
    """One counted brew. tds is None where rinse water thins the cup or the instrument was failing."""

    pk: int
    person: int
    day: date
    version: int
    batch: int
    brewed_at: datetime
    tds: float | None
    time_s: float

    def value(self, measure: str) -> float | None:
        return self.tds if measure == Signal.Measure.TDS else self.time_s


@dataclass(frozen=True)
class Before:
    """A signal that came before, as it stood on the day that is asked about. closed, restart: days, if ever."""

    pk: int
    question: str
    measure: str
    recipe: int | None
    person: int | None
    side: str
    day: date
    closed: date | None
    cause: str
    restart: date | None

    @property
    def is_chance(self) -> bool:
        return self.cause == SignalNote.Cause.CHANCE

    def happened_since(self, day: date) -> bool:
        return any(one is not None and one >= day for one in (self.day, self.closed, self.restart))

    def covers(self, day: date) -> bool:
        """Whether it is still there on ``day``: nothing is said twice, and not again on the day it is closed."""
        return self.day <= day and (self.closed is None or day <= self.closed)


@dataclass(frozen=True)
class Material:
    """All that is looked at, for both measures. smallest: by measure, None where nobody said what matters."""

    cafe: Cafe
    plan: CheckPlan
    recipe: int
    upto: date
    brews: tuple[Brew, ...]
    before: tuple[Before, ...]
    events: tuple[date, ...]
    smallest: dict[str, float | None]
    share: float
    """Of the café's check brews, how many are these."""

    def of(self, measure: str) -> Measured:
        return Measured(self, measure)


@dataclass(frozen=True)
class Measured:
    """One measure of the brews, without those of somebody while they were off, once that was explained."""

    of: Material
    measure: str
    aside: tuple[tuple[int, date], ...] = ()
    """Who was found already, and says nothing of others from that day on."""

    @cached_property
    def before(self) -> tuple[Before, ...]:
        """What was signalled of this measure: of anybody, and of the days of this recipe."""
        return tuple(
            one
            for one in self.of.before
            if one.measure == self.measure and (one.person is not None or one.recipe == self.of.recipe)
        )

    @cached_property
    def brews(self) -> tuple[Brew, ...]:
        return tuple(
            brew
            for brew in self.of.brews
            if brew.value(self.measure) is not None and not self._is_explained(brew)
        )

    def _is_explained(self, brew: Brew) -> bool:
        return any(
            one.person == brew.person
            and one.closed is not None
            and one.day < brew.day <= one.closed
            and not one.is_chance
            for one in self.before
        )

    @cached_property
    def values(self) -> Floats:
        return np.array([brew.value(self.measure) for brew in self.brews], dtype=np.float64)

    @property
    def people(self) -> list[int]:
        return [brew.person for brew in self.brews]

    @property
    def days(self) -> list[date]:
        return [brew.day for brew in self.brews]

    @property
    def versions(self) -> list[int]:
        return [brew.version for brew in self.brews]

    @cached_property
    def steps(self) -> tuple[date, ...]:
        """Days of known changes: new batches, and what happened at the bar."""
        first: dict[int, date] = {}
        for brew in self.of.brews:
            first.setdefault(brew.batch, brew.day)
        return tuple(sorted({*sorted(first.values())[1:], *self.of.events}))

    @property
    def limits_from(self) -> date:
        return monday(self.of.upto)

    @property
    def moves(self) -> tuple[date, ...]:
        """Days from which the level is learned anew: after a day that was signalled, and where a head said so."""
        days = [one for one in self.before if one.person is None]
        after = {one.day + timedelta(days=1) for one in days}
        return tuple(sorted(after | {one.restart for one in days if one.restart}))

    @property
    def leaves(self) -> dict[int, list[date]]:
        """From when people who drift say nothing of others: from the day that showed it, while that is open."""
        found: dict[int, list[date]] = {person: [day] for person, day in self.aside}
        for one in self._open():
            # What was said of the last day is asked again, so nobody has left on it.
            if one.question == Signal.Question.DRIFTING and one.person is not None and one.day < self.of.upto:
                found.setdefault(one.person, []).append(one.day)
        return found

    def flagged_on(self, day: date) -> set[int]:
        """Who was signalled before ``day``, for whatever it was."""
        return {one.person for one in self._open() if one.person is not None and one.day < day}

    def _open(self) -> list[Before]:
        return [one for one in self.before if one.closed is None]

    @property
    def restarts(self) -> dict[int, list[date]]:
        found: dict[int, list[date]] = {}
        for one in self.before:
            if one.person is not None and one.restart is not None:
                found.setdefault(one.person, []).append(one.restart)
        return found

    def fresh(self, person: int | None) -> list[date]:
        """Days on which the chart of a person, or of days, starts again: after each signal and after its close."""
        ends = [
            day
            for one in self.before
            if one.person == person
            for day in (one.day, one.closed)
            if day is not None
        ]
        return sorted({*(day + timedelta(days=1) for day in ends), *self.restarts.get(person or 0, [])})

    def counts_from(self, person: int) -> date:
        """Brews from here on are evidence: those before a close were answered by it."""
        ends = [one.closed or one.restart for one in self.before if one.person == person]
        return max((day + timedelta(days=1) for day in ends if day), default=date.min)

    def is_said(self, person: int | None, side: str, day: date) -> bool:
        """Whether that somebody is off this way, or that the days are, stood as a signal on ``day`` already."""
        return any(one.person == person and one.side == side and one.covers(day) for one in self.before)


def monday(day: date) -> date:
    """Limits are reckoned anew each week, from the brews before it: so none widens those it is held against."""
    return day - timedelta(days=day.weekday())


def plan_for(cafe: Cafe, recipe: int) -> CheckPlan | None:
    """The café's plan, if ``recipe`` is watched: a café that has named a check recipe watches that alone."""
    plan = check_plans.of(cafe)
    return plan if plan.recipe_id in {None, recipe} else None


class History:
    """What many days are gathered from, read once: all but the signals, which come as the days are gone through."""

    def __init__(self, cafe: Cafe, plan: CheckPlan, recipe: int, first: date, last: date) -> None:
        self.cafe, self.plan, self.recipe = cafe, plan, recipe
        begin = monday(first) - timedelta(days=DAYS_BACK)
        self.brews = _brews(cafe, plan, recipe, begin, last)
        self.days = [brew.day for brew in self.brews]
        self.events = _events(cafe, begin, last)
        self.versions: dict[int, RecipeVersion] = {}
        self.own = OwnAims.of([cafe], [recipe])

    def at(self, upto: date, version: RecipeVersion | None = None) -> Material:
        """As things stood at the end of the business day ``upto``; ``version`` says what matters where the plan
        doesn't.
        """
        first = monday(upto) - timedelta(days=DAYS_BACK)
        brews = self.brews[bisect_left(self.days, first) : bisect_right(self.days, upto)]
        if version is None and brews:
            version = self._version(brews[-1].version)
        held = self.own.at(self.cafe.pk, version, _end_of(self.cafe, upto)) if version else None
        matters = check_plans.smallest(self.plan, version, held)
        return Material(
            cafe=self.cafe,
            plan=self.plan,
            recipe=self.recipe,
            upto=upto,
            brews=brews,
            before=tuple(_before(self.cafe, first, upto)),
            events=tuple(day for day in self.events if first < day <= upto),
            smallest={
                Signal.Measure.TDS: None if matters.tds_pct is None else float(matters.tds_pct),
                Signal.Measure.TIME: matters.time_s,
            },
            share=1.0 if self.plan.recipe_id else _share(self.cafe, self.recipe, upto),
        )

    def _version(self, pk: int) -> RecipeVersion:
        if pk not in self.versions:
            self.versions[pk] = RecipeVersion.objects.get(pk=pk)
        return self.versions[pk]


def _end_of(cafe: Cafe, day: date) -> datetime:
    return datetime.combine(day + timedelta(days=1), time(cafe.day_turns_at), cafe.zone)


def gather(
    cafe: Cafe, plan: CheckPlan, recipe: int, upto: date, version: RecipeVersion | None = None
) -> Material:
    """As things stood at the end of the business day ``upto``."""
    return History(cafe, plan, recipe, upto, upto).at(upto, version)


def _brews(cafe: Cafe, plan: CheckPlan, recipe: int, first: date, upto: date) -> tuple[Brew, ...]:
    known = instrument_spans.spans(cafe, plan, timezone.now())
    failing = [span for span in known if span.state == "failing"]
    rows = (
        Reading.objects.counted()
        .filter(cafe=cafe, version__recipe=recipe, business_day__range=(first, upto))
        .order_by("business_day", "brewed_at", "pk")
        .values_list(
            *("pk", "barista", "business_day", "version", "roast_batch", "brewed_at", "tds", "brew_time_s"),
            *("rinse_left_in", "refractometer"),
        )
    )
    return tuple(
        Brew(
            pk, person, day, version, batch, at,
            None if rinsed or _is_failing(failing, refractometer, at) else float(tds), float(time_s),
        )
        for pk, person, day, version, batch, at, tds, time_s, rinsed, refractometer in rows
    )  # fmt: skip


def _is_failing(spans: Iterable[instrument_spans.Span], refractometer: int, at: datetime) -> bool:
    return any(span.refractometer_id == refractometer and span.covers(at) for span in spans)


def _events(cafe: Cafe, first: date, upto: date) -> tuple[date, ...]:
    start = datetime.combine(first, time.min, cafe.zone)
    end = datetime.combine(upto + timedelta(days=2), time.min, cafe.zone)
    rows = BarEvent.objects.filter(
        cafe=cafe, kind__in=CHANGES, taken_back_at=None, happened_at__gte=start, happened_at__lt=end
    )
    days = map(cafe.business_day, rows.values_list("happened_at", flat=True))
    return tuple(day for day in days if first < day <= upto)


def _before(cafe: Cafe, first: date, upto: date) -> Iterable[Before]:
    rows: Iterable[Any] = (
        Signal.objects.filter(cafe=cafe, measure__in=MEASURES, day__range=(first, upto))
        .exclude(state=Signal.State.WITHDRAWN)
        .order_by("pk")
        .prefetch_related("notes")
    )
    for row in rows:
        notes = list(row.notes.all())
        closed = cafe.business_day(row.state_at) if row.state == Signal.State.CLOSED else None
        explained = [note for note in notes if note.what == SignalNote.What.EXPLAINED]
        restarts = [cafe.business_day(note.at) for note in explained if note.restarts_baseline]
        restart = restarts[-1] + timedelta(days=1) if restarts else None
        yield Before(
            row.pk, row.question, row.measure, row.recipe_id, row.person_id, row.side, row.day,
            closed if closed and closed <= upto else None,
            explained[-1].cause if explained else "",
            restart if restart and restart <= upto else None,
        )  # fmt: skip


def _share(cafe: Cafe, recipe: int, upto: date) -> float:
    rows = Reading.objects.counted().filter(cafe=cafe, business_day__range=(upto - timedelta(days=27), upto))
    everything = rows.count()
    return rows.filter(version__recipe=recipe).count() / everything if everything else 1.0
