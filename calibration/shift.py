"""Today at the bar: who has checked, who has not, what is outside. And one person's own results."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from brewbar.crew.access import Member
from brewbar.crew.models import Cafe, Membership, Role, User
from calibration import judging
from calibration.models import Reading
from calibration.models.readings import ReadingRows

OUTSIDE = ("high", "low")


@dataclass(frozen=True)
class Judged:
    """A reading with its verdicts for TDS, yield and brew time, and what sets it apart."""

    reading: Reading
    verdicts: list[judging.Verdict]
    marks: list[judging.Mark]

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
    """One person's day: check brews in the order brewed, and how many served cups beside them."""

    person: User
    in_training: bool
    checks: list[Judged] = field(default_factory=list)
    served: list[Judged] = field(default_factory=list)

    @property
    def has_checked(self) -> bool:
        return any(judged.counts for judged in self.checks)

    @property
    def is_outside(self) -> bool:
        return any(judged.is_outside for judged in self.checks if judged.counts)

    @property
    def rank(self) -> int:
        """What wants looking at comes first: outside, not yet checked, too close, inside."""
        if self.is_outside:
            return 0
        if not self.has_checked:
            return 1
        return 2 if any(judged.is_close for judged in self.checks if judged.counts) else 3


def judged(readings: Iterable[Reading]) -> list[Judged]:
    """Each reading with what can be said of it; wants ``with_all`` rows."""
    return [
        Judged(
            reading,
            judging.against_recipe(reading),
            judging.marks(reading, getattr(reading, "correction", None)),
        )
        for reading in readings
    ]


def with_all(readings: ReadingRows) -> ReadingRows:
    """With every row that a list of readings shows."""
    return readings.select_related(
        "version__recipe", "barista", "entered_by", "voided_by", "station", "correction", "corrects", "cafe"
    )


def day_at(cafe: Cafe, day: date) -> list[Line]:
    """Everybody who brews at ``cafe`` now, and whoever brewed there on ``day``, what wants a look first."""
    crew = Membership.objects.active().filter(cafe=cafe).exclude(role=Role.OWNER).select_related("user")
    lines = {m.user_id: Line(m.user, m.in_training) for m in crew}
    readings = with_all(Reading.objects.filter(cafe=cafe, business_day=day)).order_by("brewed_at", "pk")
    for one in judged(readings):
        line = lines.setdefault(one.reading.barista_id, Line(one.reading.barista, in_training=False))
        (line.checks if one.reading.kind == Reading.Kind.CHECK else line.served).append(one)
    return sorted(lines.values(), key=lambda line: (line.rank, line.person.name))


def own(member: Member) -> ReadingRows:
    """A member's own readings at this café, the newest first."""
    return with_all(Reading.objects.for_member(member).filter(barista=member.user)).order_by(
        "-brewed_at", "-pk"
    )
