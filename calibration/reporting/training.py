"""Whose brews are counted apart because they were learning, and since when: as far as the record of changes tells.

A membership says only whether somebody is in training now; when that was begun or done is on record. Somebody of whom
nothing is on record was so all along.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import numpy as np
from django.utils.translation import gettext as _
from numpy.typing import NDArray

from brewbar.crew.models import Change, Membership, User
from calibration.reporting.cells import Cells
from calibration.reporting.result import Asked

OF_A_PERSON = User._meta.label_lower
"""What the record calls somebody's row: see `brewbar.crew.record.row_key`."""

Times = list[tuple[date | None, date | None]]
"""From a day, included, to another, not included; None as far as is known."""


Learning = dict[tuple[int, int], Times]
"""By person and café."""


def which(found: Cells, learning: Learning) -> NDArray[np.bool_]:
    """The cells of people who were in training in that café on that day."""
    learns = np.zeros(len(found), dtype=np.bool_)
    for (who, cafe), times in learning.items():
        own = (found.who == who) & (found.cafe == cafe)
        for start, end in times:
            inside = own.copy()
            if start is not None:
                inside &= found.day >= start.toordinal()
            if end is not None:
                inside &= found.day < end.toordinal()
            learns |= inside
    return learns


def times_of(asked: Asked) -> Learning:
    """Two queries."""
    cafes = {cafe.pk: cafe for cafe in asked.cafes}
    now: dict[tuple[int, int], bool] = {}
    memberships = Membership.objects.filter(company=asked.company, cafe__in=list(cafes)).order_by("pk")
    for user, cafe, is_so in memberships.values_list("user", "cafe", "in_training"):
        now[user, cafe] = is_so
    steps: dict[tuple[str, int], list[tuple[date, bool]]] = {}
    changes = Change.objects.filter(
        company=asked.company,
        about=Change.About.CREW,
        cafe__in=list(cafes),
        row__startswith=f"{OF_A_PERSON} ",
    )
    for change in changes.order_by("at", "pk"):
        turns = _turns(change.before, change.after)
        if turns is not None and change.cafe_id is not None:
            day = cafes[change.cafe_id].business_day(change.at)
            steps.setdefault((change.row, change.cafe_id), []).append((day, turns))
    found: Learning = {}
    for (user, cafe), is_so in now.items():
        times = list(_of_steps(steps.get((f"{OF_A_PERSON} {user}", cafe), []), is_so))
        if times:
            found[user, cafe] = times
    return found


def _turns(before: dict[str, str], after: dict[str, str]) -> bool | None:
    """Whether a change begins training or ends it; None where it is about something else."""
    for name in (_("in training"), "in training"):
        if (name in before) != (name in after):
            return name in after
    return None


def _of_steps(steps: list[tuple[date, bool]], is_so: bool) -> Iterable[tuple[date | None, date | None]]:
    if not steps:
        if is_so:
            yield None, None
        return
    start: date | None = None
    learning = not steps[0][1]
    for day, begins in steps:
        if learning and not begins:
            yield start, day
        start, learning = day, begins
    if learning:
        yield start, None
