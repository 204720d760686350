"""What somebody is told of a brew that was just saved: exactly one sentence.

What it says to look at first is common practice, no source (R13), and never a cause.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from statistics import mean

from django.utils.translation import gettext as _

from brewbar import units
from calibration import check_plans, duty, judging
from calibration.models import OnDuty, Reading
from calibration.naming import FEWEST_PEOPLE
from recipes.aims import Aims

A_TOUCH = 2
"""Up to so many tolerances a brew is a touch long or short, beyond that it is long or short."""


@dataclass(frozen=True)
class Feedback:
    """says: the sentence. once_more: the brewer was drawn to brew it twice, and has not yet."""

    says: str
    once_more: bool


def of(reading: Reading, now: datetime, aims: Aims | None = None) -> Feedback | None:
    """None for a cup that is no check and no practice. aims: what it is held to, where that is known already."""
    if reading.kind == Reading.Kind.SERVED:
        return None
    if _is_wanted_once_more(reading, now):
        return Feedback(
            _("You were drawn by lot to brew this check twice today: brew the second one when you can."), True
        )
    aims = judging.aims_of(reading) if aims is None else aims
    strength, _yield, time = judging.against_recipe(reading, aims)
    told = _in_words(strength, time, _crew_today(reading), reading, aims)
    if reading.kind == Reading.Kind.PRACTICE:
        told = _("Practice, so it counts nowhere: %(told)s") % {"told": told[:1].lower() + told[1:]}
    return Feedback(told, False)


def _is_wanted_once_more(reading: Reading, now: datetime) -> bool:
    if reading.business_day != reading.cafe.business_day(now):
        return False
    row = OnDuty.objects.filter(
        cafe=reading.cafe, business_day=reading.business_day, user=reading.barista, asked_twice=True
    ).select_related("cafe")
    found = row.first()
    return found is not None and duty.turn_of(found, now).state == duty.REPEAT


def _crew_today(reading: Reading) -> float | None:
    """The others' mean TDS of the same recipe that day; None where it would tell of one of them."""
    rows = Reading.objects.counted().filter(
        cafe=reading.cafe, business_day=reading.business_day, version__recipe=reading.version.recipe_id
    )
    others = list(rows.exclude(barista=reading.barista_id).values_list("barista", "tds"))
    if len({barista for barista, _tds in others}) < FEWEST_PEOPLE:
        return None
    return mean(float(tds) for _barista, tds in others)


def _in_words(
    strength: judging.Verdict, time: judging.Verdict, crew: float | None, reading: Reading, aims: Aims
) -> str:
    off = {"tds": _apart(strength), "time": _apart(time), **_sides(strength, time)}
    strength_off, time_off = strength.state in ("high", "low"), time.state in ("high", "low")
    if strength_off and time_off:
        return _("%(tds)s %(side)s and %(time)s %(length)s.") % off
    if strength_off:
        return _strength(strength, crew, off)
    if time_off:
        touch = abs(time.of.value - (time.of.target or 0)) <= A_TOUCH * time.of.tolerance
        told = {
            ("high", True): _("A touch long, by %(time)s: see whether the last pour ran on."),
            ("high", False): _("Long, by %(time)s: see whether the bed clogged or the last pour ran on."),
            ("low", True): _("A touch short, by %(time)s: see whether a pour began early."),
            ("low", False): _("Short, by %(time)s: see whether pours began early or water ran past the bed."),
        }
        return told[time.state, touch] % off
    states = {strength.state, time.state}
    if states == {"none"}:
        return _("The recipe sets no targets to hold it against.")
    if "close" in states:
        return _("Too close to call: neither clearly inside nor clearly outside.")
    return _with_the_crew(reading, crew, aims)


def _strength(strength: judging.Verdict, crew: float | None, off: dict[str, str]) -> str:
    if crew is not None and _is_as_far_off(crew, strength.of):
        told = _(
            "%(tds)s %(side)s, as the others are today: look at grind, dose and kettle before the pouring."
        )
        return told % off
    return _("%(tds)s %(side)s, and the time was right.") % off


def _is_as_far_off(crew: float, of: judging.Quantity) -> bool:
    """Whether the crew is off on the same side, by half a tolerance or more: then it is the day (R13)."""
    away = crew - (of.target or 0)
    return abs(away) > of.tolerance / 2 and away * (of.value - (of.target or 0)) > 0


def _with_the_crew(reading: Reading, crew: float | None, aims: Aims) -> str:
    if crew is None:
        return _("Inside.")
    away = float(reading.tds) - crew
    matters = check_plans.smallest(check_plans.of(reading.cafe), reading.version, aims).tds_pct
    if matters is None or abs(away) < float(matters):
        return _("Inside, and with the crew.")
    by = {"by": units.percent(abs(away))}
    if away > 0:
        return _("Inside, and %(by)s stronger than the crew today.") % by
    return _("Inside, and %(by)s weaker than the crew today.") % by


def _apart(verdict: judging.Verdict) -> str:
    size = abs(verdict.of.value - (verdict.of.target or 0))
    return f"{units.fixed(size, verdict.of.decimals)} {verdict.of.unit}"


def _sides(strength: judging.Verdict, time: judging.Verdict) -> dict[str, str]:
    return {
        "side": _("too strong") if strength.state == "high" else _("too weak"),
        "length": _("too long") if time.state == "high" else _("too short"),
    }
