from datetime import timedelta
from random import Random

import pytest
from django.utils import timezone

from brewbar.crew.models import Role
from tests import factories as make
from tests.api.bar import N_DAYS, Bar


@pytest.fixture
def bar(db) -> Bar:
    return Bar.build()


@pytest.fixture
def crew(bar):
    """Six people who brewed the same recipe twice on each of eight days, the bar's barista among them."""
    chance = Random(8)
    people = [bar.barista, *(make.person(Role.BARISTA, bar.cafe) for _each in range(5))]
    now = timezone.now()
    for ago in range(N_DAYS):
        for place, person in enumerate(people):
            for _each in range(2):
                tds = f"{1.36 + 0.02 * place + chance.gauss(0, 0.02):.2f}"
                make.reading(bar.slot, person, drops=(tds, tds), brewed_at=now - timedelta(days=ago))
    return people
