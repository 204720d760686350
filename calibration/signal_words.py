"""Signals in sentences: what is seen, since when, how sure. Numbers alone are kept; the words are made for whoever
reads them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar import dates, units
from brewbar.crew.access import Member
from calibration.models import Signal
from calibration.models.instruments import InstrumentCheck

Question, Measure = Signal.Question, Signal.Measure


SHAPES = {
    Signal.State.OPEN: "live",
    Signal.State.LOOKED: "draft",
    Signal.State.EXPLAINED: "published",
    Signal.State.CLOSED: "retired",
    Signal.State.WITHDRAWN: "void",
}
"""What becomes of a signal, as pages draw what becomes of any record."""


@dataclass(frozen=True)
class Told:
    """One line of a list. cause: how it was explained, if it was."""

    signal: Signal
    says: str
    shape: str
    state: str
    cause: str


def told(signals: Iterable[Signal], reader: Member) -> list[Told]:
    """Lines of a list; wants notes prefetched."""
    return [
        Told(
            signal,
            short(signal, reader),
            SHAPES[Signal.State(signal.state)],
            signal.get_state_display(),
            cause_of(signal),
        )
        for signal in signals
    ]


def cause_of(signal: Signal) -> str:
    causes = [note.get_cause_display() for note in signal.notes.all() if note.cause]
    return str(causes[-1]) if causes else ""


def sentence(signal: Signal, reader: Member | None = None) -> str:
    """All in one sentence: a barista reads of themselves as you."""
    return f"{seen(signal, reader)}; {how_sure(signal)}"


def seen(signal: Signal, reader: Member | None = None) -> str:
    match signal.question:
        case Question.INSTRUMENT:
            return _instrument(signal)
        case Question.MOVED:
            return _moved(signal)
        case Question.OFF:
            return _off(signal, is_own(signal, reader))
        case _:
            return _drifting(signal, is_own(signal, reader))


def is_own(signal: Signal, reader: Member | None) -> bool:
    return reader is not None and signal.person_id == reader.user.pk


def short(signal: Signal, reader: Member | None = None) -> str:
    """For one line of a list: who or what, how much, since when."""
    words = {"who": whom(signal, reader), "much": amount(signal), "way": way(signal), "since": began(signal)}
    match signal.question:
        case Question.INSTRUMENT:
            return _("%(who)s reads %(much)s too %(way)s") % words
        case Question.OFF:
            return _("%(who)s: about %(much)s %(way)s than the others") % words
        case _ if is_one_brew(signal) and signal.person_id:
            return _("%(who)s: one brew about %(much)s %(way)s, on %(since)s") % words
        case _ if is_one_brew(signal):
            return _("%(who)s: about %(much)s %(way)s on %(since)s alone") % words
        case _:
            return _("%(who)s: about %(much)s %(way)s since about %(since)s") % words


def whom(signal: Signal, reader: Member | None = None) -> str:
    if signal.question == Question.INSTRUMENT:
        return str(signal.refractometer)
    if signal.person_id is None:
        return _("The whole bar")
    return _("You") if is_own(signal, reader) else str(signal.person)


def is_one_brew(signal: Signal) -> bool:
    """Whether it rests on the last day alone: a brew that went wrong rather than one that drifts."""
    return bool(signal.since == signal.day)


def began(signal: Signal) -> str:
    return dates.day(signal.since or signal.since_high or signal.day)


def amount(signal: Signal, key: str = "estimate") -> str:
    """The size of what is seen, without its sign: 0.06 % or 12 s."""
    value = signal.evidence.get(key)
    return "–" if value is None else size(signal, value)


def size(signal: Signal, value: float) -> str:
    if signal.measure == Measure.TIME:
        said = _("%(figure)s s") % {"figure": units.fixed(abs(value), 0)}
    else:
        said = units.percent(abs(value), 2)
    return said.replace(" ", "\N{NO-BREAK SPACE}")


def way(signal: Signal) -> str:
    is_high = signal.side == "high"
    if signal.question == Question.INSTRUMENT:
        return _("high") if is_high else _("low")
    if signal.measure == Measure.TIME:
        return _("longer") if is_high else _("shorter")
    return _("stronger") if is_high else _("weaker")


def between(signal: Signal) -> str:
    """The limits of the size, without their signs where both are on its side."""
    low, high = signal.evidence.get("low"), signal.evidence.get("high")
    if low is None or high is None:
        return ""
    return limits(signal, low, high) if low < 0 < high else limits(signal, *sorted((abs(low), abs(high))))


def limits(signal: Signal, low: float, high: float) -> str:
    told = low < 0 < high or high <= 0
    said = [f"{('−' if value < 0 else '+') if told else ''}{size(signal, value)}" for value in (low, high)]
    return _("%(low)s to %(high)s") % {"low": said[0], "high": said[1]}


def _words(signal: Signal) -> dict[str, Any]:
    n = signal.evidence.get("n", 0)
    return {
        "who": str(signal.person) if signal.person_id else "",
        "much": amount(signal),
        "way": way(signal),
        "since": began(signal),
        "when": _when(signal.since_low, signal.since_high),
        "between": between(signal),
        "brews": ngettext("%(n)d brew", "%(n)d brews", n) % {"n": n},
        "recipe": str(signal.recipe) if signal.recipe_id else "",
        "day": dates.day(signal.day),
    }


def _when(low: date | None, high: date | None) -> str:
    """Between which days it began, in brackets; nothing where it was one day."""
    if low is None or high is None or low == high:
        return ""
    if low.month == high.month and units.style().date_order == "dmy":
        return f" ({low.day}–{dates.day(high)})"
    return f" ({dates.day(low)}–{dates.day(high)})"


def _drifting(signal: Signal, own: bool) -> str:
    words = _words(signal)
    if is_one_brew(signal):
        said = (
            _(
                "Your brew of %(day)s was about %(much)s %(way)s than the others' brews of that day foretold "
                "(%(between)s)"
            )
            if own
            else _(
                "%(who)s's brew of %(day)s was about %(much)s %(way)s than the others' brews of that day foretold "
                "(%(between)s)"
            )
        )
        return said % words
    said = (
        _("You have brewed about %(much)s %(way)s beside the others since about %(since)s%(when)s, %(brews)s")
        if own
        else _(
            "%(who)s has brewed about %(much)s %(way)s beside the others since about %(since)s%(when)s, %(brews)s"
        )
    )
    return said % words


def _off(signal: Signal, own: bool) -> str:
    said = (
        _("You brew about %(much)s %(way)s than the others (%(between)s), by %(brews)s of four weeks")
        if own
        else _(
            "%(who)s brews about %(much)s %(way)s than the others (%(between)s), by %(brews)s of four weeks"
        )
    )
    return said % _words(signal)


def _moved(signal: Signal) -> str:
    words = _words(signal)
    if is_one_brew(signal):
        return (
            _(
                "%(recipe)s came out about %(much)s %(way)s for the whole bar on %(day)s (%(between)s), %(brews)s"
            )
            % words
        )
    return (
        _(
            "%(recipe)s has come out about %(much)s %(way)s for the whole bar since about %(since)s%(when)s, %(brews)s"
        )
        % words
    )


def _instrument(signal: Signal) -> str:
    words = _words(signal) | {
        "name": str(signal.refractometer),
        "read": units.fixed(signal.evidence["read"], 2),
        "expected": units.fixed(signal.evidence["expected"], 2),
    }
    on_water = signal.evidence.get("kind") == InstrumentCheck.Kind.ZERO
    said = (
        _("%(name)s read %(read)s %% on distilled water on %(day)s")
        if on_water
        else _("%(name)s read %(read)s %% on %(day)s where %(expected)s %% was right")
    )
    if signal.since_low:
        words["passed"] = dates.day(signal.since_low)
        return (said + _(", and may have been wrong since %(passed)s, when it last passed")) % words
    return (said + _(", and it never passed before")) % words


def how_sure(signal: Signal) -> str:
    """How often this is said of nothing."""
    if signal.question == Question.INSTRUMENT:
        return _("what it read meanwhile is left out where people are compared")
    if signal.run_length:
        return _("a quiet chart says so once in %(n)d checks") % {"n": signal.run_length}
    return _("95 times in 100 such limits hold what is so, and all of them lie beyond %(smallest)s") % {
        "smallest": amount(signal, "smallest")
    }


def facts(signal: Signal) -> list[tuple[str, str]]:
    """The numbers behind it, with what they are."""
    evidence, alarms = signal.evidence, signal.run_length
    said = [
        (_("Size"), f"{amount(signal)} {way(signal)}"),
        (_("Its limits, 95 %"), between(signal)),
        (_("It read"), _percent(evidence.get("read"))),
        (_("It should have read"), _percent(evidence.get("expected"))),
        (_("Brews"), str(evidence.get("n") or "")),
        (_("Beside how many others"), str(evidence.get("others") or "")),
        (_("One brew scatters by (SD)"), amount(signal, "brew_sd") if evidence.get("brew_sd") else ""),
        (
            _("Smallest difference that matters"),
            amount(signal, "smallest") if evidence.get("smallest") else "",
        ),
        (_("False alarm of this chart"), _("once in %(n)d checks") % {"n": alarms} if alarms else ""),
    ]
    return [(name, value) for name, value in said if value]


def _percent(value: float | None) -> str:
    return "" if value is None else units.percent(value, 2)
