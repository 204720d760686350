"""Today at the bar: who has checked, who has not, what is outside. And one person's own results."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db.models import Count

from brewbar.crew.access import Member
from brewbar.crew.models import Cafe, Membership, Role, User
from calibration import duty, instrument_spans, judging
from calibration.instrument_spans import Span
from calibration.models import Reading
from calibration.models.readings import ReadingRows
from recipes.models import CafeTarget

OUTSIDE = ("high", "low")


@dataclass(frozen=True)
class Judged:
    """A reading with its verdicts for TDS, yield and brew time, and what sets it apart."""

    reading: Reading
    verdicts: list[judging.Verdict]
    marks: list[judging.Mark]
    own_target: CafeTarget | None
    """The café's own, if one held when it was brewed."""

    @property
    def is_outside(self) -> bool:
        return any(verdict.state in OUTSIDE for verdict in self.verdicts)

    @property
    def is_close(self) -> bool:
        return any(verdict.state == "close" for verdict in self.verdicts)

    @property
    def counts(self) -> bool:
        """Whether statistics use it: it stands, and is a first brew or a repeat that was asked for."""
        standing = not self.reading.is_voided and getattr(self.reading, "correction", None) is None
        return standing and self.reading.attempt != Reading.Attempt.REBREW


@dataclass
class Line:
    """One person's day: check brews in the order brewed, and what was brewed besides: served cups and practice."""

    person: User
    in_training: bool
    turn: duty.Turn | None = None
    """None for somebody who is not on that day."""
    checks: list[Judged] = field(default_factory=list)
    served: list[Judged] = field(default_factory=list)

    @property
    def has_checked(self) -> bool:
        return any(judged.counts for judged in self.checks)

    @property
    def is_outside(self) -> bool:
        return any(judged.is_outside for judged in self.checks if judged.counts)

    @property
    def is_waiting(self) -> bool:
        """Whether a check is still to be brewed, or on a day that is over was not."""
        return self.turn is not None and (self.turn.is_asked or self.turn.state == duty.MISSED)

    @property
    def is_there(self) -> bool:
        return self.turn is not None or self.has_checked

    @property
    def rank(self) -> int:
        """What wants looking at comes first: outside, still due, too close, inside, not there."""
        if self.is_outside:
            return 0
        if self.is_waiting and not self.has_checked:
            return 1
        if not self.has_checked:
            return 4
        return 2 if any(judged.is_close for judged in self.checks if judged.counts) else 3


def judged(readings: Iterable[Reading], known: Iterable[Span]) -> list[Judged]:
    """Each reading with what can be said of it; wants ``with_all`` rows. known: when their instruments read right."""
    rows = list(readings)
    own = judging.own_aims(rows)
    held = [judging.aims_of(reading, own) for reading in rows]
    return [
        Judged(
            reading,
            judging.against_recipe(reading, aims),
            judging.marks(reading, getattr(reading, "correction", None), state),
            aims.own,
        )
        for reading, aims, state in zip(rows, held, instrument_spans.states_of(rows, known), strict=True)
    ]


def with_all(readings: ReadingRows) -> ReadingRows:
    """With every row that a list of readings shows."""
    return readings.select_related(
        "version__recipe", "barista", "entered_by", "voided_by", "station", "correction", "corrects", "cafe"
    )


def day_at(cafe: Cafe, day: date, now: datetime) -> list[Line]:
    """Everybody who brews at ``cafe`` now, and whoever was on or brewed on ``day``, what wants a look first."""
    crew = Membership.objects.active().filter(cafe=cafe).exclude(role=Role.OWNER).select_related("user")
    lines = {m.user_id: Line(m.user, m.in_training) for m in crew}
    for turn in duty.day_at(cafe, day, now):
        lines.setdefault(turn.person.pk, Line(turn.person, in_training=False)).turn = turn
    readings = with_all(Reading.objects.filter(cafe=cafe, business_day=day)).order_by("brewed_at", "pk")
    for one in judged(readings, instrument_spans.spans_of_cafes([cafe], now)):
        line = lines.setdefault(one.reading.barista_id, Line(one.reading.barista, in_training=False))
        (line.checks if one.reading.kind == Reading.Kind.CHECK else line.served).append(one)
    return sorted(lines.values(), key=lambda line: (line.rank, line.person.name))


def elsewhere(places: Iterable[Member], member: Member) -> list[tuple[Member, int]]:
    """The other cafés of ``member`` where they have brews of their own, and how many."""
    others = [place for place in places if place.may_brew and place.cafe != member.cafe]
    rows = Reading.objects.filter(barista=member.user, cafe__in=[place.cafe for place in others])
    found = {row["cafe"]: row["n"] for row in rows.values("cafe").annotate(n=Count("pk"))} if others else {}
    return [(place, found[place.cafe.pk]) for place in others if place.cafe.pk in found]


def own(member: Member) -> ReadingRows:
    """A member's own readings at this café, the newest first."""
    return with_all(Reading.objects.for_member(member).filter(barista=member.user)).order_by(
        "-brewed_at", "-pk"
    )
