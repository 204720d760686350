"""What to look at on Monday: at most five things, the most pressing first, each with where and why.

What an instrument reads comes before what the cups seem to do; what is off for a whole bar before anybody's pouring
(rules of the trade R13: grind, dose, kettle temperature, paper and water come first when a whole day is off; pouring
comes first when one person is off. Common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import numpy as np
from django.utils.translation import gettext as _

from brewbar import dates
from calibration.models import Signal
from calibration.models.signals import LIVE
from calibration.reporting import spreads, words
from calibration.reporting.checks_done import FEW_DUE, WHOLE_WEEK, Tally, weekday_name
from calibration.reporting.instruments_health import named
from calibration.reporting.moved import TDS, Bar, aims_by_day
from calibration.reporting.parts import Parts
from calibration.reporting.sentences import CONSISTENT_FROM, where, worst_line
from calibration.reporting.signals_done import Life
from calibration.statistics.usual_days import Step

MOST = 5
MOST_SIGNALS = 2
LONG_OPEN_DAYS = 3
"""A signal that nobody has explained for so long is worth a word."""
LONG_EXPLAINED_DAYS = 14
MANY_TOO_CLOSE = 1 / 3
MISSING_BELOW = 0.75
MANY_OUTSIDE, ONE_SIDED = 5, 0.8


def of(parts: Parts) -> tuple[str, ...]:
    found = list(dict.fromkeys(_all(parts)))
    if not found and len(parts.ground.this):
        return (_("Nothing presses. Keep checking as you do."),)
    return tuple(found[:MOST])


def _all(parts: Parts) -> Iterator[str]:
    if not len(parts.ground.everybody):
        yield from _without_plan(parts)
        yield _("Have checks brewed: without them nobody can say whether the cup is consistent.")
        return
    yield from _instruments(parts)
    yield from _cups(parts)
    yield from _signals(parts)
    yield from _missing(parts)
    yield from _spread(parts)
    yield from _without_plan(parts)
    yield from _too_close(parts)
    yield from _unchecked(parts)


def _instruments(parts: Parts) -> Iterator[str]:
    for one in parts.instruments.all:
        if not one.used or one.instrument.retired_at is not None:
            continue
        if one.last_failed:
            yield _("Set %(name)s right and read a check standard: its last check failed.") % {
                "name": named(one)
            }
        elif one.last_standard is None:
            yield _("Read a check standard on %(name)s: none that it passed is on record.") % {
                "name": named(one)
            }
        elif one.wants_standard:
            yield _(
                "Read a check standard on %(name)s: the last it passed was on %(day)s, and one is due every %(every)s."
            ) % {
                "name": named(one),
                "day": dates.day(one.last_standard, weekday=True),
                "every": words.days(one.every_days),
            }


# --- what the cups did


def _cups(parts: Parts) -> Iterator[str]:
    """What moved away from its target and was not brought back, then the recipe that is held worst."""
    told = set()
    for bar in parts.moved.bars:
        step = bar.step
        if step is None or abs(step.size) < (bar.smallest or 0.0):
            continue
        off = off_target(parts, bar, step)
        if off is None or off * step.size <= 0 or abs(off) < (bar.smallest or 0.0):
            continue
        told.add((bar.cafe.name, bar.recipe.name))
        near = bar.near(step)
        yield _(
            "Look at %(recipe)s at %(cafe)s first: since about %(day)s it is %(size)s %(way)s than before, now %(off)s "
            "off its target (about then: %(why)s). %(do)s"
        ) % {
            "recipe": bar.recipe.name,
            "cafe": bar.cafe.name,
            "day": dates.day(date.fromordinal(step.day), weekday=True),
            "size": TDS.said(step.size),
            "way": TDS.way(step.size),
            "off": TDS.said(off),
            "why": "; ".join(near[:2]) or _("nothing on record"),
            "do": _first_of_a_bar(off > 0),
        }
    worst = worst_line(parts)
    if worst is None or worst.now is None or (worst.cafe, worst.recipe) in told:
        return
    now = worst.now
    if now.share.crew.high >= CONSISTENT_FROM:
        return
    said = _("Look at %(recipe)s: only %(share)s of 100 were surely inside target for strength.") % {
        "recipe": where(parts, worst),
        "share": words.of_100(now.share.share),
    }
    if now.outside >= MANY_OUTSIDE and max(now.high, now.low) >= ONE_SIDED * now.outside:
        what = _("too strong") if now.high > now.low else _("too weak")
        said += " " + _("Most of those outside were %(what)s. %(do)s") % {
            "what": what,
            "do": _first_of_a_bar(now.high > now.low),
        }
    yield said


def off_target(parts: Parts, bar: Bar, step: Step) -> float | None:
    """By how much the days since the step lie above what is aimed at now; None without a target."""
    aims = [aims for _day, aims in aims_by_day(parts.ground, bar)][-1]
    effects = bar.reckoned.effects
    since = effects.day >= step.day
    if aims.tds_target is None or not since.any():
        return None
    return float(np.average(effects.values[since], weights=effects.brews[since])) - float(aims.tds_target)


def _first_of_a_bar(is_stronger: bool) -> str:
    return (
        _(
            "It is the whole bar: try a coarser grind, and check dose, kettle temperature, paper and water before "
            "anybody’s pouring."
        )
        if is_stronger
        else _(
            "It is the whole bar: try a finer grind, and check dose, kettle temperature, paper and water before "
            "anybody’s pouring."
        )
    )


# --- what was left lying


def _signals(parts: Parts) -> Iterator[str]:
    """Those that were open when the span ended and still are."""
    still = [life for life in parts.signals.open if life.signal.state in LIVE]
    unexplained = [life for life in still if life.is_unexplained and life.age >= LONG_OPEN_DAYS]
    unclosed = [life for life in still if not life.is_unexplained and life.age >= LONG_EXPLAINED_DAYS]
    for life in (*unexplained, *unclosed)[:MOST_SIGNALS]:
        about = _about(parts, life)
        if life.is_unexplained:
            said = _(
                "Have the head barista at %(cafe)s look at %(about)s: open for %(days)s and not explained."
            )
        else:
            said = _(
                "Have the head barista at %(cafe)s close %(about)s, or say what it waits for: open for %(days)s."
            )
        yield said % {"cafe": life.cafe.name, "about": about, "days": words.days(life.age)}


def _about(parts: Parts, life: Life) -> str:
    """A person is nobody in particular, and where few brew not even that."""
    signal = life.signal
    day = dates.day(signal.day, weekday=True)
    if signal.question == Signal.Question.INSTRUMENT:
        return _("the signal of %(day)s about %(name)s") % {"day": day, "name": signal.refractometer}
    if signal.person_id is None:
        return _("the signal of %(day)s about the whole bar (%(recipe)s)") % {
            "day": day,
            "recipe": signal.recipe,
        }
    if parts.people.is_enough(life.cafe):
        return _("the signal of %(day)s about one person") % {"day": day}
    return _("the signal of %(day)s") % {"day": day}


def _missing(parts: Parts) -> Iterator[str]:
    """The weekday of a café on which checks are missed most, or the whole week."""
    found: list[tuple[float, str, str, Tally]] = []
    for cafe in parts.ground.asked.cafes:
        whole = parts.checks.of_cafe(cafe)
        if whole is None:
            continue
        if whole.share < MISSING_BELOW and whole.due >= FEW_DUE:
            found.append((whole.share, cafe.name, "", whole))
            continue
        for (place, weekday), tally in parts.checks.tallies.items():
            if place != cafe.pk or weekday == WHOLE_WEEK or tally.due < FEW_DUE:
                continue
            if tally.share < MISSING_BELOW and tally.missed + tally.busy >= 2:
                found.append((tally.share, cafe.name, weekday_name(weekday), tally))
    for _share, cafe_name, weekday_, tally in sorted(found, key=lambda one: one[:3])[:1]:
        counts = {
            "cafe": cafe_name,
            "done": words.number(tally.done),
            "due": words.number(tally.due),
            "day": weekday_,
        }
        said = (
            _(
                "Ask at %(cafe)s what keeps checks from being brewed on a %(day)s: %(done)s of %(due)s due were."
            )
            if weekday_
            else _("Ask at %(cafe)s what keeps checks from being brewed: %(done)s of %(due)s due were.")
        )
        yield said % counts


def _spread(parts: Parts) -> Iterator[str]:
    """What to do about the largest part of the spread."""
    strength = parts.spreads.together.get("tds")
    if strength is None or strength.largest is None:
        return
    kind = spreads.kind(strength.largest)
    do = {
        "people": _("agree on one way to pour and brew one check side by side"),
        "days": _(
            "look at grind, dose, kettle temperature, paper, water and the age of the coffee before the pouring"
        ),
        "both": _("look at how the same hands pour from day to day: one flow, one height, one clock"),
        "brews": _("weigh the dose, clear the grinder and practise one steady flow with cold water"),
    }[kind]
    part = {
        "people": _("people differ from one another"),
        "days": _("days differ, whoever brews"),
        "both": _("the same people differ from day to day"),
        "brews": _("one brew differs from the next"),
    }[kind]
    said = (
        _("To make the cup steadier, %(do)s: most of its spread is how %(part)s.")
        if strength.is_sure
        else _(
            "To make the cup steadier, first %(do)s: the largest part of its spread seems to be how %(part)s."
        )
    )
    yield said % {"do": do, "part": part}


def _without_plan(parts: Parts) -> Iterator[str]:
    for cafe in parts.checks.without_plan[:1]:
        yield _("Set a check recipe at %(cafe)s, so that somebody is due a check.") % {"cafe": cafe.name}


def _too_close(parts: Parts) -> Iterator[str]:
    now = parts.shares.together["tds"].now
    if now is None or now.is_few or now.close / now.judged < MANY_TOO_CLOSE:
        return
    yield _(
        "Read three drops of a brew instead of two, or allow a wider tolerance: %(share)s of 100 check brews were too "
        "close to call."
    ) % {"share": words.of_100(now.close / now.judged)}


def _unchecked(parts: Parts) -> Iterator[str]:
    for one in parts.instruments.all:
        if one.unchecked > one.used / 3 and one.unchecked >= 3:
            yield _(
                "Read water on %(name)s before the first check of a day: on %(n)s it was used unchecked."
            ) % {
                "name": named(one),
                "n": words.days(one.unchecked),
            }
            return
