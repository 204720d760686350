"""What a café's checks cost in a month, and the fewest that would still see the smallest difference that matters.

Counted from who was on duty in the last weeks, not from a rota.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from math import ceil
from statistics import median

from calibration import check_plans
from calibration.models import CheckPlan, OnDuty, Reading
from calibration.statistics import planning
from calibration.statistics.brew_spread import Spread, brew_spread

DAYS_BACK = 28
DAYS_A_MONTH = 30.4
FEWEST_DAYS = 7
"""Before so many days are known, a month is too far to reckon from them."""
SPREAD_DAYS_BACK = 90
LONGEST_SPAN = 31
POWER, ALPHA = 0.9, 0.05
USUAL_SD_TDS, USUAL_SD_TIME_S = 0.04, 6.0
"""From one brew of a person to the next of the same day. Common practice, no source: until the crew's own is known."""
ML_A_SERVED_CHECK = 1


@dataclass(frozen=True)
class Presence:
    """Who was on, on which business days; ``days`` is over how many it was looked."""

    of_each: dict[int, list[date]]
    days: int

    @property
    def people(self) -> int:
        return len(self.of_each)

    @property
    def is_enough(self) -> bool:
        return self.days >= FEWEST_DAYS and bool(self.of_each)


def presence(plan: CheckPlan, now: datetime) -> Presence:
    """The last four weeks that are over, or since the first day that is known."""
    last = plan.cafe.business_day(now) - timedelta(days=1)
    rows = OnDuty.objects.filter(
        cafe=plan.cafe, business_day__range=(last - timedelta(days=DAYS_BACK - 1), last), off_since=None
    )
    of_each: dict[int, list[date]] = defaultdict(list)
    for user, day in rows.order_by("business_day").values_list("user", "business_day"):
        of_each[user].append(day)
    first = min((days[0] for days in of_each.values()), default=last)
    return Presence(dict(of_each), (last - first).days + 1 if of_each else 0)


def checks_in(days: Iterable[date], every_days: int) -> int:
    """How many checks somebody who was on on these days owes, one every so many days at most."""
    n, last = 0, None
    for day in sorted(days):
        if last is None or (day - last).days >= every_days:
            n, last = n + 1, day
    return n


@dataclass(frozen=True)
class Cost:
    """A month of checks. coffee_g: of those that nobody drinks; money: None without a price; served: share in 0…1."""

    checks: float
    coffee_g: float
    minutes: float
    money: Decimal | None
    served: float

    @property
    def hours(self) -> float:
        return self.minutes / 60

    @property
    def served_pct(self) -> float:
        return 100 * self.served


def cost(plan: CheckPlan, there: Presence, dose_g: float, served: float) -> Cost:
    a_month = DAYS_A_MONTH / max(there.days, 1)
    owed = sum(checks_in(days, plan.every_days) for days in there.of_each.values()) * a_month
    checks = owed * (1 + float(plan.twice_share))
    coffee_g = checks * (1 - served) * dose_g
    price = plan.coffee_price_kg
    money = None if price is None else round(price * Decimal(repr(coffee_g)) / 1000, 2)
    return Cost(checks, coffee_g, checks * plan.minutes_a_check, money, served)


def share_served(plan: CheckPlan, now: datetime) -> float:
    """Of the last weeks' checks, which share went to a guest."""
    last = plan.cafe.business_day(now)
    rows = Reading.objects.counted().filter(
        cafe=plan.cafe,
        version__recipe=plan.recipe_id,
        business_day__range=(last - timedelta(days=DAYS_BACK), last),
    )
    served = list(rows.values_list("was_served", flat=True))
    return sum(served) / len(served) if served else 0.0


# --- the smallest that would do


@dataclass(frozen=True)
class Needed:
    """Brews of one person that show a difference. of: "tds" or "time"; sd: of brew to brew; is_usual: the sd is the
    trade's, since the crew's own is not known yet; n: None where no number will do."""

    of: str
    difference: float
    sd: float
    is_usual: bool
    n: int | None


@dataclass(frozen=True)
class Schedule:
    """every_days: the longest span at which somebody who is on as often as most still brews ``n`` checks within four
    weeks; None where even a check on every day falls short, and then ``weeks`` says how long it takes.
    """

    needed: tuple[Needed, ...]
    n: int | None
    every_days: int | None
    weeks: int | None
    shifts_a_week: float


def needed(plan: CheckPlan, now: datetime) -> tuple[Needed, ...]:
    small = check_plans.smallest(plan)
    spreads = crew_spreads(plan, now)
    wanted = (
        ("tds", small.tds_pct, spreads[0], USUAL_SD_TDS),
        ("time", small.time_s, spreads[1], USUAL_SD_TIME_S),
    )
    return tuple(
        _needed(of, float(difference), spread, usual)
        for of, difference, spread, usual in wanted
        if difference
    )


def _needed(of: str, difference: float, spread: Spread | None, usual: float) -> Needed:
    sd = spread.sd if spread else usual
    n = planning.brews_needed(difference, sd, POWER, ALPHA, known=True).n if sd > 0 else 1
    return Needed(of, difference, sd, spread is None, n)


def crew_spreads(plan: CheckPlan, now: datetime) -> tuple[Spread | None, Spread | None]:
    """Brew to brew, of TDS and of brew time, once days and people are taken out; None where they are too few."""
    last = plan.cafe.business_day(now)
    rows = list(
        Reading.objects.counted()
        .filter(
            cafe=plan.cafe,
            version__recipe=plan.recipe_id,
            business_day__range=(last - timedelta(days=SPREAD_DAYS_BACK), last),
        )
        .values_list("barista", "business_day", "tds", "brew_time_s")
    )
    who, days = [row[0] for row in rows], [row[1] for row in rows]
    return (
        brew_spread([float(row[2]) for row in rows], who, days),
        brew_spread([float(row[3]) for row in rows], who, days),
    )


def smallest_schedule(there: Presence, wanted: Sequence[Needed]) -> Schedule:
    counts = [one.n for one in wanted]
    n = None if not counts or None in counts else max(one for one in counts if one is not None)
    each = list(there.of_each.values())
    shifts = median(len(days) for days in each) * 7 / there.days if each else 0.0
    if n is None or not there.is_enough:
        return Schedule(tuple(wanted), n, None, None, shifts)
    for every_days in range(LONGEST_SPAN, 0, -1):
        brewed = median(checks_in(days, every_days) for days in each) * DAYS_BACK / there.days
        if brewed >= n:
            return Schedule(tuple(wanted), n, every_days, None, shifts)
    return Schedule(tuple(wanted), n, None, ceil(n / shifts), shifts)
