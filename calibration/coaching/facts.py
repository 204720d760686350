"""Which of what is known around the brews could be behind a sign, as facts that a cause may count on.

A happening counts if it came when the thing may have begun: neither after that nor days before. A plan or kettle
counts by what the rules for plans find in it, and not where the brews compared with had the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from brewbar.units import trimmed
from brewbar.words import gettext as _
from brewbar.words import gettext_noop
from calibration.coaching.context import Code, Context, Happening, Kind
from recipes.brewing.expectations import Direction, expect
from recipes.brewing.findings import plain
from recipes.brewing.foresight import foresee
from recipes.brewing.plan import Kettle, PourPlan, review

NIGHT_BEFORE = timedelta(days=1)  # what is changed at closing time shows the next morning
SLOPE_IS_TOLD = 1.96  # standard errors: two-sided 5 %, as for every other sign

OF_PLANS = frozenset(
    {
        "stream-breaks",
        "low-and-fast",
        "high-near-boiling",
        "flow-drips",
        "stirred-often",
        "many-pours",
        "pattern-rise-and-fall",
        "pattern-wall",
        "water-missing",
        "water-over",
    }
)

CODE_OF: dict[Kind, Code] = {
    Kind.LOT: Code.LOT,
    Kind.BATCH: Code.LOT,
    Kind.KETTLE_SWAPPED: Code.KETTLE,
    Kind.KETTLE_DESCALED: Code.KETTLE,
    Kind.PAPER: Code.OTHER,
    Kind.CARTRIDGE: Code.WATER,
    Kind.GRINDER_CLEANED: Code.GRIND,
    Kind.BURRS: Code.GRIND,
    Kind.GRIND_SETTING: Code.GRIND,
    Kind.VERSION: Code.RECIPE,
}
SAYS: dict[Kind, str] = {
    Kind.LOT: gettext_noop("a new lot"),
    Kind.BATCH: gettext_noop("a new batch"),
    Kind.KETTLE_SWAPPED: gettext_noop("the kettle was swapped"),
    Kind.KETTLE_DESCALED: gettext_noop("the kettle was descaled"),
    Kind.PAPER: gettext_noop("new paper"),
    Kind.CARTRIDGE: gettext_noop("a new water cartridge"),
    Kind.GRINDER_CLEANED: gettext_noop("the grinder was cleaned"),
    Kind.BURRS: gettext_noop("new burrs"),
    Kind.GRIND_SETTING: gettext_noop("the grind setting was changed"),
    Kind.VERSION: gettext_noop("a new version of the recipe"),
}


@dataclass(frozen=True, slots=True)
class Fact:
    """key: what causes name it by; says; change: what would put it right, "" where the cause says so; on: its day, if
    it has one; kind: of a happening; rules: of the trade behind it."""

    key: str
    says: str
    change: str = ""
    on: date | None = None
    kind: Kind | None = None
    rules: tuple[str, ...] = ()


def facts(context: Context, smallest_tds: float | None = None) -> tuple[Fact, ...]:
    """smallest_tds: the smallest difference that matters; coffee that ages by less explains none."""
    return (
        *_happened(context),
        *_of_plans(context),
        *_of_flow(context),
        *_of_version(context),
        *_told(context),
        *_of_age(context, smallest_tds or 0.0),
    )


def _happened(context: Context) -> Iterator[Fact]:
    for one in context.happened:
        if context.began and not context.began[0] - NIGHT_BEFORE <= one.on <= context.began[1]:
            continue
        says = named(one)
        if one.kind is Kind.GRIND_SETTING:
            for key in {True: ("finer",), False: ("coarser",), None: ("finer", "coarser")}[one.finer]:
                yield Fact(key, says, on=one.on, kind=one.kind)
        else:
            yield Fact(one.kind.value, says, on=one.on, kind=one.kind)


def named(one: Happening) -> str:
    says = _(SAYS[one.kind])
    return _("%(says)s (%(what)s)") % {"says": says, "what": one.what} if one.what else says


def _of_plans(context: Context) -> Iterator[Fact]:
    if context.plan is None:
        return
    beside = {
        (one.code, one.where)
        for one in (
            review(context.compared_plan, context.compared_kettle, cafe=context.conditions)
            if context.compared_plan
            else ()
        )
    }
    seen = set()
    for one in review(context.plan, context.kettle, cafe=context.conditions):
        if one.code in OF_PLANS and one.code not in seen and (one.code, one.where) not in beside:
            seen.add(one.code)
            yield Fact(one.code, one.what, one.mend, rules=(one.rule,) if one.rule else ())


def _of_flow(context: Context) -> Iterator[Fact]:
    """R8. A stream slower than planned takes longer, a faster one shorter: arithmetic."""
    if context.plan is None or context.kettle is None:
        return
    key, asked, limit = _beyond(context.plan, context.kettle)
    if key and (
        context.compared_plan is None or key != _beyond(context.compared_plan, context.compared_kettle)[0]
    ):
        words = {"flow": plain(asked), "limit": plain(limit)}
        if key == "flow-above":
            says = (
                _("The plan asks for %(flow)s g/s; this kettle pours no faster than %(limit)s g/s.") % words
            )
        else:
            says = _("The plan asks for %(flow)s g/s; this kettle holds no less than %(limit)s g/s.") % words
        yield Fact(key, says, rules=("R8",))


def _beyond(plan: PourPlan, kettle: Kettle | None) -> tuple[str, float, float]:
    """The first flow that the kettle cannot hold, and its limit; "" where there is none."""
    for flow in (pour.flow_g_s for pour in plan.pours):
        if kettle is None or flow is None:
            continue
        if kettle.flow_max_g_s is not None and flow > kettle.flow_max_g_s:
            return "flow-above", flow, kettle.flow_max_g_s
        if kettle.flow_min_g_s is not None and flow < kettle.flow_min_g_s:
            return "flow-below", flow, kettle.flow_min_g_s
    return "", 0.0, 0.0


def _of_version(context: Context) -> Iterator[Fact]:
    """R1 to R5, as they are said of two plans side by side; where they disagree, no direction is."""
    before, after = context.compared_plan, context.plan
    if before is None or after is None or before == after:
        return
    seen = [
        foresee(plan, kettle, conditions=context.conditions)
        for plan, kettle in ((before, context.kettle), (after, context.kettle))
    ]
    told = [one for one in expect(*seen).expectations if one.direction in {Direction.MORE, Direction.LESS}]
    ways = {one.direction for one in told}
    rules = tuple(dict.fromkeys(one.rule for one in told))
    if len(ways) == 1:
        yield Fact(f"version-{told[0].direction.value}", told[0].says, rules=rules)
    elif all(one.kind is not Kind.VERSION for one in context.happened):
        yield Fact(Kind.VERSION.value, _("the plan differs"), kind=Kind.VERSION)


def _told(context: Context) -> Iterator[Fact]:
    if context.muted_acidity:
        yield Fact("muted-acidity", _("the taste note says muted acidity"), rules=("R11",))
    if context.sheds_fines:
        yield Fact("sheds-fines", _("a dense washed coffee that sheds fines"), rules=("R12",))
    if context.drills and not max(context.drills, key=lambda drill: drill.on).steady:
        last = max(context.drills, key=lambda drill: drill.on)
        yield Fact("unsteady-drill", _("the last flow drill was not steady"), on=last.on, rules=("R9",))


def _of_age(context: Context, smallest_tds: float) -> Iterator[Fact]:
    age = context.ageing
    if age is None or abs(age.tds_per_day) <= SLOPE_IS_TOLD * age.se:
        return
    if age.shift_tds and abs(age.shift_tds) >= smallest_tds:
        says = _("%(days)s days off roast instead of %(before)s") % {
            "days": trimmed(age.days, 0),
            "before": trimmed(age.days_before, 0),
        }
        yield Fact("ageing-up" if age.shift_tds > 0 else "ageing-down", says)
