"""Strength against yield: where the brews of a recipe lie, as a member may see them, and how surely.

A head barista sees every brew with its barista, a barista their own, an owner the mean of each day. Figure, table
and CSV are drawn from the same result.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from math import sqrt

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar import dates
from brewbar.crew.access import Member
from calibration import conventions, drift, judging
from calibration.drift import CREW_SHARE, MEASURES, Asked
from calibration.models import Reading
from calibration.naming import FEWEST_PEOPLE, few
from calibration.statistics import uncertainty
from calibration.statistics.groups import middle
from calibration.statistics.together import Together, mean_of, together
from recipes.aims import Aims
from recipes.brewing import extraction
from recipes.brewing.bands import PublishedBand
from recipes.models import RecipeVersion

NEWEST = 60
"""So many ellipses and lines of the table: more would hide one another. Every point stays."""

Interval = tuple[float, float]


@dataclass(frozen=True)
class Box:
    """What a brew is held against, in %: None where nothing is set. label: whose it is."""

    label: str
    tds_pct: Interval | None
    ey_pct: Interval | None

    @classmethod
    def of_target(cls, version: RecipeVersion, aims: Aims) -> Box:
        return cls(
            drift.whose(aims, version, ("tds", "ey")),
            _around(aims.tds_target, aims.tds_tolerance),
            _around(aims.ey_target, aims.ey_tolerance),
        )

    @classmethod
    def of_band(cls, band: PublishedBand) -> Box:
        return cls(_("band of the %(body)s") % {"body": band.body}, band.tds_pct, band.ey_pct)


@dataclass(frozen=True)
class Place:
    """Where a point lies against a box, by each quantity: "inside", "high", "low", "close"; "none" unless set."""

    strength: str
    extracted: str

    @property
    def state(self) -> str:
        """The two in one: outside where either surely is, inside where both surely are."""
        both = {self.strength, self.extracted} - {"none"}
        if not both:
            return "none"
        if both & {"high", "low"}:
            return "outside"
        return "inside" if both == {"inside"} else "close"

    @property
    def says(self) -> str:
        if self.strength == self.extracted:
            same = {
                "inside": _("both inside"),
                "close": _("both too close to call"),
                "high": _("stronger, yield higher"),
                "low": _("weaker, yield lower"),
                "none": _("not judged"),
            }
            return same[self.strength]
        strength = {
            "inside": _("strength inside"),
            "high": _("stronger"),
            "low": _("weaker"),
            "close": _("strength too close to call"),
        }
        extracted = {
            "inside": _("yield inside"),
            "high": _("yield higher"),
            "low": _("yield lower"),
            "close": _("yield too close to call"),
        }
        said = (strength.get(self.strength, ""), extracted.get(self.extracted, ""))
        return ", ".join(part for part in said if part)


@dataclass(frozen=True)
class Point:
    """One brew, or the mean of ``n`` brews of one day and one version.

    known: by the uncertainty that is drawn; reading and person: None where the point is not one brew, or unnamed.
    """

    day: date
    version: RecipeVersion
    n: int
    weighed: bool
    known: Together
    target: Place
    band: Place | None
    reading: Reading | None = None
    person: str | None = None

    @property
    def U_tds(self) -> float:
        return uncertainty.COVERAGE_K * self.known.u_tds

    @property
    def U_ey(self) -> float:
        return uncertainty.COVERAGE_K * self.known.u_ey

    @property
    def weighed_word(self) -> str:
        if self.weighed:
            return _("weighed")
        return _("not weighed") if self.n == 1 else _("some not weighed")


@dataclass(frozen=True)
class Seen:
    """What a member sees. crew: for a barista, where the middle 80 % of the rest of the crew lie in each quantity.

    ratios: all the water over the dose, of the versions in view. is_means: whether a point is a day's mean.
    """

    asked: Asked
    points: tuple[Point, ...]
    targets: tuple[Box, ...]
    published: PublishedBand | None
    crew: Box | None
    ratios: tuple[float, ...]
    left_out: tuple[tuple[str, int], ...]
    is_means: bool
    why_not: str = ""

    @property
    def newest(self) -> tuple[Point, ...]:
        """The points that get an ellipse, and a line of the table: the newest first."""
        return self.points[: -NEWEST - 1 : -1]

    @property
    def n_brews(self) -> int:
        return sum(point.n for point in self.points)

    @property
    def is_absolute(self) -> bool:
        """Whether the uncertainty that is drawn has the instrument's own error in it."""
        return self.published is not None


def look(member: Member, asked: Asked) -> Seen:
    """The brews that ``asked`` is about, as much of them as ``member`` may see. Four queries, whatever the span."""
    counted, left_out = drift.gather(member, asked, _why_not)
    published = conventions.chosen(member)
    shown = [r for r in counted if r.barista_id == member.user.pk] if member.is_barista else counted
    others = [r for r in counted if r.barista_id != member.user.pk] if member.is_barista else []
    held = _held(shown)
    points = _days(shown, held, published) if member.is_owner else _brews(member, shown, held, published)
    enough = len({reading.barista_id for reading in others}) >= FEWEST_PEOPLE
    by_key = {reading.version_id: reading.version for reading in shown}
    versions = sorted(by_key.values(), key=lambda version: version.number)
    return Seen(
        asked,
        tuple(points),
        tuple(_boxes(shown, held)),
        published,
        _crew(others) if enough else None,
        tuple(dict.fromkeys(_ratios(versions))),
        left_out,
        member.is_owner,
        few(_("the crew's box is")) if member.is_barista and not enough else "",
    )


def place_of(known: Together, box: Box) -> Place:
    """Each quantity by the chance that it lies inside: JCGM 106:2012, as everywhere here."""
    return Place(
        _state(known.tds_pct, known.u_tds, box.tds_pct), _state(known.ey_pct, known.u_ey, box.ey_pct)
    )


@dataclass(frozen=True)
class Lies:
    """Where one reading lies, and against whose band. verdicts: of the band, strength and yield; empty without one."""

    target: Place
    band: Place | None
    named: str
    figures: str
    verdicts: tuple[judging.Verdict, ...]


def lies(reading: Reading, published: PublishedBand | None, aims: Aims | None = None) -> Lies:
    """``reading`` in words, also where it is not judged, as on its own page. aims: what it is held to, if known."""
    strength, extracted, _time = judging.against_recipe(reading, aims)
    target = Place(strength.state, extracted.state)
    if published is None:
        return Lies(target, None, "", "", ())
    verdicts = tuple(judging.against_band(reading, published))
    band = Place(*(verdict.state for verdict in verdicts))
    return Lies(target, band, conventions.named(published), conventions.figures_of(published), verdicts)


def known_of(reading: Reading, absolute: bool) -> Together:
    """TDS and yield of one reading. What the yield owes to TDS is the sensitivity of the budget it was saved with."""
    tds, dose_g = float(reading.tds), float(reading.dose_g)
    if is_weighed(reading):
        budget = extraction.yield_budget(tds, float(reading.beverage_g), dose_g)
    else:
        added = (float(reading.water_g), float(reading.bypass_g), float(reading.ice_g))
        budget = extraction.estimated_yield_budget(tds, dose_g, *added)
    slope = next(line.sensitivity for line in budget.lines if line.name == "TDS")
    if absolute:
        return together(tds, reading.ey, reading.u_tds_absolute, reading.u_ey_absolute, slope)
    return together(tds, reading.ey, reading.u_tds_relative, reading.u_ey_relative, slope)


def is_weighed(reading: Reading) -> bool:
    return reading.beverage_source != Reading.Beverage.ESTIMATED


def sentence(seen: Seen) -> str:
    """The title of the chart: what it shows, with whose band."""
    said = _("Strength and yield of %(recipe)s, %(first)s to %(last)s: %(brews)s") % {
        "recipe": seen.asked.recipe.name,
        "first": dates.day(seen.asked.first, year=True),
        "last": dates.day(seen.asked.last, year=True),
        "brews": ngettext("%(n)d brew", "%(n)d brews", seen.n_brews) % {"n": seen.n_brews},
    }
    if seen.published is None:
        return said
    return _("%(what)s, with the band of the %(band)s") % {
        "what": said,
        "band": conventions.named(seen.published),
    }


def _why_not(reading: Reading) -> str:
    return drift.why_left_out(reading, MEASURES["tds"]) or drift.why_left_out(reading, MEASURES["ey"])


def _around(aim: Decimal | None, tolerance: Decimal) -> Interval | None:
    return None if aim is None else (float(aim - tolerance), float(aim + tolerance))


def _ratios(versions: list[RecipeVersion]) -> Iterator[float]:
    for version in versions:
        if version.dose_g and version.water_g:
            yield float((version.water_g + version.bypass_g + version.ice_g) / version.dose_g)


def _held(readings: list[Reading]) -> dict[int, Aims]:
    """By the reading's pk, what was aimed at when it was brewed. One query."""
    own = judging.own_aims(readings)
    return {reading.pk: judging.aims_of(reading, own) for reading in readings}


def _boxes(readings: list[Reading], held: dict[int, Aims]) -> Iterator[Box]:
    """One for what aims alike, under the newest version."""
    oldest_first = sorted(readings, key=lambda reading: (reading.version.number, reading.brewed_at))
    of_each = (Box.of_target(reading.version, held[reading.pk]) for reading in oldest_first)
    boxes = {(box.tds_pct, box.ey_pct): box for box in of_each}
    yield from (box for box in boxes.values() if box.tds_pct or box.ey_pct)


def _state(value: float, u: float, interval: Interval | None) -> str:
    if interval is None:
        return "none"
    low, high = interval
    found = uncertainty.conformity(value, u, (low + high) / 2, (high - low) / 2)
    return {"inside": "inside", "outside": found.side}.get(found.word.value, "close")


def _brews(
    member: Member, readings: list[Reading], held: dict[int, Aims], published: PublishedBand | None
) -> Iterator[Point]:
    for reading in readings:
        relative, absolute = known_of(reading, absolute=False), known_of(reading, absolute=True)
        yield Point(
            day=reading.business_day,
            version=reading.version,
            n=1,
            weighed=is_weighed(reading),
            known=absolute if published else relative,
            target=place_of(relative, Box.of_target(reading.version, held[reading.pk])),
            band=place_of(absolute, Box.of_band(published)) if published else None,
            reading=reading,
            person=reading.barista.name if member.is_head else None,
        )


def _days(readings: list[Reading], held: dict[int, Aims], published: PublishedBand | None) -> Iterator[Point]:
    groups: dict[tuple[date, int, Aims], list[Reading]] = {}
    for reading in readings:
        key = (reading.business_day, reading.version_id, held[reading.pk])
        groups.setdefault(key, []).append(reading)
    for (day, _pk, aims), brews in groups.items():
        relative, absolute = _mean(brews, absolute=False), _mean(brews, absolute=True)
        version = brews[0].version
        yield Point(
            day=day,
            version=version,
            n=len(brews),
            weighed=all(map(is_weighed, brews)),
            known=absolute if published else relative,
            target=place_of(relative, Box.of_target(version, aims)),
            band=place_of(absolute, Box.of_band(published)) if published else None,
        )


def _mean(brews: list[Reading], absolute: bool) -> Together:
    """Of a day's brews. Drift since the last check is common to them, and so is the instrument's own error."""
    shared = [
        uncertainty.DRIFT_U_PCT**2
        + (max(0.0, brew.u_tds_absolute**2 - brew.u_tds_relative**2) if absolute else 0.0)
        for brew in brews
    ]
    return mean_of([known_of(brew, absolute) for brew in brews], [sqrt(part) for part in shared])


def _crew(others: list[Reading]) -> Box:
    return Box(
        _("middle 80 % of the rest of the crew"),
        middle([float(reading.tds) for reading in others], CREW_SHARE),
        middle([reading.ey for reading in others], CREW_SHARE),
    )
