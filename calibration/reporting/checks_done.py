"""Whether the checks that were due were brewed: by café and by day of the week."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import Any

from django.db.models import Count, Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.models import Cafe
from calibration import duty, spread
from calibration.duty import BUSY, COUNTED, DONE, MISSED
from calibration.models import CheckRun, OnDuty, Reading
from calibration.reporting import words
from calibration.reporting.ground import Ground
from calibration.reporting.result import Bar, Bars, Section, Table

WHOLE_WEEK = -1
FEW_DUE = 4
"""From fewer checks of a weekday nothing is made. Engineering estimate, no source."""


@dataclass(frozen=True)
class Tally:
    """due: checks asked for, of days that are over; done, busy, missed: what came of them."""

    due: int
    done: int
    busy: int
    missed: int

    @property
    def share(self) -> float:
        return self.done / self.due

    @classmethod
    def of(cls, states: Counter[str]) -> Tally:
        due = sum(n for state, n in states.items() if state in COUNTED)
        return cls(due, states[DONE], states[BUSY], states[MISSED])


@dataclass(frozen=True)
class Checks:
    ground: Ground

    @cached_property
    def tallies(self) -> dict[tuple[int, int], Tally]:
        """By café and weekday, Monday 0, and the whole week as `WHOLE_WEEK`; only where something was due."""
        states: dict[tuple[int, int], Counter[str]] = defaultdict(Counter)
        for cafe, weekday, state in self._states:
            states[cafe, weekday][state] += 1
            states[cafe, WHOLE_WEEK][state] += 1
        found = {key: Tally.of(own) for key, own in states.items()}
        return {key: tally for key, tally in found.items() if tally.due}

    @cached_property
    def _states(self) -> list[tuple[int, int, str]]:
        """(café, weekday, what became of it) of everybody who was on. Two queries."""
        ground = self.ground
        asked = ground.asked
        today = {cafe.pk: cafe.business_day(ground.now) for cafe in asked.cafes}
        plans = {
            cafe.pk: plan
            for cafe in asked.cafes
            for plan in [ground.plan_of(cafe.pk)]
            if plan.recipe_id is not None
        }
        rows = OnDuty.objects.filter(
            cafe__in=list(plans), off_since=None, business_day__range=(asked.first, asked.last)
        )
        back = max((plan.every_days for plan in plans.values()), default=1) - 1
        mine = Q(pk__in=[])
        for cafe, plan in plans.items():
            mine |= Q(cafe=cafe, version__recipe=plan.recipe_id)
        brewed = (
            Reading.objects.filter(mine, kind=Reading.Kind.CHECK, voided_at=None)
            .filter(business_day__range=(asked.first - timedelta(days=back), asked.last))
            .exclude(attempt=Reading.Attempt.REBREW)
            .exclude(pk__in=spread.corrected())
            .order_by()
        )
        brews: dict[tuple[int, int], duty.Brews] = defaultdict(lambda: defaultdict(set))
        for cafe, who, day, attempt in brewed.values_list(
            "cafe", "barista", "business_day", "attempt"
        ).distinct():
            brews[cafe, who][day].add(attempt)
        return [
            (
                row.cafe_id,
                row.business_day.weekday(),
                duty.state_of(row, brews[row.cafe_id, row.user_id], plans[row.cafe_id], False, True),
            )
            for row in rows
            if row.business_day < today[row.cafe_id]
        ]

    @cached_property
    def given_up(self) -> dict[int, tuple[int, int]]:
        """By café: brews begun and given up, and begun and never entered. One query."""
        asked = self.ground.asked
        runs = CheckRun.objects.filter(
            cafe__in=asked.cafes,
            business_day__range=(asked.first, asked.last),
            reading=None,
            closed_at__isnull=False,
            kind=Reading.Kind.CHECK,
        )
        # A card that was opened and not brewed from is no brew.
        runs = runs.exclude(poured_at=None, brew_time_s=None)
        rows = (
            runs.order_by()
            .values_list("cafe")
            .annotate(
                dropped=Count("pk", filter=~Q(dropped_why="")), left=Count("pk", filter=Q(dropped_why=""))
            )
        )
        return {cafe: (dropped, left) for cafe, dropped, left in rows}

    def of_cafe(self, cafe: Cafe) -> Tally | None:
        return self.tallies.get((cafe.pk, WHOLE_WEEK))

    @property
    def together(self) -> Tally | None:
        whole = [tally for (_cafe, weekday), tally in self.tallies.items() if weekday == WHOLE_WEEK]
        return _added(whole) if whole else None

    def of_weekday(self, weekday: int) -> Tally | None:
        own = [tally for (_cafe, day), tally in self.tallies.items() if day == weekday]
        return _added(own) if own else None

    @property
    def without_plan(self) -> list[Cafe]:
        return [cafe for cafe in self.ground.asked.cafes if self.ground.plan_of(cafe.pk).recipe_id is None]


def _added(tallies: list[Tally]) -> Tally:
    return Tally(
        sum(one.due for one in tallies),
        sum(one.done for one in tallies),
        sum(one.busy for one in tallies),
        sum(one.missed for one in tallies),
    )


def section(checks: Checks) -> Section:
    title = _("Checks due and brewed")
    whole = checks.together
    notes = _notes(checks)
    if whole is None:
        return Section("checks", title, (), notes=(*notes, _("No check was due in this span.")))
    bars = tuple(
        Bar(weekday_name(day), 100 * tally.share, note=_of(tally))
        for day in range(7)
        for tally in [checks.of_weekday(day)]
        if tally is not None
    )
    figure = Bars(
        "checks", _("Checks brewed of those due, by weekday"), _("of 100 due"), 0, bars, (0, 100), filled=True
    )
    said = _("Of %(due)s checks that were due, %(done)s were brewed (%(share)s of 100).") % {
        "due": words.number(whole.due),
        "done": words.number(whole.done),
        "share": words.of_100(whole.share),
    }
    if whole.busy or whole.missed:
        said += " " + _("For %(busy)s it was too busy, %(missed)s are missing without a word.") % {
            "busy": words.number(whole.busy),
            "missed": words.number(whole.missed),
        }
    return Section("checks", title, (said,), figure, _table(title, checks), notes)


def _of(tally: Tally) -> str:
    return _("%(done)s of %(due)s") % {"done": words.number(tally.done), "due": words.number(tally.due)}


def weekday_name(day: int) -> str:
    return (
        _("Monday"), _("Tuesday"), _("Wednesday"), _("Thursday"), _("Friday"), _("Saturday"), _("Sunday"),
    )[day]  # fmt: skip


def _notes(checks: Checks) -> tuple[str, ...]:
    notes = []
    if checks.without_plan and len(checks.without_plan) < len(checks.ground.asked.cafes):
        notes.append(
            _("No check recipe is set at %(cafes)s, so nobody is due there.")
            % {"cafes": words.listed([cafe.name for cafe in checks.without_plan])}
        )
    elif checks.without_plan:
        notes.append(_("No check recipe is set, so nobody is due a check."))
    if checks.together is not None:
        notes.append(
            _(
                "A crew that skips its checks on hard days looks steadier than it is. Today is not counted yet."
            )
            if checks.ground.is_running
            else _("A crew that skips its checks on hard days looks steadier than it is.")
        )
    dropped = sum(one for one, _left in checks.given_up.values())
    left = sum(one for _dropped, one in checks.given_up.values())
    if dropped or left:
        notes.append(
            ngettext(
                "%(dropped)d brew was begun and given up, and %(left)d begun and never entered.",
                "%(dropped)d brews were begun and given up, and %(left)d begun and never entered.",
                dropped,
            )
            % {"dropped": dropped, "left": left}
        )
    return tuple(notes)


def _table(title: str, checks: Checks) -> Table:
    cells: list[tuple[str, ...]] = []
    numbers: list[tuple[Any, ...]] = []
    for cafe in checks.ground.asked.cafes:
        for weekday in (WHOLE_WEEK, *range(7)):
            tally = checks.tallies.get((cafe.pk, weekday))
            if tally is None:
                continue
            day = _("all") if weekday == WHOLE_WEEK else weekday_name(weekday)
            counts = (tally.due, tally.done, tally.busy, tally.missed)
            cells.append((cafe.name, day, *map(words.number, counts), words.percent(tally.share)))
            iso = None if weekday == WHOLE_WEEK else weekday + 1
            numbers.append((cafe.name, iso, *counts, words.exact(tally.share)))
    head = (_("Café"), _("Day"), _("Due"), _("Brewed"), _("Too busy"), _("Missing"), _("Brewed of due"))
    csv_head = ("cafe", "iso_weekday", "due", "brewed", "too_busy", "missing", "share_brewed")
    return Table("checks", title, head, tuple(cells), csv_head, tuple(numbers))
