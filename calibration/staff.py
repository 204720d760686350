"""Who is off? Each person against the others who brewed the same recipe that day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.access import Member
from calibration import crowd, drift, spread
from calibration.crowd import Sight
from calibration.drift import CREW_SHARE, Asked
from calibration.naming import FEWEST_PEOPLE
from calibration.spread import Beside, Brews
from calibration.statistics.deviations import (
    FEWEST_BREWS,
    Crew,
    Deviations,
    Followed,
    Standing,
    between_staff,
    over_time,
)
from calibration.statistics.groups import middle

MOST_LINES = 40
"""So many people fit on a chart; the furthest from the others are drawn, and the table has everybody."""
MOST_DOTS = 3000

WORDS = {"high": "high", "low": "low", "inside": "inside", "close": "close", "few": "none", "none": "none"}


@dataclass(frozen=True)
class Person:
    """One line. key: of the person; state: as `Standing.side`; is_me: whether it is the reader."""

    key: int
    name: str
    standing: Standing
    state: str
    is_me: bool


@dataclass(frozen=True)
class Seen:
    """people: sorted, the highest first; drawn: of those the ones that a chart has room for; dots: deviations of single
    days of those who may be shown so; band: between which values the middle 80 % of the others lie, for a barista."""

    asked: Asked
    people: tuple[Person, ...]
    drawn: tuple[Person, ...]
    dots: Deviations | None
    band: tuple[float, float] | None
    smallest: float | None
    crew: Crew
    beside: Beside
    brews: int
    answer: str
    how_sure: str
    sight: Sight
    tied: tuple[str, ...]

    @property
    def leads_on(self) -> bool:
        """Whether the lines lead to a page of their own."""
        return self.sight.me is not None

    @property
    def notes(self) -> tuple[str, ...]:
        return () if self.crew.shrunk else self.crew.notes[:1]


def look(member: Member, asked: Asked) -> Seen:
    """The people of ``asked``, as much of them as ``member`` may see."""
    found = spread.brews(member, asked)
    sight = crowd.sight_of(member, found.sums.people, asked.first, asked.last)
    smallest = drift.smallest_of(asked)
    crew = reckon(found)
    people = tuple(
        Person(one.who, sight.names[one.who], one, one.side(smallest), one.who == member.user.pk)
        for one in sorted(crew.standings, key=lambda one: _place(one, sight))
        if one.who in sight.names
    )
    drawn = _furthest([one for one in people if one.standing.raw is not None])
    band = None
    if member.is_barista and sight.sees_crew:
        others = [
            one.best
            for one in crew.standings
            if one.who != member.user.pk and not one.too_few and one.best is not None
        ]
        band = middle(others, CREW_SHARE) if len(others) >= FEWEST_PEOPLE else None
    answer, how_sure = _answer(member, asked, people, crew, smallest)
    return Seen(
        asked,
        people,
        drawn,
        _dots(crew, drawn) if sight.by_day else None,
        band,
        smallest,
        crew,
        spread.beside(member, found),
        found.sums.brews if len(found.sums) else 0,
        answer,
        how_sure,
        sight,
        tied_words(spread.tied(member, found), sight),
    )


def _place(one: Standing, sight: Sight) -> tuple[bool, str]:
    """As they come, by result; those of whom there is too little by name, since keys tell who came first."""
    return one.too_few, sight.names.get(one.who, "") if one.too_few else ""


def reckon(found: Brews) -> Crew:
    return spread.remembered("staff", found.sums, lambda: between_staff(found.sums))


def _furthest(people: list[Person]) -> tuple[Person, ...]:
    if len(people) <= MOST_LINES:
        return tuple(people)
    chosen = sorted(people, key=lambda one: -abs(one.standing.best or 0.0))[:MOST_LINES]
    keys = {one.key for one in chosen}
    return tuple(one for one in people if one.key in keys)


def _dots(crew: Crew, drawn: tuple[Person, ...]) -> Deviations | None:
    """The newest of each of them, so many that all fit."""
    if crew.deviations is None or not drawn:
        return None
    each = max(10, MOST_DOTS // len(drawn))
    chosen = crew.deviations.day < 0
    for person in drawn:
        places = (crew.deviations.who == person.key).nonzero()[0]
        chosen[places[-each:]] = True
    return crew.deviations.only(chosen)


def tied_words(tied: dict[str, dict[int, set[int]]], sight: Sight) -> tuple[str, ...]:
    """Who alone always brewed with one piece of equipment: what is theirs and what is its can't be told apart."""
    said = []
    for thing, of in tied.items():
        alone = [
            sight.names[pk]
            for pk, used in of.items()
            if len(used) == 1
            and pk in sight.names
            and not any(used & others for who, others in of.items() if who != pk)
        ]
        if alone and len(of) > 1:
            who = ", ".join(sorted(alone)[:6]) if sight.by_day else _people(len(alone))
            words = {"who": who, "thing": _things()[thing]}
            said.append(
                _("%(who)s, always with a %(thing)s that nobody else used: what is theirs and what is its.")
                % words
            )
        elif all(len(used) == 1 for used in of.values()) and len(set().union(*of.values())) > 1:
            said.append(
                _(
                    "Everybody always used the same %(thing)s, and not all the same one: what groups of people share "
                    "can be its."
                )
                % {"thing": _things()[thing]}
            )
    return tuple(said)


def _people(n: int) -> str:
    return ngettext("%(n)d person", "%(n)d people", n) % {"n": n}


def _things() -> dict[str, str]:
    return {
        "grinder": _("grinder"),
        "kettle": _("kettle"),
        "refractometer": _("refractometer"),
    }


# --- one person over time


@dataclass(frozen=True)
class Page:
    """One person's page. followed: None where nothing could be compared; standing: None where nothing was brewed."""

    asked: Asked
    key: int
    name: str
    is_me: bool
    standing: Standing | None
    state: str
    followed: Followed | None
    counts: tuple[int, ...]
    smallest: float | None
    beside: Beside
    answer: str
    notes: tuple[str, ...]

    @property
    def days(self) -> list[tuple[date, float, float, int]]:
        """Day, deviation, moving average and number of own brews, the newest first."""
        if self.followed is None:
            return []
        rows = zip(
            map(date.fromordinal, self.followed.day.tolist()),
            self.followed.deviation.tolist(),
            self.followed.z.tolist(),
            self.counts,
            strict=True,
        )
        return list(rows)[::-1]


def page_of(member: Member, asked: Asked, person: Any) -> Page:
    """How ``person`` stood against the others over time. The view has made sure that ``member`` may see it."""
    found = spread.brews(member, asked)
    crew = reckon(found)
    smallest = drift.smallest_of(asked)
    standing = next((one for one in crew.standings if one.who == person.pk), None)
    own = crew.deviations.of(person.pk) if crew.deviations is not None else None
    followed = over_time(own) if own is not None else None
    counts: tuple[int, ...] = ()
    if own is not None and followed is not None:
        counts = tuple(round(float(own.n[own.day == day].sum())) for day in followed.day)
    is_me = person.pk == member.user.pk
    name = _("You") if is_me else person.name
    state = standing.side(smallest) if standing else "few"
    answer = _of_one(asked, name, is_me, standing, state, smallest)
    return Page(
        asked, person.pk, name, is_me, standing, state, followed, counts, smallest,
        spread.beside(member, found), answer, () if crew.shrunk else crew.notes[:1],
    )  # fmt: skip


# --- in words


def _answer(
    member: Member, asked: Asked, people: tuple[Person, ...], crew: Crew, smallest: float | None
) -> tuple[str, str]:
    if not people:
        return _("Nobody can say."), ""
    told = [one for one in people if one.state != "few"]
    if member.is_barista:
        me = people[0]
        return _of_one(asked, me.name, True, me.standing, me.state, smallest), ""
    if not told:
        return _("Too early to say of anybody."), _few(people)
    if smallest is None:
        return _("The recipe sets no tolerance for this, so nobody can be called off."), ""
    off = [one for one in told if one.state in ("high", "low")]
    size = asked.measure.said(smallest)
    open_ = sum(one.state == "close" for one in told)
    sure = " ".join(
        part
        for part in (
            ngettext(
                "Of %(n)d person it is too close to call.", "Of %(n)d people it is too close to call.", open_
            )
            % {"n": open_}
            if open_
            else "",
            _few(people),
            _("Off means that the whole interval (95 %) lies beyond."),
        )
        if part
    )
    if not off:
        return _("Nobody, as far as can be told: no one lies surely beyond ± %(size)s.") % {
            "size": size
        }, sure
    if len(off) == 1:
        return _of_one(asked, off[0].name, False, off[0].standing, off[0].state, smallest), sure
    names = ", ".join(one.name for one in off[:5]) + (" …" if len(off) > 5 else "")
    said = _("%(n)d of %(all)d lie surely beyond ± %(size)s of the others: %(names)s.")
    return said % {"n": len(off), "all": len(told), "size": size, "names": names}, sure


def _few(people: tuple[Person, ...]) -> str:
    n = sum(one.state == "few" for one in people)
    if not n:
        return ""
    said = ngettext(
        "Of %(n)d person there is too little to say: fewer than %(least)d brews beside others.",
        "Of %(n)d people there is too little to say: fewer than %(least)d brews beside others.",
        n,
    )
    return said % {"n": n, "least": FEWEST_BREWS}


def _of_one(
    asked: Asked, name: str, is_me: bool, standing: Standing | None, state: str, smallest: float | None
) -> str:
    if standing is None or state == "few" or standing.best is None:
        return (
            _("Too early to say of you: fewer than %(n)d brews beside others.") % {"n": FEWEST_BREWS}
            if is_me
            else _("Too early to say of %(name)s.") % {"name": name}
        )
    measure = asked.measure
    low, high = standing.limits
    words = {
        "name": name,
        "size": measure.said(standing.best),
        "way": measure.way(standing.best),
        "low": measure.apart(low),
        "high": measure.apart(high),
        "smallest": "" if smallest is None else measure.said(smallest),
    }
    if is_me:
        said = _("You brew %(size)s %(way)s than the others (%(low)s to %(high)s)")
    else:
        said = _("%(name)s brews %(size)s %(way)s than the others (%(low)s to %(high)s)")
    verdict = {
        "high": _("off, by more than matters here (± %(smallest)s)."),
        "low": _("off, by more than matters here (± %(smallest)s)."),
        "inside": _("not off: within what matters here (± %(smallest)s)."),
        "close": _("too close to call against what matters here (± %(smallest)s)."),
        "none": _("nothing is set to hold it against."),
    }[state]
    return f"{said}: {verdict}" % words
