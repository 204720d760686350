from datetime import date, datetime

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from brewbar.crew.models import Cafe, Membership, Role, check_time_zone
from tests import factories as make


@pytest.mark.parametrize(
    ("zone", "utc", "day"),
    [
        # 23:30 and 02:30 on the wall are one shift; the day turns at 4.
        ("Europe/Lisbon", "2026-06-10T22:30", date(2026, 6, 10)),
        ("Europe/Lisbon", "2026-06-11T01:30", date(2026, 6, 10)),
        ("Europe/Lisbon", "2026-06-11T03:00", date(2026, 6, 11)),
        # The night the clocks go back: the wall shows 1:30 twice, both belong to the evening before.
        ("Europe/Berlin", "2026-10-25T00:30", date(2026, 10, 24)),
        ("Europe/Berlin", "2026-10-25T01:30", date(2026, 10, 24)),
        ("Europe/Berlin", "2026-10-25T03:00", date(2026, 10, 25)),
        # The night they go forward: 3:59 is still the day before, 4:00 is not.
        ("Europe/Berlin", "2026-03-29T01:59", date(2026, 3, 28)),
        ("Europe/Berlin", "2026-03-29T02:00", date(2026, 3, 29)),
    ],
)
def test_the_business_day_follows_the_wall_clock(zone, utc, day):
    cafe = Cafe(time_zone=zone, day_turns_at=4)
    assert cafe.business_day(datetime.fromisoformat(f"{utc}+00:00")) == day


def test_an_unknown_time_zone_is_refused_by_name():
    with pytest.raises(ValidationError, match="Mars/Base"):
        check_time_zone("Mars/Base")


@pytest.mark.parametrize(
    ("role", "with_cafe"), [(Role.OWNER, True), (Role.BARISTA, False), (Role.HEAD, False)]
)
def test_the_database_holds_owners_to_companies_and_crew_to_cafes(db, role, with_cafe):
    cafe = make.cafe()
    user = make.person(cafe=make.cafe())
    with pytest.raises(IntegrityError), transaction.atomic():
        Membership.objects.create(
            user=user, company=cafe.company, cafe=cafe if with_cafe else None, role=role
        )


def test_one_person_has_one_running_membership_in_a_cafe(db):
    cafe = make.cafe()
    user = make.person(cafe=cafe)
    with pytest.raises(IntegrityError), transaction.atomic():
        Membership.objects.create(user=user, company=cafe.company, cafe=cafe, role=Role.HEAD)
    user.memberships.update(ended_at="2026-01-01T00:00Z")
    Membership.objects.create(user=user, company=cafe.company, cafe=cafe, role=Role.HEAD)
