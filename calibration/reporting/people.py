"""How people appear in a report: as the company has set it, five or more at a time, and for coaching alone."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.models import Cafe, Naming, User
from calibration import naming, spread
from calibration.drift import MEASURES
from calibration.naming import FEWEST_PEOPLE
from calibration.reporting import words
from calibration.reporting.ground import Ground
from calibration.reporting.moved import Moved
from calibration.reporting.result import Bar, Bars, Section, Table
from calibration.statistics.deviations import Crew, Standing, between_staff
from calibration.statistics.sums import Sums

TDS = MEASURES["tds"]


@dataclass(frozen=True)
class Person:
    cafe: Cafe
    name: str
    standing: Standing
    state: str


@dataclass(frozen=True)
class People:
    ground: Ground
    moved: Moved

    @cached_property
    def setting(self) -> Naming:
        asked = self.ground.asked
        return naming.setting_for(asked.company, asked.first, asked.last)

    @cached_property
    def crews(self) -> dict[int, int]:
        """By café how many people brewed checks in the span, those in training left out."""
        this = self.ground.this
        return {cafe.pk: len(np.unique(this.who[this.cafe == cafe.pk])) for cafe in self.ground.asked.cafes}

    @cached_property
    def is_too_short(self) -> bool:
        """Whether the span is so short that who knows the roster would know who is who."""
        return naming.is_too_short(self.setting, self.ground.asked.first, self.ground.asked.last)

    @property
    def open_cafes(self) -> list[Cafe]:
        """Those whose crew is large enough to be told apart."""
        if self.is_too_short:
            return []
        return [cafe for cafe in self.ground.asked.cafes if self.crews[cafe.pk] >= FEWEST_PEOPLE]

    def is_enough(self, cafe: Cafe) -> bool:
        return self.crews[cafe.pk] >= FEWEST_PEOPLE

    @cached_property
    def all(self) -> tuple[Person, ...]:
        """By café and name, never by result. Two queries."""
        this = self.ground.this
        told = this.only(np.isin(this.cafe, [cafe.pk for cafe in self.open_cafes]))
        users = {user.pk: user for user in User.objects.filter(pk__in=np.unique(told.who).tolist())}
        found = []
        for cafe in self.open_cafes:
            own = this.only(this.cafe == cafe.pk)
            sums, smallest = own.sums(TDS), self.moved.smallest(cafe, own)
            crew = _crew(sums)
            # In each café letters of its own: who works in two of them would be known by the same one.
            here = {users[one.who] for one in crew.standings}
            about = f"{cafe.pk} {self.ground.asked.first} {self.ground.asked.last}"
            names = naming.names_for(self.ground.asked.company, self.setting, here, about)
            found += [Person(cafe, names[one.who], one, one.side(smallest)) for one in crew.standings]
        return tuple(sorted(found, key=lambda one: (one.cafe.name, one.name)))


def _crew(sums: Sums) -> Crew:
    return spread.remembered("staff", sums, lambda: between_staff(sums))


def section(people: People) -> Section:
    title = _("People")
    told = [one for one in people.all if one.standing.best is not None and not one.standing.too_few]
    small = [cafe.name for cafe in people.ground.asked.cafes if 0 < people.crews[cafe.pk] < FEWEST_PEOPLE]
    notes = []
    if small:
        notes.append(
            _("Fewer than %(n)d people brewed at %(cafes)s, so nothing is broken down by person there.")
            % {"n": FEWEST_PEOPLE, "cafes": words.listed(small)}
        )
    if not told:
        return Section("people", title, (), notes=(*notes, _("Nobody can be told apart in this span.")))
    notes.append(
        _(
            "Each against the others who brewed the same recipe on the same day, and drawn towards them as far as few "
            "brews say little. In order of name: for coaching, not for ranking."
        )
    )
    several = len(people.ground.asked.cafes) > 1
    bars = tuple(_bar(one, several) for one in told)
    figure = Bars("people", _("TDS against the others’"), _("% TDS"), 3, bars, zero=True)
    return Section("people", title, (_says(told),), figure, _table(title, people), tuple(notes))


def _bar(one: Person, several: bool) -> Bar:
    low, high = one.standing.limits
    name = f"{one.cafe.name}: {one.name}" if several else one.name
    mark = one.state if one.state in ("high", "low", "inside", "close") else ""
    return Bar(name, _number(one.standing.best), _number(low), _number(high), mark=mark)


def _number(value: float | None) -> float | None:
    return None if value is None else float(value)


def _says(told: list[Person]) -> str:
    off = sum(one.state in ("high", "low") for one in told)
    close = sum(one.state == "close" for one in told)
    if off:
        said = ngettext(
            "%(n)d person of %(all)d surely brews off, by more than matters.",
            "%(n)d people of %(all)d surely brew off, by more than matters.",
            off,
        )
    else:
        said = _("Nobody of %(all)d surely brews off by more than matters.")
    words_ = {"n": off, "all": len({one.standing.who for one in told})}
    if not close:
        return said % words_
    more = ngettext(
        "Of %(n)d it is too close to call.",
        "Of %(n)d it is too close to call.",
        close,
    )
    return f"{said % words_} {more % {'n': close}}"


def _state(state: str) -> str:
    return {
        "high": _("off, stronger"),
        "low": _("off, weaker"),
        "inside": _("not off"),
        "close": _("too close to call"),
        "few": _("too few brews to say"),
        "none": _("nothing to hold it against"),
    }[state]


def _table(title: str, people: People) -> Table:
    cells: list[tuple[str, ...]] = []
    numbers: list[tuple[Any, ...]] = []
    for one in people.all:
        low, high = one.standing.limits
        known = one.standing.best is not None and not one.standing.too_few
        cells.append(
            (
                one.cafe.name,
                one.name,
                TDS.apart(one.standing.best) if known else words.NONE,
                words.NONE
                if not known or low is None or high is None
                else words.from_to(TDS.apart(low), TDS.apart(high)),
                _state(one.state),
            )
        )
        of = (one.standing.best, low, high) if known else (None,) * 3
        numbers.append((one.cafe.name, one.name, *map(words.exact, of), one.state))
    head = (_("Café"), _("Who"), _("Against the others, % TDS"), _("Interval (95 %)"), _("So"))
    csv_head = ("cafe", "person", "deviation_tds_pct", "low_95", "high_95", "state")
    return Table("people", title, head, tuple(cells), csv_head, tuple(numbers))


def note(people: People) -> str:
    """How people appear, and what to tell them."""
    how = {
        Naming.UNNAMED: _(
            "People are unnamed here, as the company has set it: a letter stands for a person."
        ),
        Naming.INITIALS: _("People appear by their initials, as the company has set it."),
        Naming.NAMES: _("People appear by name, as the company has set it."),
    }[people.setting]
    if people.is_too_short:
        how = _(
            "Nobody appears in this report: people are unnamed, as the company has set it, and over fewer than "
            "%(n)d days who knows the roster would know who is who."
        ) % {"n": naming.FEWEST_DAYS}
    elif not people.open_cafes:
        how = _(
            "Nobody appears in this report: where fewer than %(n)d people brew, nothing is told by person."
        ) % {"n": FEWEST_PEOPLE}
    return " ".join(
        (
            how,
            _(
                "It is meant for coaching, not for ranking or pay. Tell your staff what is measured, why, and who "
                "reads it; each of them can see and take along all that is held about them. Local rules on monitoring "
                "people at work come first: ask before you use this for anything else."
            ),
        )
    )
