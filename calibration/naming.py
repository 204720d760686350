"""How results about people reach others: under names, initials or letters, and not at all where they are few."""

from __future__ import annotations

from collections import Counter
from datetime import date

from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from brewbar.crew import how_named
from brewbar.crew.models import Company, Naming, User

FEWEST_PEOPLE = 5
"""Under so many people nothing is broken down by person for others, named or not."""
FEWEST_DAYS = 28
"""Over fewer days nobody is shown under a letter: who knows who worked on them would know who is who."""


def few(what: str) -> str:
    return _("Fewer than %(n)d people are in this span, so %(what)s not shown: it would name somebody.") % {
        "n": FEWEST_PEOPLE,
        "what": what,
    }


def setting_for(company: Company, first: date, last: date) -> Naming:
    """How an owner reads about people in the days from ``first`` to ``last``.

    The most private setting that has held at any time since ``first``: a later closing holds for these days too, and
    no later opening does. So ``last`` makes it no more open.
    """
    return how_named.setting_for(company, min(first, last))


def is_too_short(setting: Naming, first: date, last: date) -> bool:
    """Whether a breakdown by unnamed people of these days would name them."""
    return setting == Naming.UNNAMED and (last - first).days + 1 < FEWEST_DAYS


def names_for(company: Company, setting: Naming, people: set[User], about: str) -> dict[int, str]:
    """How an owner reads about each person: by name, by initials, or by a letter that says nothing.

    Letters are drawn anew for whatever they are ``about``, such as a span of days: one that stays for months, and is
    missing once somebody has left, would have been theirs.
    """
    if setting == Naming.NAMES:
        return {person.pk: person.name for person in people}
    if setting == Naming.INITIALS:
        return told_apart({person.pk: person.initials for person in people})
    # The letters follow a secret order, so that neither the alphabet nor the results give anybody away.
    secret = {
        p.pk: salted_hmac("calibration.drift", f"{company.pk}-{p.pk}-{about}").hexdigest() for p in people
    }
    order = sorted(secret, key=lambda pk: secret[pk])
    return {pk: _("Barista %(letter)s") % {"letter": letters(place)} for place, pk in enumerate(order)}


def told_apart(initials: dict[int, str]) -> dict[int, str]:
    seen: Counter[str] = Counter()
    named = {}
    for pk, letters in sorted(initials.items()):
        seen[letters] += 1
        named[pk] = letters if seen[letters] == 1 else f"{letters} {seen[letters]}"
    return named


def letters(place: int) -> str:
    return (letters(place // 26 - 1) if place >= 26 else "") + chr(ord("A") + place % 26)
