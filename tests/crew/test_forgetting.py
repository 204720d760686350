"""Who left becomes a pseudonym after the months that a company has set, and their name is found nowhere any more."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.apps import apps
from django.contrib.auth import authenticate
from django.core.management import call_command
from django.db import models
from django.utils import timezone

from brewbar.crew import accounts, forgetting, joining, pins, record, roles
from brewbar.crew.models import Change, Membership, OneTimeLink, Role, User
from calibration import recording
from calibration.models import Reading
from tests import factories as make

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


@pytest.fixture
def cafe(db):
    cafe = make.cafe()
    cafe.company.forget_after_months = 12
    cafe.company.save()
    return cafe


@pytest.fixture
def owner(cafe):
    return make.person(Role.OWNER, company=cafe.company, name="Olga Owner")


def gone(cafe, months=13, role=Role.BARISTA, name="Oda Leaver", **fields) -> User:
    user = make.person(role, cafe, name=name)
    ended_at = NOW - timedelta(days=30.5 * months)
    user.memberships.update(started_at=ended_at - timedelta(days=90), ended_at=ended_at, **fields)
    return user


def found_in_database(*names: str) -> list[str]:
    """Every text of the whole database that holds one of the names."""
    texts = (models.CharField, models.TextField, models.JSONField)
    found = []
    for model in apps.get_models():
        fields = [field.name for field in model._meta.concrete_fields if isinstance(field, texts)]
        for row in model._base_manager.values_list(*fields):
            said = " | ".join(map(str, row)).casefold()
            found += [f"{model._meta.label}: {said}" for name in names if name.casefold() in said]
    return found


def test_who_is_due_and_who_is_not(cafe, owner):
    due = gone(cafe)
    later = gone(cafe, months=3)
    make.person(cafe=cafe)
    elsewhere = make.cafe()
    gone(elsewhere, months=100)
    still_there = gone(cafe)
    Membership.objects.create(user=still_there, company=elsewhere.company, cafe=elsewhere, role=Role.HEAD)
    assert [one.user for one in forgetting.due(NOW)] == [due]
    assert [one.user for one in forgetting.leavers()] == [due, later]
    assert [one.user for one in forgetting.leavers(elsewhere.company)] == []


def test_of_several_companies_the_shortest_time_runs_from_the_last_end(cafe):
    user = gone(cafe, months=40)
    elsewhere = make.cafe()
    elsewhere.company.forget_after_months = 6
    elsewhere.company.save()
    last = datetime(2026, 3, 31, 10, tzinfo=UTC)
    role = Membership.objects.create(user=user, company=elsewhere.company, cafe=elsewhere, role=Role.HEAD)
    Membership.objects.filter(pk=role.pk).update(ended_at=last)
    (one,) = forgetting.leavers()
    assert (one.left_at, one.on) == (last, datetime(2026, 9, 30, 10, tzinfo=UTC))


@pytest.mark.parametrize(
    ("at", "months", "on"),
    [
        ((2026, 1, 31), 1, (2026, 2, 28)),
        ((2023, 11, 30), 3, (2024, 2, 29)),
        ((2026, 12, 5), 12, (2027, 12, 5)),
        ((2026, 12, 5), 1, (2027, 1, 5)),
    ],
)
def test_months_later(at, months, on):
    assert forgetting.months_after(datetime(*at, tzinfo=UTC), months) == datetime(*on, tzinfo=UTC)


def test_nothing_of_the_person_is_left_but_what_they_brewed(cafe, owner, rf):
    """A life here: invited, joined, renamed, pinned, brewed, corrected, refused, promoted, ended."""
    begun = NOW - timedelta(days=800)
    _link, key = make.link(cafe, by=owner, now=begun, name="Adelheid")
    user = joining.join_as_new(
        key, name="Oda Maiden", username="oda.maiden", password="four plain words here", now=begun
    ).user
    user.name, user.email = "Oda Leaver", "oda@cafe.example"
    accounts.save(user)
    membership = user.memberships.get()
    pins.set_pin(membership, "4813", user)
    slot = make.live_slot(cafe, at=NOW - timedelta(days=700))
    first = make.reading(slot, user, brewed_at=NOW - timedelta(days=650))
    head = make.person(Role.HEAD, cafe, name="Hedda Head")
    recording.void(first, head, "spilt", NOW - timedelta(days=600))
    authenticate(rf.post("/sign-in/"), username="oda.maiden", password="wrong")
    roles.change(membership, role=Role.HEAD, cafe=cafe, by=owner, now=begun)
    told = {"what": "PIN refused", "subject": slot.card.station, "by": None, "by_name": user.name}
    record.note(company=cafe.company, about=Change.About.SIGN_IN, **told)
    _link, open_key = make.link(cafe, by=user, now=NOW - timedelta(hours=1))
    roles.end(user.memberships.get(ended_at=None), owner, begun)
    names = ("Oda", "Leaver", "Maiden", "Adelheid")  # none can be part of a key, whose letters end with f
    assert len(found_in_database(*names)) > 8
    before = {c.pk: (c.at, c.by_id, c.what, c.row) for c in Change.objects.all()}

    user.refresh_from_db()
    assert forgetting.forget(user, NOW) == "Former barista 1"

    assert found_in_database(*names) == []
    assert {c.pk: (c.at, c.by_id, c.what, c.row) for c in Change.objects.filter(pk__in=before)} == before
    user.refresh_from_db()
    assert (user.name, user.email, user.is_active, user.forgotten_at) == ("Former barista 1", "", False, NOW)
    assert not user.has_usable_password()
    assert Reading.objects.get(pk=first.pk).barista == user
    assert not user.memberships.exclude(pin_hash="").exists()
    with pytest.raises(joining.Gone):
        joining.opened(open_key, NOW)
    noted = Change.objects.get(what="became a pseudonym")
    assert (noted.subject, noted.by, noted.by_name) == ("Former barista 1", None, "the server's console")
    # What was found by the old name is found by the new one, and by whoever else is in it.
    reader = make.member(owner)
    assert record.looked_up(reader, "former barista 1 renamed").count() == 1
    assert {"Olga Owner", "Hedda Head"} <= {c.by_name for c in Change.objects.all()}


def test_a_second_run_changes_nothing(cafe, capsys):
    gone(cafe)
    call_command("forget_leavers")
    before = list(Change.objects.values()), list(User.objects.values())
    call_command("forget_leavers")
    assert (list(Change.objects.values()), list(User.objects.values())) == before


def test_numbers_go_on_and_never_come_twice(cafe, owner):
    said = [forgetting.forget(gone(cafe, name=f"Somebody {n}"), NOW) for n in range(3)]
    said.append(forgetting.forget(gone(cafe, role=Role.OWNER), NOW))
    # Somebody of two companies goes on from the higher of both.
    elsewhere = make.cafe()
    both = gone(cafe)
    Membership.objects.create(
        user=both, company=elsewhere.company, cafe=elsewhere, role=Role.BARISTA, ended_at=NOW
    )
    said += [forgetting.forget(both, NOW), forgetting.forget(gone(elsewhere), NOW)]
    assert said == [
        "Former barista 1", "Former barista 2", "Former barista 3", "Former owner 4", "Former barista 5",
        "Former barista 6",
    ]  # fmt: skip


def test_who_came_back_keeps_their_name(cafe):
    user = gone(cafe)
    Membership.objects.create(user=user, company=cafe.company, cafe=cafe, role=Role.BARISTA)
    assert forgetting.forget(user, NOW) == ""
    user.refresh_from_db()
    assert user.name == "Oda Leaver"


def test_a_namesake_keeps_what_is_theirs(cafe, owner):
    """What says only the name, and might mean the other, is left as it was written."""
    user, namesake = gone(cafe), make.person(cafe=cafe, name="Oda Leaver")
    for row in (user, namesake):
        record.note(company=cafe.company, about=Change.About.CREW, what="invited", subject=row, by=row)
    event = {"barista": "Oda Leaver"}
    record.note(
        company=cafe.company, about=Change.About.READING, what="voided", subject="x", by=owner, before=event
    )
    forgetting.forget(user, NOW)
    invited = Change.objects.filter(what="invited").order_by("pk")
    assert [(c.subject, c.by_name) for c in invited] == [
        ("Former barista 1", "Former barista 1"), ("Oda Leaver", "Oda Leaver"),
    ]  # fmt: skip
    assert Change.objects.get(what="voided").before == event
    namesake.refresh_from_db()
    assert namesake.name == "Oda Leaver"


def test_a_coffee_of_the_same_name_keeps_it(cafe, owner):
    user = gone(cafe, name="Rose")
    coffee = make.coffee(cafe.company, name="Rose")
    before = {"name": "Rose", "noted by": "Rose"}
    record.note(
        company=cafe.company,
        about=Change.About.COFFEE,
        what="changed",
        subject=coffee,
        by=owner,
        before=before,
    )
    forgetting.forget(user, NOW)
    row = Change.objects.get(about=Change.About.COFFEE)
    assert (row.subject, row.before) == ("Rose", {"name": "Rose", "noted by": "Former barista 1"})


def test_other_companies_records_are_left_alone(cafe):
    user, elsewhere = gone(cafe), make.cafe()
    record.note(
        company=elsewhere.company, about=Change.About.CREW, what="invited", subject="Oda Leaver", by=None
    )
    forgetting.forget(user, NOW)
    assert Change.objects.get(company=elsewhere.company).subject == "Oda Leaver"


def test_a_dry_run_says_whom_and_does_nothing(cafe, capsys):
    gone(cafe)
    gone(cafe, months=3, name="Bo Later")
    call_command("forget_leavers", "--dry-run")
    said = capsys.readouterr().out
    assert "Oda Leaver (left" in said
    assert "): now" in said
    assert "Bo Later" in said
    assert not User.objects.exclude(forgotten_at=None).exists()
    call_command("forget_leavers")
    assert "Oda" not in capsys.readouterr().out


def test_an_open_link_for_a_new_password_is_withdrawn(cafe, owner):
    user = make.person(cafe=cafe)
    link, _key = joining.offer_new_password(user.memberships.get(), owner, timezone.now())
    user.memberships.update(ended_at=NOW - timedelta(days=800))
    forgetting.forget(user, timezone.now())
    assert OneTimeLink.objects.get(pk=link.pk).withdrawn_at
