"""What these brews cannot tell apart, named and not decided."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from brewbar.words import gettext as _
from calibration.coaching.context import Code, Context, Off
from calibration.coaching.facts import CODE_OF, Fact
from calibration.coaching.fitting import Fit


@dataclass(frozen=True, slots=True)
class Apart:
    """says: each in a sentence; codes: of a cause, those that it cannot be told from."""

    says: tuple[str, ...]
    codes: Mapping[Code, tuple[Code, ...]]


def apart(listed: Sequence[Fit], off: Off | None, context: Context) -> Apart:
    pairs = [*_ties(listed, off, context), *_together(listed)]
    codes: dict[Code, tuple[Code, ...]] = {}
    for _says, one, other in pairs:
        codes[one] = (*codes.get(one, ()), other)
        codes[other] = (*codes.get(other, ()), one)
    return Apart(tuple(says for says, _one, _other in pairs), codes)


def _ties(listed: Sequence[Fit], off: Off | None, context: Context) -> list[tuple[str, Code, Code]]:
    """A person always on one thing: what it does and what the pour does are one."""
    if off is Off.DAY or not listed:
        return []
    said = _(
        "These brews were all made on %(what)s, so it cannot be told from the pour. Let two people change over for "
        "two brews each."
    )
    return [(said % {"what": tie.what}, Code.POUR, tie.code) for tie in context.ties]


def _together(listed: Sequence[Fit]) -> list[tuple[str, Code, Code]]:
    """Two happenings of different kinds that both came when it began, and both fit."""
    happened: dict[tuple[str, Code], Fact] = {}
    for fit in listed:
        for one in fit.facts:
            if one.kind is not None:
                happened.setdefault((one.says, CODE_OF[one.kind]), one)
    said = _("%(one)s and %(other)s came together, so these brews cannot tell which of them it is.")
    return [
        (said % {"one": one.says[:1].upper() + one.says[1:], "other": other.says}, code, beside)
        for ((_a, code), one), ((_b, beside), other) in combinations(happened.items(), 2)
        if code is not beside
    ]
