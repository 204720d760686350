"""An export holds one company and no secret."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime

import pytest
from django.contrib.auth.hashers import make_password

from brewbar.crew.models import Cafe, Key, Membership, OneTimeLink, Role, Tablet, User
from tests import factories as make
from tests.exporting import lived

SINCE = datetime(2026, 5, 1, 8, tzinfo=UTC)
LONG_BEFORE = datetime(2019, 5, 1, 8, tzinfo=UTC)


@pytest.fixture
def company(db):
    return lived.build()


def everything(packed: bytes) -> str:
    return "\n".join(content.decode() for content in lived.members(packed).values())


def test_no_secret_is_inside(company):
    link, key_of_link = make.link(company.cafes.first())
    tablet, key_of_tablet = make.tablet(company.cafes.first().stations.first())
    User.objects.update(password=make_password("a password that nobody uses"))
    secrets = [key_of_link, key_of_tablet, hashlib.sha256(b"a key").hexdigest()]
    secrets += User.objects.values_list("password", flat=True)
    secrets += Membership.objects.exclude(pin_hash="").values_list("pin_hash", flat=True)
    for model in (Key, Tablet, OneTimeLink):
        secrets += model.objects.values_list("key_hash", flat=True)
    assert len(set(secrets)) >= 8
    inside = everything(lived.exported(company))
    assert tablet.station.name in inside
    assert link.role in inside
    for secret in secrets:
        assert secret not in inside
    assert "argon2" not in inside


@pytest.fixture
def shared(company):
    """Somebody who brews here, and elsewhere as another: with what only they and the other company know."""
    elsewhere = make.cafe(make.company("Zebra & Otherwise"), name="Other zebra café")
    user = make.person(cafe=elsewhere, name="Shared Sasha")
    User.objects.filter(pk=user.pk).update(
        email="sasha@zebra.example", decimal_mark=",", created_at=LONG_BEFORE, last_login=LONG_BEFORE
    )
    here = company.cafes.first()
    Membership.objects.create(user=user, company=company, cafe=here, role=Role.BARISTA)
    Membership.objects.filter(user=user, cafe=here).update(started_at=SINCE)
    slot = make.live_slot(elsewhere, by=make.person(Role.HEAD, elsewhere, name="Zebra head"))
    make.reading(slot, user, taste="zebra taste")
    make.reading(make.live_slot(here), user, taste="tasted here")
    return user


def test_nothing_of_another_company_is_inside(company, shared):
    packed = lived.exported(company)
    inside = everything(packed)
    assert "zebra" not in inside.casefold()
    assert "tasted here" in inside
    (row,) = (row for row in lived.rows(packed, "people.csv") if row["name"] == "Shared Sasha")
    assert (row["email"], row["decimal_mark"], row["created_at"]) == ("", "", "2026-05-01T08:00:00.000000Z")
    assert "2019-" not in inside
    roles = [one for one in lived.rows(packed, "memberships.csv") if one["user"] == row["id"]]
    assert len(roles) == 1


def test_somebody_of_here_alone_is_here_whole(company):
    owner = next(row for row in lived.rows(lived.exported(company), "people.csv") if row["email"])
    assert (owner["email"], owner["date_order"]) == ("owner@example.org", "iso")


def test_the_export_of_a_shared_person_comes_back_the_same(company, shared):
    before = lived.exported(company)
    lived.emptied()
    assert lived.but_for_the_time(lived.exported(lived.taken_in(before).company)) == lived.but_for_the_time(
        before
    )


def test_somebody_a_row_names_without_a_role_is_there_by_name_alone(company):
    stranger = make.person(name="Nobody's Member")
    User.objects.filter(pk=stranger.pk).update(email="stranger@example.org")
    make.reading(make.live_slot(company.cafes.first()), stranger)
    packed = lived.exported(company)
    assert "stranger@example.org" not in everything(packed)
    lived.emptied()
    again = lived.exported(lived.taken_in(packed).company)
    assert lived.but_for_the_time(again) == lived.but_for_the_time(packed)


def test_each_of_two_companies_has_its_own(company, shared):
    other = Cafe.objects.get(name="Other zebra café").company
    one, two = lived.exported(company), lived.exported(other)
    assert [row["name"] for row in lived.rows(two, "company.csv")] == [other.name]
    assert {row["taste"] for row in lived.rows(two, "readings.csv")} == {"zebra taste"}
    assert not {row["uuid"] for row in lived.rows(one, "readings.csv")} & {
        row["uuid"] for row in lived.rows(two, "readings.csv")
    }
    assert "Nasty" not in everything(two)
