"""Signals as lists and counts: what is live, what came of them, how fast."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from statistics import median

from django.db.models import Case, IntegerField, Value, When

from brewbar.crew.access import Member
from brewbar.crew.models import Cafe
from brewbar.crew.tenancy import of_cafe
from calibration import check_plans
from calibration.models import Signal, SignalNote
from calibration.models.signals import LIVE, SignalRows
from calibration.signal_life import seen_by

MONTHS = 6
FIRST = (Signal.Question.INSTRUMENT, Signal.Question.MOVED, Signal.Question.OFF, Signal.Question.DRIFTING)
"""What is said first: an instrument that is wrong or a day that moved is nobody's fault."""


def in_order(rows: SignalRows) -> SignalRows:
    place = [When(question=question, then=Value(place)) for place, question in enumerate(FIRST)]
    placed: SignalRows = rows.annotate(place=Case(*place, output_field=IntegerField()))
    return placed.order_by("place", "-day", "-pk")


def live(member: Member) -> SignalRows:
    return in_order(seen_by(member).live()).prefetch_related("notes")


def ended(member: Member) -> SignalRows:
    return seen_by(member).exclude(state__in=LIVE).order_by("-state_at", "-pk").prefetch_related("notes")


def live_count(member: Member) -> int:
    return Signal.objects.for_member(member).live().count()


@dataclass
class Month:
    """first: its first day; days: how long each of those closed in it took."""

    first: date
    raised: int = 0
    explained: int = 0
    closed: int = 0
    withdrawn: int = 0
    causes: Counter[str] = field(default_factory=Counter)
    days: list[float] = field(default_factory=list)

    @property
    def usual_days(self) -> float | None:
        return median(self.days) if self.days else None

    @property
    def by_cause(self) -> list[tuple[str, int]]:
        labels = dict(SignalNote.Cause.choices)
        return [(str(labels[cause]), n) for cause, n in self.causes.most_common()]


def months(member: Member, today: date) -> list[Month]:
    """Counts of the last months, newest first: names nobody, so that an owner may read it too."""
    first = today.replace(day=1)
    for _month in range(MONTHS - 1):
        first = (first - timedelta(days=1)).replace(day=1)
    found: dict[tuple[int, int], Month] = {}
    start = datetime.combine(first, time.min, member.cafe.zone)
    rows = SignalNote.objects.filter(of_cafe(member, "signal__cafe"), at__gte=start).order_by("at", "pk")
    for what, at, cause, raised_at in rows.values_list("what", "at", "cause", "signal__raised_at"):
        day = at.astimezone(member.cafe.zone).date()
        month = found.setdefault((day.year, day.month), Month(day.replace(day=1)))
        match what:
            case SignalNote.What.RAISED:
                month.raised += 1
            case SignalNote.What.EXPLAINED:
                month.explained += 1
                month.causes[cause] += 1
            case SignalNote.What.CLOSED:
                month.closed += 1
                month.days.append((at - raised_at) / timedelta(days=1))
            case SignalNote.What.WITHDRAWN:
                month.withdrawn += 1
    return sorted(found.values(), key=lambda month: month.first, reverse=True)


def false_alarms_a_month(cafe: Cafe) -> float:
    """What the café has said it will bear."""
    return float(check_plans.of(cafe).false_alarms_a_month)
