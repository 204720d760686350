"""What was noticed and what was done: signals raised, explained by which cause, closed how fast, and still open.

As of the end of the span: what was closed later was open then. Signals of people are counted and never told apart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from statistics import median
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.models import Cafe
from calibration.models import Signal, SignalNote
from calibration.models.signals import LIVE
from calibration.reporting import words
from calibration.reporting.changes import edges
from calibration.reporting.ground import Ground
from calibration.reporting.result import Bar, Bars, Section, Table

What = SignalNote.What
STATES = {
    What.RAISED: Signal.State.OPEN,
    What.LOOKED: Signal.State.LOOKED,
    What.EXPLAINED: Signal.State.EXPLAINED,
    What.CLOSED: Signal.State.CLOSED,
    What.REOPENED: Signal.State.OPEN,
    What.WITHDRAWN: Signal.State.WITHDRAWN,
}


@dataclass(frozen=True)
class Life:
    """One signal up to the end of the span. cause: the last that was given, "" for none; days: from raised to closed,
    None while it is open; age: days since the one that raised it; is_of_span: whether it was raised in it."""

    signal: Signal
    cafe: Cafe
    state: str
    cause: str
    days: float | None
    age: int
    is_of_span: bool

    @property
    def is_open(self) -> bool:
        return self.state in LIVE

    @property
    def is_unexplained(self) -> bool:
        return self.state in (Signal.State.OPEN, Signal.State.LOOKED)


@dataclass(frozen=True)
class Signals:
    ground: Ground

    @cached_property
    def lives(self) -> tuple[Life, ...]:
        """Two queries."""
        asked = self.ground.asked
        start, _end = edges(asked)
        rows = Signal.objects.filter(cafe__in=asked.cafes, day__lte=asked.last).filter(
            Q(day__gte=asked.first) | Q(state__in=LIVE) | Q(state_at__gte=start)
        )
        rows = rows.select_related("recipe", "refractometer").prefetch_related("notes")
        found = (self._life(signal) for signal in rows.order_by("day", "pk"))
        return tuple(life for life in found if life is not None)

    def _life(self, signal: Signal) -> Life | None:
        cafe = self.ground.cafes[signal.cafe_id]
        end = self.ground.end_of(cafe)
        state, cause, closed = "", "", None
        for note in sorted(signal.notes.all(), key=lambda note: (note.at, note.pk)):
            if note.at >= end:
                break
            state = STATES.get(What(note.what), state)
            cause = note.cause or cause
            closed = note.at if state == Signal.State.CLOSED else None
        is_of_span = signal.day >= self.ground.asked.first
        if not state or (state not in LIVE and not is_of_span):
            return None
        age = (self.ground.last_day(cafe) - signal.day).days
        return Life(signal, cafe, str(state), cause, _days(signal.raised_at, closed), age, is_of_span)

    @property
    def raised(self) -> list[Life]:
        return [life for life in self.lives if life.is_of_span]

    @property
    def open(self) -> list[Life]:
        """The oldest first."""
        return sorted((life for life in self.lives if life.is_open), key=lambda life: -life.age)


def _days(start: datetime, end: datetime | None) -> float | None:
    return None if end is None else (end - start) / timedelta(days=1)


def usual_days(lives: Iterable[Life]) -> float | None:
    taken = [life.days for life in lives if life.days is not None]
    return median(taken) if taken else None


def causes_of(lives: Iterable[Life]) -> list[tuple[str, int]]:
    """The commonest first."""
    found = Counter(life.cause for life in lives if life.cause)
    return sorted(found.items(), key=lambda one: (-one[1], one[0]))


def cause_label(cause: str) -> str:
    return str(SignalNote.Cause(cause).label) if cause else _("not explained")


def section(signals: Signals) -> Section:
    title = _("Signals")
    lives = signals.lives
    if not lives:
        return Section("signals", title, (_("No signal was raised in this span, and none was open."),))
    bars = tuple(Bar(cause_label(cause), n) for cause, n in causes_of(signals.raised))
    figure = (
        Bars("signals", _("Signals raised in this span, by cause"), _("signals"), 0, bars, filled=True)
        if bars
        else None
    )
    notes = (
        _(
            "A signal says that somebody, a day or an instrument is off or drifts. Counted as things stood "
            "when the span ended; whom a signal is about is between them and their head barista."
        ),
    )
    return Section("signals", title, says(signals), figure, _table(title, lives), notes)


def says(signals: Signals) -> tuple[str, ...]:
    raised, still = signals.raised, signals.open
    said = [
        ngettext("%(n)d signal was raised.", "%(n)d signals were raised.", len(raised)) % {"n": len(raised)}
        if raised
        else _("No signal was raised in this span.")
    ]
    explained = [life for life in raised if life.cause]
    if explained:
        told = [f"{cause_label(cause)} ({n})" for cause, n in causes_of(explained)]
        said.append(
            ngettext("%(n)d was explained: %(causes)s.", "%(n)d were explained: %(causes)s.", len(explained))
            % {"n": len(explained), "causes": ", ".join(told)}
        )
    usual = usual_days(raised)
    if usual is not None:
        closed = sum(life.days is not None for life in raised)
        said.append(
            ngettext(
                "%(n)d is closed, after %(days)s.", "%(n)d are closed, half of them within %(days)s.", closed
            )
            % {"n": closed, "days": taken(usual)}
        )
    gone = sum(life.state == Signal.State.WITHDRAWN for life in raised)
    if gone:
        said.append(
            ngettext(
                "%(n)d was withdrawn, since later brews or a correction took its ground away.",
                "%(n)d were withdrawn, since later brews or a correction took their ground away.",
                gone,
            )
            % {"n": gone}
        )
    if still:
        said.append(
            ngettext(
                "%(n)d is still open, for %(days)s.",
                "%(n)d are still open, the oldest for %(days)s.",
                len(still),
            )
            % {"n": len(still), "days": words.days(still[0].age)}
        )
    return tuple(said)


def taken(days: float) -> str:
    """How long it took, as people say it."""
    if days < 1:
        return _("a day")
    return words.days(round(days))


def _table(title: str, lives: tuple[Life, ...]) -> Table:
    groups: dict[tuple[str, str], list[Life]] = {}
    for life in lives:
        groups.setdefault((life.cafe.name, life.cause), []).append(life)
    cells: list[tuple[str, ...]] = []
    numbers: list[tuple[Any, ...]] = []
    for (cafe, cause), own in sorted(groups.items()):
        raised = [life for life in own if life.is_of_span]
        closed = sum(life.days is not None for life in raised)
        gone = sum(life.state == Signal.State.WITHDRAWN for life in raised)
        still = sum(life.is_open for life in own)
        usual, oldest = usual_days(raised), max((life.age for life in own if life.is_open), default=None)
        cells.append(
            (
                cafe, cause_label(cause), words.number(len(raised)), words.number(closed),
                words.NONE if usual is None else words.fixed(usual, 1), words.number(gone), words.number(still),
                words.NONE if oldest is None else words.number(oldest),
            )
        )  # fmt: skip
        numbers.append((cafe, cause, len(raised), closed, words.exact(usual), gone, still, oldest))
    head = (
        _("Café"), _("Explained by"), _("Raised"), _("Closed"), _("Days to close, usually"), _("Withdrawn"),
        _("Still open"), _("Open for days, at most"),
    )  # fmt: skip
    csv_head = (
        "cafe",
        "cause",
        "raised",
        "closed",
        "median_days_to_close",
        "withdrawn",
        "open",
        "oldest_open_days",
    )
    return Table("signals", title, head, tuple(cells), csv_head, tuple(numbers))
