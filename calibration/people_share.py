"""Is it the people? How much of the spread is people, how much days, how much a person's day or a single brew."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from brewbar.crew.access import Member
from calibration import crowd, spread
from calibration.crowd import Sight
from calibration.drift import Asked
from calibration.naming import FEWEST_PEOPLE, few
from calibration.spread import Beside
from calibration.staff import tied_words
from calibration.statistics.sums import FEWEST_STAFF, parted
from calibration.statistics.variance import Component, VarianceFit


@dataclass(frozen=True)
class Part:
    """One part of the spread: key: "people", "days", "both" or "brews"; label: in words; found: its size."""

    key: str
    label: str
    found: Component

    @property
    def share(self) -> float:
        return self.found.share or 0.0


@dataclass(frozen=True)
class Seen:
    """parts: in a fixed order; fit: None where the reader may not see it or nothing was brewed; cannot: what can't be
    told, and why."""

    asked: Asked
    parts: tuple[Part, ...]
    fit: VarianceFit | None
    people: int
    days: int
    beside: Beside
    answer: str
    how_sure: str
    cannot: tuple[str, ...]
    sight: Sight


def look(member: Member, asked: Asked) -> Seen:
    found = spread.brews(member, asked)
    sums = found.sums
    sight = crowd.sight_of(member, sums.people, asked.first, asked.last)
    beside = spread.beside(member, found)
    people, days = len(sums.people), len(sums.days)
    hidden = not sight.sees_crew or (member.is_owner and people < FEWEST_PEOPLE)
    if not len(sums) or hidden:
        answer = _("Nobody can say: no brews count in this span.") if not hidden else few(_("the spread is"))
        return Seen(asked, (), None, people, days, beside, answer, "", (), sight)
    fit = spread.remembered("share", sums, lambda: parted(sums, intervals=True))
    parts = _parts(fit)
    answer, how_sure = _answer(asked, parts, people)
    cannot = (*_cannot(fit, people, days), *tied_words(spread.tied(member, found), sight))
    return Seen(asked, parts, fit, people, days, beside, answer, how_sure, cannot, sight)


def _parts(fit: VarianceFit) -> tuple[Part, ...]:
    named = {
        "staff": ("people", _("People")),
        "day": ("days", _("Days")),
        "staff:day": ("both", _("A person’s day")),
        "brew": ("brews", _("One brew to the next")),
    }
    together = ("brews", _("A person’s day and one brew to the next"))
    parts = []
    for name, component in fit.components.items():
        if component.share is None:
            continue
        key, label = named.get(name, together)
        parts.append(Part(key, label, component))
    return tuple(parts)


def _answer(asked: Asked, parts: tuple[Part, ...], people: int) -> tuple[str, str]:
    if not parts:
        return _("Too early to say: there is too little to tell the parts of the spread from."), ""
    order = sorted(parts, key=lambda part: -part.share)
    first = order[0]
    second = order[1] if len(order) > 1 else None
    own = {
        "people": _("the largest part of the spread is people: look at how they pour first."),
        "days": _("most of the spread is days, not people: look at the coffee and the grinder first."),
        "both": _(
            "the largest part of the spread is people who brew differently from day to day: look at how the pouring "
            "is repeated first."
        ),
        "brews": _(
            "most of the spread is one brew to the next, whoever brews and whenever: look at dose, grind and how "
            "steadily it is poured."
        ),
    }[first.key]
    low = first.found.share_low
    sure = second is None or (
        low is not None and second.found.share_high is not None and low > second.found.share_high
    )
    no = _("No") if first.key != "people" else _("Yes")
    said = (
        f"{no}: {own}" if sure else f"{_('Probably not') if first.key != 'people' else _('Probably')}: {own}"
    )
    if not any(part.key == "people" for part in parts):
        unknown = _("with fewer than %(n)d people, how much they differ can't be told.") % {"n": FEWEST_STAFF}
        said = f"{_('Too few people to say')}: {unknown}"
    shares = "; ".join(f"{part.label}: {percent(part)}" for part in order)
    return said, shares


def percent(part: Part) -> str:
    """48 % (30 to 66)."""
    size = f"{100 * part.share:.0f}\N{NO-BREAK SPACE}%"
    low, high = part.found.share_low, part.found.share_high
    if low is None or high is None:
        return size
    return _("%(size)s (%(low)s to %(high)s)") % {
        "size": size,
        "low": f"{100 * low:.0f}",
        "high": f"{100 * high:.0f}",
    }


def _cannot(fit: VarianceFit, people: int, days: int) -> list[str]:
    said = []
    if people < FEWEST_STAFF:
        said.append(
            _("How much people differ: there are %(n)d, and from fewer than %(least)d it can't be told.")
            % {"n": people, "least": FEWEST_STAFF}
        )
    if days < 2:
        said.append(_("How much days differ: there is only one."))
    if any("staff:day" in name and name != "staff:day" for name in fit.components):
        said.append(
            _(
                "A person's day from a single brew: hardly anybody brewed the recipe twice on a day. The check plan "
                "draws who does, so that this can be told."
            )
        )
    if not fit.settled:
        said.append(_("The search for the likeliest spreads did not come to its end: take them as rough."))
    return said
