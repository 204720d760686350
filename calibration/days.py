"""Has the cup moved? Each day whoever was on, what days usually do, and what was changed when."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar import dates
from brewbar.crew.access import Member
from calibration import crowd, drift, spread
from calibration.crowd import Sight
from calibration.drift import Asked
from calibration.markers import Marker, markers
from calibration.spread import Beside, Brews
from calibration.statistics import between, sums
from calibration.statistics.between import Ageing, DayEffects
from calibration.statistics.sums import Noise
from calibration.statistics.usual_days import Step, Usual, usual
from recipes.aims import OwnAims

NEAR_DAYS = 1
"""A change that was made so near to where a step began may have been its cause."""


@dataclass(frozen=True)
class Day:
    """One line of the table, in the unit of the measure. low, high: interval of the value; usual_low and usual_high:
    between which such a day usually lies, None where that can't be told; is_outside: whether it lies beyond."""

    day: date
    value: float
    low: float
    high: float
    usual_low: float | None
    usual_high: float | None
    is_outside: bool
    brews: int
    people: int
    markers: tuple[Marker, ...]


@dataclass(frozen=True)
class Target:
    """The band of what was aimed at over the days on which it held, both included. label: whose target it is."""

    label: str
    first: date
    last: date
    low: float
    high: float


@dataclass(frozen=True)
class Seen:
    """answer: in one sentence; how_sure: in another; centre: of each day, where it is usually; step: the likeliest, if
    it is sure; ageing: None without brews; adjusted: whether people were told from days; is_own: whether these are a
    barista's own brews alone; notes: what to know."""

    asked: Asked
    days: tuple[Day, ...]
    centre: tuple[float, ...]
    step: Step | None
    smallest: float | None
    ageing: Ageing | None
    targets: tuple[Target, ...]
    markers: tuple[Marker, ...]
    beside: Beside
    brews: int
    answer: str
    how_sure: str
    adjusted: bool
    sight: Sight
    is_own: bool
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Reckoned:
    """What the sums say, apart from who reads it."""

    effects: DayEffects
    noise: Noise | None
    usual: Usual
    ageing: Ageing
    adjusted: bool
    notes: tuple[str, ...]


def look(member: Member, asked: Asked) -> Seen:
    """The days of ``asked``, as much of them as ``member`` may see."""
    found = spread.brews(member, asked, by_batch=True)
    sight = crowd.sight_of(member, found.sums.people, asked.first, asked.last)
    shown = crowd.days_for(member, found.sums, sight)
    told = markers(member, asked)
    smallest = drift.smallest_of(asked)
    roasted = found.roasted
    reckoned = None
    if len(shown):
        reckoned = spread.remembered(
            "days", shown, lambda: reckon(shown, roasted, asked.without_ageing), asked.without_ageing, roasted
        )
    days = _days(reckoned, told) if reckoned else ()
    step = reckoned.usual.step if reckoned and reckoned.usual.step and reckoned.usual.step.sure else None
    answer, how_sure = _answer(asked, reckoned, days, step, smallest, told)
    is_own = member.is_barista and not sight.sees_crew
    return Seen(
        asked,
        days,
        tuple(reckoned.effects.level + c for c in reckoned.usual.centre.tolist()) if reckoned else (),
        step,
        smallest,
        reckoned.ageing if reckoned else None,
        _targets(found, shown),
        told,
        spread.beside(member, found),
        shown.brews if len(shown) else 0,
        answer,
        how_sure,
        bool(reckoned and reckoned.adjusted),
        sight,
        is_own,
        reckoned.notes if reckoned else (),
    )


def reckon(brews: sums.Sums, roasted: dict[int, int], without_ageing: bool) -> Reckoned:
    """Day effects and what days usually do, from sums of at least one brew."""
    fit = sums.parted(brews)
    noise = sums.noise_of(fit, brews)
    assumed = noise or Noise(0.0, 0.0, joined=False, df=1.0)
    staff = fit.components.get("staff")
    staff_sd = staff.sd if staff is not None else None
    ageing = between.ageing(brews, roasted, assumed, staff_sd)
    if without_ageing and ageing.slope is not None:
        brews = between.without_ageing(brews, roasted, ageing.slope)
    level = sums.at_one_level(brews, fit)
    effects = between.day_effects(level, assumed, staff_sd)
    notes = tuple(fit.notes[-1:]) if noise is None else ()
    return Reckoned(effects, noise, usual(effects), ageing, len(brews.people) > 1, notes)


def _days(reckoned: Reckoned, told: tuple[Marker, ...]) -> tuple[Day, ...]:
    effects, usually = reckoned.effects, reckoned.usual
    low, high = effects.limits(reckoned.noise.df if reckoned.noise else 1.0)
    by_day: dict[date, list[Marker]] = {}
    for marker in told:
        by_day.setdefault(marker.day, []).append(marker)
    rows = []
    for t, ordinal in enumerate(effects.day.tolist()):
        day = date.fromordinal(ordinal)
        rows.append(
            Day(
                day,
                float(effects.values[t]),
                float(low[t]),
                float(high[t]),
                None if usually.reason else effects.level + float(usually.low[t]),
                None if usually.reason else effects.level + float(usually.high[t]),
                bool(usually.outside[t]),
                round(float(effects.brews[t])),
                int(effects.people[t]),
                tuple(by_day.get(day, ())),
            )
        )
    return tuple(rows)


def _targets(found: Brews, shown: sums.Sums) -> tuple[Target, ...]:
    """Of the only recipe; several have targets of their own, which days at one level can't be held against."""
    asked = found.asked
    if asked.others or not len(shown):
        return ()
    days = shown.days
    # What aims alike is one band.
    joined: list[Target] = []
    for target in _held(asked, found, date.fromordinal(int(days[0])), date.fromordinal(int(days[-1]))):
        if joined and (joined[-1].low, joined[-1].high) == (target.low, target.high):
            joined[-1] = replace(target, first=joined[-1].first)
        else:
            joined.append(target)
    return tuple(joined)


def _held(asked: Asked, found: Brews, first: date, last: date) -> Iterator[Target]:
    """What was aimed at from the first day to the last, version by version; a change holds from its own day on."""
    own = OwnAims.of([asked.cafe], [asked.recipe])
    on_board = [
        (asked.cafe.business_day(version.published_at), version)
        for version in sorted(found.versions, key=lambda version: version.number)
        if version.published_at is not None
    ]
    ends = [day - timedelta(days=1) for day, _version in on_board[1:]] + [last]
    for (since, version), until in zip(on_board, ends, strict=True):
        for start, end, aims in own.spans(asked.cafe.pk, version):
            aim, tolerance = drift.aim_of(aims, asked.measure)
            begins = max(first, since, asked.cafe.business_day(start) if start else first)
            finishes = min(last, until, asked.cafe.business_day(end) - timedelta(days=1) if end else last)
            if aim is not None and begins <= finishes:
                label = drift.whose(aims, version, [asked.measure.key])
                yield Target(label, begins, finishes, aim - tolerance, aim + tolerance)


# --- in words


def _answer(
    asked: Asked,
    reckoned: Reckoned | None,
    days: tuple[Day, ...],
    step: Step | None,
    smallest: float | None,
    told: tuple[Marker, ...],
) -> tuple[str, str]:
    if reckoned is None:
        return _("Nobody can say: no brews count in this span."), ""
    if reckoned.usual.reason:
        said = ngettext(
            "Too early to say: there is %(n)d day.", "Too early to say: there are %(n)d days.", len(days)
        )
        return said % {"n": len(days)}, reckoned.usual.reason
    if step is not None:
        return _moved(asked, step, smallest), _since(step, told)
    outside = [row.day for row in days if row.is_outside]
    sure = _how_sure(asked, reckoned)
    if not outside and reckoned.usual.step is not None and reckoned.usual.step.may_be(smallest or 0.0):
        return _may_have_moved(asked, reckoned.usual.step), f"{_when(reckoned.usual.step, told)} {sure}"
    if not outside:
        return _("No: each of the %(n)d days is what days here usually are.") % {"n": len(days)}, sure
    named = ", ".join(dates.day(day, weekday=True) for day in outside[-3:])
    said = ngettext(
        "Not for good: %(n)d day of %(all)d lies beyond what days here usually do (%(days)s).",
        "Not for good: %(n)d days of %(all)d lie beyond what days here usually do (newest: %(days)s).",
        len(outside),
    )
    return said % {"n": len(outside), "all": len(days), "days": named}, sure


def _moved(asked: Asked, step: Step, smallest: float | None) -> str:
    measure = asked.measure
    words = {
        "day": dates.day(date.fromordinal(step.day), weekday=True),
        "size": measure.said(step.size),
        "way": measure.way(step.size),
        "low": measure.apart(step.low),
        "high": measure.apart(step.high),
    }
    if smallest is not None and abs(step.size) < smallest:
        return (
            _(
                "A little: since about %(day)s it is %(size)s %(way)s (%(low)s to %(high)s), less than matters here."
            )
            % words
        )
    return _("Yes: since about %(day)s it is %(size)s %(way)s (%(low)s to %(high)s).") % words


def _may_have_moved(asked: Asked, step: Step) -> str:
    words = {
        "day": dates.day(date.fromordinal(step.day), weekday=True),
        "size": asked.measure.said(step.size),
        "way": asked.measure.way(step.size),
    }
    return (
        _("Perhaps: since about %(day)s it may be %(size)s %(way)s. Chance alone often looks like that.")
        % words
    )


def _since(step: Step, told: tuple[Marker, ...]) -> str:
    return f"{_when(step, told)} {_('Of 100 spans in which nothing moves, at most 6 would be told so.')}"


def _when(step: Step, told: tuple[Marker, ...]) -> str:
    first, last = date.fromordinal(step.first), date.fromordinal(step.last)
    when = (
        _("It began on %(day)s.") % {"day": dates.day(first, weekday=True)}
        if first == last
        else _("It began between %(first)s and %(last)s.")
        % {"first": dates.day(first, weekday=True), "last": dates.day(last, weekday=True)}
    )
    near = [
        one.says for one in told if one.known and step.first - NEAR_DAYS <= one.day.toordinal() <= step.last
    ]
    if not near:
        return f"{when} {_('Nothing that was changed then is on record.')}"
    return f"{when} {_('About then: %(what)s.') % {'what': '; '.join(near[:4])}}"


def _how_sure(asked: Asked, reckoned: Reckoned) -> str:
    usually = reckoned.usual
    said = _("Days here usually lie within ± %(size)s of one another's mean.") % {
        "size": asked.measure.said((usually.k or 0) * (usually.sd or 0))
    }
    if usually.alike and usually.alike >= 0.3:
        said += " " + _("Neighbouring days resemble each other, which the limits allow for.")
    return said
