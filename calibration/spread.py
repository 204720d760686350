"""Brews of a café added up in the database: by person, day, version and batch, and what was left out beside them.

However many readings there are, what comes out is one row for each person and day. What was found from the same sums
before is remembered: a chart and its page ask the same.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from datetime import date
from typing import Any, TypeVar

import numpy as np
from django.core.cache import cache
from django.db import connections
from django.db.models import (
    Case,
    Count,
    Exists,
    F,
    FloatField,
    IntegerField,
    Max,
    OuterRef,
    Q,
    QuerySet,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Cast
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from brewbar.crew.access import Member
from calibration import drift, instrument_spans
from calibration.drift import Asked, Measure
from calibration.instrument_spans import Span
from calibration.models import OnDuty, Reading
from calibration.statistics.sums import Sums
from recipes.models import RecipeVersion, RoastBatch

REMEMBERED_S = 24 * 3600
COLUMN = {"tds": "tds", "ey": "ey", "time": "brew_time_s"}
GIVES_UP_G_PER_G = 1.5
"""A bed keeps at least so much of its dose's weight: 1.8 of water less 0.3 of solids, as `judging` has it."""

NOTHING = Sums.of(*[np.empty(0)] * 5)

T = TypeVar("T")


@dataclass(frozen=True)
class Brews:
    """sums: by person, day, recipe and batch; versions: of the recipes; spans: of the instruments; unchecked: how many
    of these brews no passing check was before, a barista's own; None where that was not counted."""

    asked: Asked
    sums: Sums
    versions: tuple[RecipeVersion, ...]
    spans: tuple[Span, ...]
    unchecked: int | None = None

    @property
    def roasted(self) -> dict[int, int]:
        """By batch, the ordinal of the day on which it was roasted. One query."""
        lots = np.unique(self.sums.lot).tolist()
        rows = RoastBatch.objects.filter(pk__in=lots).values_list("pk", "roasted_on")
        return {pk: day.toordinal() for pk, day in rows}


def brews(member: Member, asked: Asked, *, by_batch: bool = False) -> Brews:
    """All that count for ``asked``, added up. Five queries, one of them long."""
    versions = versions_of(asked)
    spans = tuple(drift.spans_of(asked))
    rows = counted(member, asked, versions, spans)
    groups = ["business_day", "barista"]
    if asked.others or by_batch:
        groups.append("version")
    if by_batch:
        groups.append("roast_batch")
    value = value_of(asked.measure)
    # The day as an aggregate: a column that is declared a date is parsed row by row on SQLite.
    sums = {
        "day": Max("business_day"),
        "n": Count("pk"),
        "total": Sum(value),
        "squares": Sum(value * value),
    }
    trusted = instrument_spans.left_out_by(spans, "checked")
    if trusted is not None:
        sums["unchecked"] = Count("pk", filter=trusted)
    keys = [*groups[1:], *sums]
    added = rows.values(*groups).annotate(**sums).order_by().values_list(*keys)
    named = dict(zip(keys, columns_of(added, len(keys)), strict=True))
    if not named["n"]:
        return Brews(asked, NOTHING, versions, spans)
    recipe_of = {version.pk: version.recipe_id for version in versions}
    found = Sums.of(
        named["barista"],
        ordinals(named["day"]),
        named["n"],
        named["total"],
        named["squares"],
        recipe=[recipe_of[pk] for pk in named["version"]] if "version" in named else None,
        lot=named.get("roast_batch"),
    )
    unchecked = np.asarray(named["unchecked"]) if trusted is not None else np.zeros(len(found), dtype=int)
    if member.is_barista:
        unchecked = unchecked[found.who == member.user.pk]
    if by_batch and len(versions) > 1:
        found = found.by("who", "day", "recipe", "lot")
    return Brews(asked, found, versions, spans, int(unchecked.sum()))


def versions_of(asked: Asked) -> tuple[RecipeVersion, ...]:
    return tuple(RecipeVersion.objects.filter(recipe__in=asked.recipes).order_by("recipe", "number"))


def columns_of(rows: QuerySet[Any, Any], width: int) -> list[list[Any]]:
    """The rows by column, as the database gives them."""
    sql, params = rows.query.sql_with_params()
    with connections[rows.db].cursor() as cursor:
        cursor.execute(sql, params)
        fetched = cursor.fetchall()
    return [[row[place] for row in fetched] for place in range(width)]


def ordinals(days: list[Any]) -> np.ndarray[Any, Any]:
    known = {day: (date.fromisoformat(day) if isinstance(day, str) else day).toordinal() for day in set(days)}
    return np.fromiter((known[day] for day in days), dtype=np.intp, count=len(days))


def value_of(measure: Measure) -> Cast:
    return Cast(F(COLUMN[measure.key]), FloatField())


def _in_span(member: Member, asked: Asked, versions: tuple[RecipeVersion, ...]) -> QuerySet[Any]:
    rows: QuerySet[Any] = Reading.objects.for_member(member).filter(
        cafe=asked.cafe,
        version__in=[version.pk for version in versions],
        business_day__range=(asked.first, asked.last),
    )
    return rows


def corrected() -> QuerySet[Any, Any]:
    # There are few corrections anywhere, and an index of them; to look for one with every brew would take long.
    rows: QuerySet[Any, Any] = Reading.objects.filter(corrects__gt=0).values("corrects")
    return rows


def not_judged(measure: Measure) -> Q | None:
    """Readings that this measure is not told of."""
    if measure.key == "tds":
        return Q(rinse_left_in=True)
    if measure.key == "ey":
        heaviest = F("water_g") + F("bypass_g") + F("ice_g") - GIVES_UP_G_PER_G * F("dose_g")
        weighed = ~Q(beverage_source=Reading.Beverage.ESTIMATED)
        return weighed & (Q(rinse_left_in=None) | Q(rinse_left_in=False)) & Q(beverage_g__gt=heaviest)
    return None


def counted(
    member: Member, asked: Asked, versions: tuple[RecipeVersion, ...], spans: tuple[Span, ...]
) -> QuerySet[Any]:
    """The readings that count: as `drift.why_left_out` has it, in the words of the database."""
    rows = (
        _in_span(member, asked, versions)
        .filter(kind=asked.kind, voided_at=None)
        .exclude(attempt=Reading.Attempt.REBREW)
        .exclude(pk__in=corrected())
    )
    unjudged = not_judged(asked.measure)
    if unjudged is not None:
        rows = rows.exclude(unjudged)
    return instrument_spans.filtered(rows, spans, asked.instrument)  # type: ignore[arg-type]


# --- beside every chart


@dataclass(frozen=True)
class Beside:
    """What stands beside a chart: left_out: (why, how many); kept: the same of what stays in, and is marked."""

    left_out: tuple[tuple[str, int], ...]
    kept: tuple[tuple[str, int], ...]


def beside(member: Member, found: Brews) -> Beside:
    """How many readings and checks are missing from a chart, and why. A barista is told of their own. Five queries."""
    asked = found.asked
    rows = _in_span(member, asked, found.versions)
    corrections = corrected().filter(
        cafe=asked.cafe,
        corrects__business_day__range=(asked.first, asked.last),
        corrects__version__in=[version.pk for version in found.versions],
        corrects__kind=asked.kind,
        corrects__voided_at=None,
    )
    if member.is_barista:
        rows = rows.filter(barista=member.user)
        corrections = corrections.filter(corrects__barista=member.user)
    failing = instrument_spans.left_out_by(found.spans, "passing")
    # One after another, so that a reading is counted once, by what left it out first.
    ours = Q(kind=asked.kind)
    left = [
        (_("voided"), ours & Q(voided_at__isnull=False)),
        (_("re-brew: the first brew counts"), ours & Q(attempt=Reading.Attempt.REBREW)),
    ]
    unjudged = not_judged(asked.measure)
    if unjudged is not None:
        left.append((_why_not_judged(asked.measure), ours & unjudged))
    if failing is not None:
        left.append((drift.not_trusted("failing"), ours & failing))
    practice = (_("practice: counts nowhere"), Q(kind=Reading.Kind.PRACTICE))
    # What nothing is wrong with is passed over in the index, without a look at what exactly is not wrong with it.
    numbers = _counted_once(rows.exclude(pk__in=corrected()), [*left, practice])
    n_corrected = corrections.count()
    left_out = [(name, n) for name, n in numbers if n and name != drift.not_trusted("failing")]
    if n_corrected:
        left_out.insert(0, (_("corrected: the newer reading counts"), n_corrected))
    kept: list[tuple[str, int]] = []
    of_failing = dict(numbers).get(drift.not_trusted("failing"), 0)
    if of_failing:
        (kept if asked.instrument == "any" else left_out).append((drift.not_trusted("failing"), of_failing))
    unchecked = _unchecked(member, found)
    if unchecked:
        (left_out if asked.instrument == "checked" else kept).append(
            (drift.not_trusted("unchecked"), unchecked)
        )
    return Beside((*left_out, *_missing(member, asked)), tuple(kept))


def _counted_once(rows: QuerySet[Any], left: list[tuple[str, Q]]) -> list[tuple[str, int]]:
    either = left[0][1]
    for _name, condition in left[1:]:
        either |= condition
    which = Case(
        *(When(condition, then=Value(place)) for place, (_name, condition) in enumerate(left)),
        output_field=IntegerField(),
    )
    told = rows.filter(either).annotate(which=which).order_by().values_list("which").annotate(n=Count("pk"))
    numbers = dict(told)
    return [(name, numbers.get(place, 0)) for place, (name, _condition) in enumerate(left)]


def _why_not_judged(measure: Measure) -> str:
    if measure.key == "tds":
        return _("rinse water left in: strength not judged")
    return _("weights do not add up: yield not judged")


def _unchecked(member: Member, found: Brews) -> int:
    """Readings that nothing else is wrong with and whose instrument was not known to read right."""
    trusted = instrument_spans.left_out_by(found.spans, "checked")
    if trusted is None:
        return 0
    if found.unchecked is not None and found.asked.instrument == "passing":
        return found.unchecked
    sound = counted(member, replace(found.asked, instrument="passing"), found.versions, found.spans)
    if member.is_barista:
        sound = sound.filter(barista=member.user)
    return sound.filter(trusted).count()


def _missing(member: Member, asked: Asked) -> list[tuple[str, int]]:
    """Checks that somebody on duty did not brew; only the check recipe is asked of anybody."""
    plan = asked.plan
    if asked.kind != Reading.Kind.CHECK or plan.recipe_id not in {recipe.pk for recipe in asked.recipes}:
        return []
    brewed = Reading.objects.filter(
        cafe=asked.cafe, barista=OuterRef("user"), business_day=OuterRef("business_day"),
        version__recipe=plan.recipe_id, kind=Reading.Kind.CHECK, voided_at=None,
    )  # fmt: skip
    # Who is on today may still brew theirs.
    rows = OnDuty.objects.for_member(member).filter(
        ~Exists(brewed),
        cafe=asked.cafe,
        off_since=None,
        business_day__range=(asked.first, asked.last),
        business_day__lt=asked.cafe.business_day(timezone.now()),
    )
    if member.is_barista:
        rows = rows.filter(user=member.user)
    numbers = rows.aggregate(
        busy=Count("pk", filter=Q(too_busy_at__isnull=False)),
        missing=Count("pk", filter=Q(too_busy_at=None)),
    )
    named = ((_("on duty, and no check brewed"), "missing"), (_("too busy for a check"), "busy"))
    return [(name, numbers[key]) for name, key in named if numbers[key]]


# --- what a person was tied to


def tied(member: Member, found: Brews) -> dict[str, dict[int, set[int]]]:
    """By kind of equipment: which of it each person brewed with. One query."""
    things = ("grinder", "kettle", "refractometer")
    rows = counted(member, found.asked, found.versions, found.spans).order_by()
    told: dict[str, dict[int, set[int]]] = {thing: {} for thing in things}
    for who, *used in rows.values_list("barista", *things).distinct():
        for thing, key in zip(things, used, strict=True):
            told[thing].setdefault(who, set()).add(key)
    return told


# --- remembered


def remembered(what: str, sums: Sums, compute: Callable[[], T], *also: Any) -> T:
    """``compute()``, or what it gave for the same sums before. also: whatever else it depends on.

    What could not be told is among it, in words, so that every language has its own.
    """
    digest = hashlib.sha256(repr((get_language(), also)).encode())
    for field in fields(sums):
        digest.update(np.ascontiguousarray(getattr(sums, field.name)).tobytes())
    key = f"spread.{what}.{digest.hexdigest()}"
    found: T | None = cache.get(key)
    if found is None:
        found = compute()
        cache.set(key, found, REMEMBERED_S)
    return found
