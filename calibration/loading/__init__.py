"""Put an invented scenario into the database: the rows that its crew would have made with the pages, in bulk.

What comes about step by step (a draft is published, a planned slot goes live and is replaced) is done in that
order here too, since the database refuses any other.
"""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from brewbar.crew.models import Company
from calibration.loading.answers import Answers
from calibration.loading.bar import Bar
from calibration.loading.boards import Boards
from calibration.loading.brews import Brews
from calibration.scenario import Scenario


class _Loading(Bar, Boards, Brews, Answers):
    """One loading, room by room."""


@transaction.atomic
def load(scenario: Scenario, now: datetime, signals: bool = True) -> Company:
    """Make the company of ``scenario`` with all that happened in it until ``now``, and what was made of it."""
    loading = _Loading(scenario, now)
    loading.bar()
    loading.boards()
    loading.brews()
    if signals:
        loading.answers()
    return loading.company
