"""Who may see what of results about people, in one place for every chart.

A head barista sees the crew of their café by name. A barista sees themselves, and the others only as something that
belongs to nobody and only where they are five or more. An owner sees people as the company has set, and only where they
are five or more. Where they are unnamed, nothing tells on which days or how often somebody brewed, nor with which
equipment, and no few days are shown: that would name them. What a day was like is an owner's to know, even where one
person brewed alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.utils.translation import gettext as _

from brewbar.crew.access import Member
from brewbar.crew.models import Naming, User
from calibration.naming import FEWEST_DAYS, FEWEST_PEOPLE, few, is_too_short, names_for, setting_for
from calibration.statistics.sums import Sums

FEWEST_OTHERS_A_DAY = 2
"""What a day was like with one other person on it would be that person's result."""


@dataclass(frozen=True)
class Sight:
    """names: of whom results may be shown, by key; me: the reader's key where they brew; sees_crew: whether what
    belongs to nobody may be shown; by_day: whether people may be shown day by day; why_not: what is missing."""

    names: dict[int, str]
    me: int | None
    sees_crew: bool
    by_day: bool
    why_not: str = ""


def sight_of(member: Member, people: Iterable[int], first: date, last: date) -> Sight:
    """What ``member`` may see of results of these ``people``, of days from ``first`` to ``last``.

    At most one query, and for an owner two more.
    """
    keys = {int(pk) for pk in people}
    if member.is_barista:
        enough = len(keys - {member.user.pk}) >= FEWEST_PEOPLE
        return Sight(
            {member.user.pk: _("You")} if member.user.pk in keys else {},
            member.user.pk,
            enough,
            True,
            "" if enough else few(_("what the others brewed is")),
        )
    if member.is_owner:
        if len(keys) < FEWEST_PEOPLE:
            return Sight({}, None, True, False, few(_("a breakdown by person is")) if keys else "")
        setting = setting_for(member.company, first, last)
        if is_too_short(setting, first, last):
            return Sight({}, None, True, False, _too_short())
        named = names_for(member.company, setting, set(User.objects.filter(pk__in=keys)), f"{first} {last}")
        return Sight(named, None, True, setting != Naming.UNNAMED)
    named = dict(User.objects.filter(pk__in=keys).values_list("pk", "name"))
    return Sight(named, member.user.pk, True, True)


def _too_short() -> str:
    return _(
        "Your company shows you people without their names, and that only over %(n)d days or more: of fewer days, who "
        "knows who worked on them would know who is who."
    ) % {"n": FEWEST_DAYS}


def days_for(member: Member, sums: Sums, sight: Sight) -> Sums:
    """The brews from which a page may tell what days were like: without days that would tell a barista of one other."""
    if not member.is_barista:
        return sums
    own = sums.who == member.user.pk
    if not sight.sees_crew:
        return sums.only(own)
    pairs = sums.only(~own).by("who", "day")
    days, others = np.unique(pairs.day, return_counts=True)
    open_days = days[others >= FEWEST_OTHERS_A_DAY]
    lonely = np.setdiff1d(sums.day[own], days)
    return sums.only(np.isin(sums.day, np.union1d(open_days, lonely)))
