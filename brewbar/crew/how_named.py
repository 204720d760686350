"""How results about people reach a company's owners, and for which days.

Opening the setting never reaches back: people brewed those days under the promise that stood then. Closing it reaches
everything at once. So days are read under the most private setting that has held at any time since the first of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from brewbar.crew.models import Company, Naming, NamingChange

PRIVATE_FIRST = (Naming.UNNAMED, Naming.INITIALS, Naming.NAMES)


@dataclass(frozen=True)
class HowNamed:
    """always: how people are shown whatever the day; since: what holds besides, from its first day on, oldest first."""

    always: Naming
    since: tuple[tuple[date, Naming], ...] = ()

    def on(self, first: date) -> Naming:
        """The setting for days of which ``first`` is the first."""
        held = [setting for day, setting in self.since if day <= first]
        return held[-1] if held else self.always

    @property
    def opens(self) -> date | None:
        """From which day on the setting of today holds; None where it does for all days."""
        return self.since[-1][0] if self.since else None


@dataclass(frozen=True)
class Told:
    """shown: how people are shown on which days; changes: of the setting, the newest first."""

    shown: HowNamed
    changes: tuple[NamingChange, ...]


def told(company: Company) -> Told:
    """What a page says of the setting."""
    found = changes(company)
    return Told(_held(company, found), tuple(reversed(found)))


def of(company: Company) -> HowNamed:
    """How people are shown to the owners of ``company``. One query, and another where it was ever opened."""
    return _held(company, changes(company))


def _held(company: Company, found: list[NamingChange]) -> HowNamed:
    open_to = Naming(company.people_shown_to_owners)
    since: list[tuple[date, Naming]] = []
    for change in reversed(found):
        was = Naming(change.was)
        if PRIVATE_FIRST.index(was) < PRIVATE_FIRST.index(open_to):
            day = _first_day_after(company, change)
            # Of several changes on a day the last one is what holds from the next.
            if not since or since[-1][0] != day:
                since.append((day, open_to))
            open_to = was
    return HowNamed(open_to, tuple(reversed(since)))


def changes(company: Company) -> list[NamingChange]:
    """Every change of the setting, oldest first."""
    return list(NamingChange.objects.filter(company=company))


def setting_for(company: Company, first: date) -> Naming:
    """How an owner reads about people in days from ``first`` on."""
    return of(company).on(first)


def _first_day_after(company: Company, change: NamingChange) -> date:
    """The first whole business day, in all cafés of the company, since ``change``."""
    days = [cafe.business_day(change.at) for cafe in company.cafes.all()]
    return max(days, default=change.at.date()) + timedelta(days=1)
