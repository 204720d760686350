"""What every chart asks of the readings: which café, recipe, measure and span, and what is left out and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from brewbar import dates, units
from brewbar.crew.access import Member
from brewbar.crew.models import Cafe
from calibration import check_plans, instrument_spans, judging
from calibration.instrument_spans import Span, Which
from calibration.models import CheckPlan, Reading
from recipes.aims import Aims, standing
from recipes.models import Recipe, RecipeVersion

CREW_SHARE = 0.8


@dataclass(frozen=True)
class Measure:
    """One of the three quantities of a reading. decimals: as shown; unit: as shown behind."""

    key: str
    label: Any
    unit: str
    decimals: int

    @property
    def is_time(self) -> bool:
        return self.key == "time"

    def shown(self, value: float | None) -> str:
        if value is None:
            return "–"
        return units.clock(value) if self.is_time else units.fixed(value, self.decimals)

    def spread(self, value: float | None) -> str:
        """A difference or a deviation, which stays in seconds for a time."""
        return "–" if value is None else units.fixed(value, self.decimals + (1 if self.is_time else 0))

    def apart(self, value: float | None) -> str:
        """A difference with its sign: +0.05, −4."""
        if value is None:
            return "–"
        size = units.fixed(abs(value), self.decimals)
        if not units.rounded(value, self.decimals):
            return size
        return f"{'+' if value > 0 else '−'}{size}"

    def said(self, value: float) -> str:
        """A difference without its sign, with its unit, as in a sentence: 0.05 % TDS, 4 s."""
        number = units.fixed(abs(value), self.decimals)
        return f"{number} {self.of_unit}"

    @property
    def of_unit(self) -> str:
        return {"tds": _("% TDS"), "ey": _("% yield"), "time": _("s")}[self.key]

    def way(self, value: float) -> str:
        """What more of it is called, or less."""
        more, less = {
            "tds": (_("stronger"), _("weaker")),
            "ey": (_("higher in yield"), _("lower in yield")),
            "time": (_("slower"), _("faster")),
        }[self.key]
        return more if value > 0 else less


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
    """What a page asks for: recipes in a café, brews of one kind, from the first day to the last.

    others: further recipes of the same coffee, where a coffee was asked for; instrument: whose readings count;
    without_ageing: whether what the coffee lost by ageing is taken out of its days.
    """

    cafe: Cafe
    recipe: Recipe
    measure: Measure
    kind: str
    first: date
    last: date
    instrument: Which = "passing"
    others: tuple[Recipe, ...] = ()
    without_ageing: bool = False

    @cached_property
    def plan(self) -> CheckPlan:
        return check_plans.of(self.cafe)

    @property
    def recipes(self) -> tuple[Recipe, ...]:
        return (self.recipe, *self.others)

    @property
    def name(self) -> str:
        return str(self.recipe.coffee) if self.others else self.recipe.name

    @property
    def said(self) -> str:
        """Check brews of Morning filter, 3 Nov 2026 to 30 Nov 2026."""
        return _("%(what)s, %(first)s to %(last)s") % {
            "what": self.name,
            "first": dates.day(self.first, year=True),
            "last": dates.day(self.last, year=True),
        }


def recipes_of(cafe: Cafe) -> QuerySet[Recipe]:
    """The recipes that have readings in ``cafe``, by name."""
    read = Reading.objects.filter(cafe=cafe, version__recipe=OuterRef("pk"))
    return (
        Recipe.objects.filter(Exists(read), company=cafe.company)
        .select_related("coffee")
        .order_by("name", "pk")
    )


def favourite_of(cafe: Cafe, recipes: Mapping[int, Recipe]) -> Recipe | None:
    """Of these the one that a page is most likely asked for: the check recipe, else what was read last."""
    if not recipes:
        return None
    check = check_plans.of(cafe).recipe_id
    if check is not None and check in recipes:
        return recipes[check]
    newest = Reading.objects.filter(cafe=cafe).order_by("-business_day", "-pk").values_list("version__recipe")
    return recipes.get(newest[0][0]) or next(iter(recipes.values()))


def spans_of(asked: Asked) -> list[Span]:
    """When each instrument was known to read right. Two queries."""
    # Surely before the first day begins anywhere.
    since = datetime.combine(asked.first - timedelta(days=1), time.min, UTC)
    return instrument_spans.spans(asked.cafe, asked.plan, timezone.now(), since)


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
            version__recipe__in=asked.recipes,
            business_day__range=(asked.first, asked.last),
        )
        .select_related("version", "barista", "correction", "refractometer")
        .order_by("business_day", "brewed_at", "pk")
    )
    states = instrument_spans.states_of(everything, spans_of(asked) if everything else ())
    out = instrument_spans.LEFT_OUT[asked.instrument]
    reasons = [
        (reading, why_not(reading) or (not_trusted(state) if state in out else ""))
        for reading, state in zip(everything, states, strict=True)
    ]
    told = Counter(
        why
        for reading, why in reasons
        if why and (not member.is_barista or reading.barista_id == member.user.pk)
    )
    return [reading for reading, why in reasons if not why], tuple(sorted(told.items()))


def not_trusted(state: str) -> str:
    """Why the readings of an instrument in this state are left out."""
    if state == "failing":
        return _("read with an instrument that failed its check")
    return _("no passing instrument check before it")


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


def aim_of(aims: Aims, measure: Measure) -> tuple[float | None, float]:
    """Target and tolerance of what is aimed at."""
    if measure.is_time:
        aim: Decimal | int | None = aims.brew_time_s
        return None if aim is None else float(aim), float(aims.brew_time_tolerance_s)
    is_tds = measure.key == "tds"
    aim = aims.tds_target if is_tds else aims.ey_target
    return None if aim is None else float(aim), float(aims.tds_tolerance if is_tds else aims.ey_tolerance)


def whose(aims: Aims, version: RecipeVersion, measures: Iterable[str] = ()) -> str:
    """Whose target it is, as beside its band; by ``measures``, or any if there are none."""
    fields = {"tds": "tds_target", "ey": "ey_target", "time": "brew_time_s"}
    asked = [fields[key] for key in measures or fields]
    if aims.own is not None and any(getattr(aims.own, name) is not None for name in asked):
        return _("this café’s own target")
    return _("target of version %(n)d") % {"n": version.number}


def smallest_of(asked: Asked) -> float | None:
    """The smallest difference that matters: as the café says, else half the tolerance of what stands."""
    version = check_plans.standing_version(asked.cafe, asked.recipe)
    aims = standing(asked.cafe, version) if version else None
    if asked.measure.key == "ey":
        return float(aims.ey_tolerance) / 2 if aims else None
    found = check_plans.smallest(asked.plan, version, aims)
    if asked.measure.is_time:
        return found.time_s
    return None if found.tds_pct is None else float(found.tds_pct)
