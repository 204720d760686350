"""Readings of a recipe over a span, as a member may see them: by day, by barista, and what was left out.

Rows become plain numbers once, here; figures, tables and CSV are drawn from the same result.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Count, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from brewbar import dates, units
from brewbar.crew.access import Member
from brewbar.crew.models import Cafe
from calibration import judging
from calibration.models import Reading
from calibration.naming import FEWEST_PEOPLE, few, names_for
from calibration.statistics.groups import Group, middle, summarise
from recipes.models import Recipe, RecipeVersion

CREW_SHARE = 0.8


@dataclass(frozen=True)
class Measure:
    """One of the three quantities of a reading. decimals: as shown; unit: as shown behind."""

    key: str
    label: Any
    unit: str
    decimals: int

    def shown(self, value: float | None) -> str:
        if value is None:
            return "–"
        return units.clock(value) if self.key == "time" else units.fixed(value, self.decimals)

    def spread(self, value: float | None) -> str:
        """A difference or a deviation, which stays in seconds for a time."""
        return "–" if value is None else units.fixed(value, self.decimals + (1 if self.key == "time" else 0))


MEASURES = {
    measure.key: measure
    for measure in (
        Measure("tds", gettext_lazy("TDS"), "%", 2),
        Measure("ey", gettext_lazy("Extraction yield"), "%", 1),
        Measure("time", gettext_lazy("Brew time"), "s", 0),
    )
}


@dataclass(frozen=True)
class Asked:
    """What a page asks for: a recipe in a café, brews of one kind, from the first day to the last."""

    cafe: Cafe
    recipe: Recipe
    measure: Measure
    kind: str
    first: date
    last: date


@dataclass(frozen=True)
class Brew:
    """One counted brew. value: in the measure's unit; state: its verdict; person: None where it stays unnamed."""

    reading: Reading
    day: date
    value: float
    state: str
    is_mine: bool
    person: str | None


@dataclass(frozen=True)
class Target:
    """The band of one version's target over the days on which it was brewed, both included."""

    version: int
    first: date
    last: date
    low: float
    high: float


@dataclass(frozen=True)
class Row:
    """A line of a table: one day's or one person's brews. group.key is the day or the name."""

    group: Group[Any]
    inside: int
    outside: int
    close: int
    is_mine: bool = False


@dataclass(frozen=True)
class Seen:
    """What a member sees. days and people are empty where the member may not see them; why_not says so.

    band: between which values the middle 80 % of the crew's brews lie, for a barista; left_out: count by reason.
    """

    asked: Asked
    brews: tuple[Brew, ...]
    days: tuple[Row, ...]
    people: tuple[Row, ...]
    targets: tuple[Target, ...]
    band: tuple[float, float] | None
    left_out: tuple[tuple[str, int], ...]
    overall: Row | None
    whose: str
    why_not: str = ""

    @property
    def shows_single_brews(self) -> bool:
        return bool(self.brews)


def recipes_of(cafe: Cafe) -> QuerySet[Recipe]:
    """The recipes that have readings in ``cafe``, the most read first."""
    return (
        Recipe.objects.filter(company=cafe.company, versions__readings__cafe=cafe)
        .annotate(n_readings=Count("versions__readings"))
        .order_by("-n_readings", "name")
    )


def look(member: Member, asked: Asked) -> Seen:
    """The brews that ``asked`` is about, as much of them as ``member`` may see. Three queries, whatever the span."""
    counted, left_out = gather(member, asked, lambda reading: why_left_out(reading, asked.measure))
    brews = [_brew(reading, member, asked.measure) for reading in counted]
    crowd = len({reading.barista_id for reading in counted})
    targets = tuple(_targets(counted, asked.measure))
    if member.is_barista:
        return _for_barista(asked, brews, targets, left_out)
    if member.is_owner:
        return _for_owner(member, asked, brews, targets, left_out, crowd)
    return Seen(
        asked,
        tuple(brews),
        _rows(brews, [brew.day for brew in brews]),
        _rows(brews, [brew.reading.barista.name for brew in brews], by_name=True),
        targets,
        None,
        left_out,
        _overall(brews, _("all")),
        _("the crew"),
    )


def gather(
    member: Member, asked: Asked, why_not: Callable[[Reading], str]
) -> tuple[list[Reading], tuple[tuple[str, int], ...]]:
    """The readings that count for ``asked``, oldest first, and how many others there are by what ``why_not`` says.

    Of the others only those that are ``member``'s business: what their crew had voided or brewed again is no
    barista's.
    """
    everything = list(
        Reading.objects.for_member(member)
        .filter(
            cafe=asked.cafe,
            kind=asked.kind,
            version__recipe=asked.recipe,
            business_day__range=(asked.first, asked.last),
        )
        .select_related("version", "barista", "correction", "refractometer")
        .order_by("business_day", "brewed_at", "pk")
    )
    reasons = [(reading, why_not(reading)) for reading in everything]
    told = Counter(
        why
        for reading, why in reasons
        if why and (not member.is_barista or reading.barista_id == member.user.pk)
    )
    return [reading for reading, why in reasons if not why], tuple(sorted(told.items()))


def value_of(reading: Reading, measure: Measure) -> float:
    """The reading's value of ``measure``: % TDS, % yield or seconds."""
    if measure.key == "tds":
        return float(reading.tds)
    return float(reading.ey if measure.key == "ey" else reading.brew_time_s)


def why_left_out(reading: Reading, measure: Measure) -> str:
    """Why a reading is not counted; "" when it is."""
    if reading.is_voided:
        return _("voided")
    if getattr(reading, "correction", None) is not None:
        return _("corrected: the newer reading counts")
    if reading.attempt == Reading.Attempt.REBREW:
        return _("re-brew: the first brew counts")
    if measure.key == "tds" and reading.rinse_left_in:
        return _("rinse water left in: strength not judged")
    if measure.key == "ey" and judging.weights_do_not_add_up(reading):
        return _("weights do not add up: yield not judged")
    return ""


def _brew(reading: Reading, member: Member, measure: Measure) -> Brew:
    verdict = judging.against_recipe(reading)[list(MEASURES).index(measure.key)]
    mine = reading.barista_id == member.user.pk
    return Brew(
        reading,
        reading.business_day,
        value_of(reading, measure),
        verdict.state,
        mine,
        reading.barista.name if member.is_head else None,
    )


def _targets(counted: list[Reading], measure: Measure) -> Iterable[Target]:
    spans: dict[int, list[date]] = {}
    versions = {reading.version_id: reading.version for reading in counted}
    for reading in counted:
        spans.setdefault(reading.version_id, []).append(reading.business_day)
    for pk, days in spans.items():
        version = versions[pk]
        aim, tolerance = _aim(version, measure)
        if aim is not None:
            low, high = aim - tolerance, aim + tolerance
            yield Target(version.number, min(days), max(days), low, high)


def _aim(version: RecipeVersion, measure: Measure) -> tuple[float | None, float]:
    if measure.key == "time":
        aim: Decimal | int | None = version.brew_time_s
        return None if aim is None else float(aim), float(version.brew_time_tolerance_s)
    is_tds = measure.key == "tds"
    aim = version.tds_target if is_tds else version.ey_target
    return None if aim is None else float(aim), float(
        version.tds_tolerance if is_tds else version.ey_tolerance
    )


def _rows(brews: list[Brew], keys: list[Any], by_name: bool = False, mine: str = "") -> tuple[Row, ...]:
    groups = summarise([brew.value for brew in brews], keys)
    states: dict[Any, Counter[str]] = {}
    for brew, key in zip(brews, keys, strict=True):
        states.setdefault(key, Counter())[brew.state] += 1
    rows = (
        Row(
            group,
            states[group.key]["inside"],
            states[group.key]["high"] + states[group.key]["low"],
            states[group.key]["close"],
            is_mine=bool(mine) and group.key == mine,
        )
        for group in groups
    )
    return tuple(sorted(rows, key=lambda row: str(row.group.key))) if by_name else tuple(rows)


def _overall(brews: list[Brew], name: str) -> Row | None:
    return _rows(brews, [name] * len(brews))[0] if brews else None


def _for_barista(
    asked: Asked, brews: list[Brew], targets: tuple[Target, ...], left_out: tuple[tuple[str, int], ...]
) -> Seen:
    """Oneself by name, and the others as a band that belongs to nobody."""
    own = [brew for brew in brews if brew.is_mine]
    others = [brew for brew in brews if not brew.is_mine]
    enough = len({brew.reading.barista_id for brew in others}) >= FEWEST_PEOPLE
    you, crew = _("You"), _("The rest of the crew, unnamed")
    shown = own + (others if enough else [])
    people = _rows(shown, [you if brew.is_mine else crew for brew in shown], mine=you)
    why_not = "" if enough else few(_("the crew's band is"))
    return Seen(
        asked,
        tuple(own),
        _rows(own, [brew.day for brew in own]),
        people,
        targets,
        middle([brew.value for brew in others], CREW_SHARE) if enough else None,
        left_out,
        _overall(own, you),
        _("you"),
        why_not,
    )


def _for_owner(
    member: Member,
    asked: Asked,
    brews: list[Brew],
    targets: tuple[Target, ...],
    left_out: tuple[tuple[str, int], ...],
    crowd: int,
) -> Seen:
    """Days for everybody together; people as the company's setting says, and only in a crowd."""
    people: tuple[Row, ...] = ()
    if crowd >= FEWEST_PEOPLE:
        names = names_for(member, {brew.reading.barista for brew in brews})
        people = _rows(brews, [names[brew.reading.barista_id] for brew in brews], by_name=True)
    return Seen(
        asked,
        (),
        _rows(brews, [brew.day for brew in brews]),
        people,
        targets,
        None,
        left_out,
        _overall(brews, _("all")),
        _("the crew"),
        "" if people or not brews else few(_("a breakdown by person is")),
    )


def sentence(seen: Seen) -> str:
    """The title of the charts: what they show, in one sentence with its numbers."""
    asked, overall = seen.asked, seen.overall
    head = _("%(measure)s of %(recipe)s, %(first)s to %(last)s") % {
        "measure": asked.measure.label,
        "recipe": asked.recipe.name,
        "first": dates.day(asked.first, year=True),
        "last": dates.day(asked.last, year=True),
    }
    if overall is None:
        return head
    mean = asked.measure.shown(overall.group.mean)
    unit = "" if asked.measure.key == "time" else f" {asked.measure.unit}"
    brews = ngettext("%(n)d brew", "%(n)d brews", overall.group.n) % {"n": overall.group.n}
    return f"{head}: {brews}, " + _("mean %(mean)s%(unit)s") % {"mean": mean, "unit": unit}
