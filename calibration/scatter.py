"""Strength against brew time: where brews lie in the box that their recipe aims at."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import Any

from django.db.models import Avg, Case, Count, FloatField, IntegerField, Sum, When
from django.db.models.functions import Cast
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.access import Member
from calibration import crowd, drift, spread
from calibration.crowd import Sight
from calibration.drift import CREW_SHARE, MEASURES, Asked
from calibration.spread import Beside, Brews
from calibration.statistics.deviations import box_of
from recipes.aims import Aims, OwnAims
from recipes.models import RecipeVersion

MOST_POINTS = 2000
"""The newest: more would hide one another."""
MOST_IN_A_SHEET = 20_000
NEWEST = 60
"""So many lines has the table."""

BEFORE_ALL = datetime.min.replace(tzinfo=UTC)

Interval = tuple[float, float]


@dataclass(frozen=True)
class Box:
    """What is aimed at, or where the rest of the crew lies: TDS in %, time in s, None where nothing is set."""

    label: str
    tds: Interval | None
    time_s: Interval | None

    def holds(self, tds: float, time_s: float) -> bool:
        return (self.tds is None or self.tds[0] <= tds <= self.tds[1]) and (
            self.time_s is None or self.time_s[0] <= time_s <= self.time_s[1]
        )


@dataclass(frozen=True)
class Point:
    """One brew, or the mean of the n brews of a day. inside: of its target, None where there is none."""

    day: date
    tds: float
    time_s: float
    n: int
    person: str
    version: int | None
    inside: bool | None
    uuid: Any = None


@dataclass(frozen=True)
class Seen:
    """points: the newest first; all_brews: how many there are; is_means: whether each is the mean of a day."""

    asked: Asked
    points: tuple[Point, ...]
    all_brews: int
    targets: tuple[Box, ...]
    crew: Box | None
    beside: Beside
    answer: str
    how_sure: str
    is_means: bool
    sight: Sight

    @property
    def newest(self) -> tuple[Point, ...]:
        return self.points[:NEWEST]


def look(member: Member, asked: Asked) -> Seen:
    # Both quantities have to count, and what makes strength count is the stricter.
    asked = replace(asked, measure=MEASURES["tds"])
    versions = spread.versions_of(asked)
    found = Brews(asked, spread.NOTHING, versions, tuple(drift.spans_of(asked)))
    rows = spread.counted(member, asked, found.versions, found.spans)
    boxes = Boxes(asked, versions)
    own = rows.filter(barista=member.user) if member.is_barista else rows
    if member.is_owner:
        sight = Sight({}, None, True, False)
        points = tuple(_days(own, boxes))
    else:
        newest = _newest(own)
        # Only a barista's page depends on how many others there are.
        people = rows.order_by().values_list("barista", flat=True).distinct() if member.is_barista else ()
        sight = crowd.sight_of(member, people or {row[3] for row in newest}, asked.first, asked.last)
        points = tuple(_brews(newest, sight, boxes))
    crew = None
    if member.is_barista and sight.sees_crew:
        crew = _crew(rows.exclude(barista=member.user))
    all_brews = sum(point.n for point in points)
    if not member.is_owner and len(points) == MOST_POINTS:
        all_brews = own.count()
    answer, how_sure = _answer(points, member.is_owner)
    return Seen(
        asked, points, all_brews, boxes.used, crew, spread.beside(member, found), answer, how_sure, member.is_owner,
        sight,
    )  # fmt: skip


class Boxes:
    """What brews of each version were held to when they were brewed, and which of that was asked for."""

    def __init__(self, asked: Asked, versions: Iterable[RecipeVersion]) -> None:
        self.cafe = asked.cafe.pk
        self.versions = {version.pk: version for version in versions}
        self.own = OwnAims.of([asked.cafe], asked.recipes)
        self.moments = self.own.moments
        self.boxes: dict[tuple[int, int], Box] = {}

    def at(self, version: int, moment: datetime) -> Box:
        return self.in_era(version, bisect_right(self.moments, moment))

    def in_era(self, version: int, era: int) -> Box:
        """Eras lie between the moments at which an own target was set or ended, counted from 0."""
        if (version, era) not in self.boxes:
            moment = self.moments[era - 1] if era else BEFORE_ALL
            row = self.versions[version]
            self.boxes[version, era] = _box(row, self.own.at(self.cafe, row, moment))
        return self.boxes[version, era]

    @property
    def used(self) -> tuple[Box, ...]:
        """One for versions that aim alike, under the newest of them."""
        order = {pk: place for place, pk in enumerate(self.versions)}
        asked = sorted(self.boxes, key=lambda key: (order[key[0]], key[1]))
        found = {(box.tds, box.time_s): box for key in asked if (box := self.boxes[key]).tds or box.time_s}
        return tuple(found.values())


def _box(version: RecipeVersion, aims: Aims) -> Box:
    sides = []
    for key in ("tds", "time"):
        aim, tolerance = drift.aim_of(aims, MEASURES[key])
        sides.append(None if aim is None else (aim - tolerance, aim + tolerance))
    return Box(drift.whose(aims, version, ("tds", "time")), sides[0], sides[1])


def _newest(rows: Any) -> list[tuple[Any, ...]]:
    """In the order of the index by day, so that not all have to be sorted."""
    columns = (
        "business_day",
        "tds",
        "brew_time_s",
        "barista",
        "version",
        "version__number",
        "uuid",
        "brewed_at",
    )
    found = list(rows.order_by("-business_day").values_list(*columns)[:MOST_POINTS])
    return sorted(found, key=lambda row: (row[0], row[-1]), reverse=True)


def _brews(newest: list[tuple[Any, ...]], sight: Sight, boxes: Boxes) -> Iterator[Point]:
    for day, tds, time_s, who, version, number, uuid, at in newest:
        box = boxes.at(version, at)
        inside = box.holds(float(tds), time_s) if box.tds or box.time_s else None
        yield Point(day, float(tds), float(time_s), 1, sight.names.get(who, ""), number, inside, uuid)


def _days(rows: Any, boxes: Boxes) -> Iterator[Point]:
    """The mean of each day; of a day on which the target changed, before and after."""
    tds = Cast("tds", FloatField())
    groups = ["business_day", "version", "version__number"]
    if boxes.moments:
        eras = [When(brewed_at__lt=moment, then=era) for era, moment in enumerate(boxes.moments)]
        rows = rows.annotate(era=Case(*eras, default=len(boxes.moments), output_field=IntegerField()))
        groups.append("era")
    days = (
        rows.order_by()
        .values(*groups)
        .annotate(n=Count("pk"), mean_tds=Avg(tds), mean_time=Avg(Cast("brew_time_s", FloatField())))
        .order_by("-business_day", "version")
    )
    for row in days[:MOST_POINTS]:
        box = boxes.in_era(row["version"], row.get("era", 0))
        inside = box.holds(row["mean_tds"], row["mean_time"]) if box.tds or box.time_s else None
        yield Point(
            row["business_day"],
            row["mean_tds"],
            row["mean_time"],
            row["n"],
            "",
            row["version__number"],
            inside,
        )


def _crew(rows: Any) -> Box | None:
    """Where about 80 % of the others lie in each quantity: from their sums, so that no brew leaves the database."""
    tds, time_s = Cast("tds", FloatField()), Cast("brew_time_s", FloatField())
    found = rows.aggregate(
        n=Count("pk"),
        sum_tds=Sum(tds),
        squares_tds=Sum(tds * tds),
        sum_time=Sum(time_s),
        squares_time=Sum(time_s * time_s),
    )
    if found["n"] < 2:
        return None
    return Box(
        _("about 80 % of the rest of the crew"),
        box_of(found["n"], found["sum_tds"], found["squares_tds"], CREW_SHARE),
        box_of(found["n"], found["sum_time"], found["squares_time"], CREW_SHARE),
    )


def _answer(points: tuple[Point, ...], is_means: bool) -> tuple[str, str]:
    judged = [point for point in points if point.inside is not None]
    if not points:
        return _("Nothing to show: no brews count in this span."), ""
    if not judged:
        return _("The recipe sets no target for strength or time."), ""
    inside = sum(bool(point.inside) for point in judged)
    said = (
        ngettext(
            "The mean of %(in)d day of %(all)d lies in the box.",
            "The means of %(in)d days of %(all)d lie in the box.",
            inside,
        )
        if is_means
        else ngettext(
            "%(in)d brew of %(all)d lies in the box.", "%(in)d brews of %(all)d lie in the box.", inside
        )
    )
    plain = _("Points are as they were read, without their uncertainty.")
    return said % {"in": inside, "all": len(judged)}, plain


def readings(member: Member, asked: Asked) -> Any:
    """Every brew that counts for strength, as much of them as a barista or a head barista may see; the newest first."""
    asked = replace(asked, measure=MEASURES["tds"])
    rows = spread.counted(member, asked, spread.versions_of(asked), tuple(drift.spans_of(asked)))
    if member.is_barista:
        rows = rows.filter(barista=member.user)
    rows = rows.select_related("barista", "version__recipe", "refractometer", "correction")
    return rows.order_by("-business_day")[:MOST_IN_A_SHEET]
