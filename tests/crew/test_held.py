"""What is held about a person: nothing of the database is forgotten in it, and it holds nobody else's."""

from __future__ import annotations

import csv
import io
import json
from datetime import timedelta
from zipfile import ZipFile

import pytest
from django.apps import apps
from django.db import models
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from brewbar.crew import held, record
from brewbar.crew.models import Change, Role, User
from calibration import recording
from calibration.models import OnDuty
from tests import factories as make

NOW = timezone.now()
OTHER = "Zacharias Quillfeather"


def fields_to_people() -> list[models.ForeignKey]:
    return [
        field
        for model in apps.get_models()
        for field in model._meta.concrete_fields
        if field.is_relation and field.related_model is User
    ]


@pytest.mark.parametrize("field", fields_to_people(), ids=str)
def test_every_way_to_a_person_is_looked_along(db, field):
    """A new column that names somebody belongs into a kind of its room, in recipes/held.py and its like."""
    user = make.person()
    column = f'"{field.model._meta.db_table}"."{field.column}"'
    looked = [
        str(kind.rows_of(user).query).split("WHERE")[1] for kind in held.kinds() if kind.table is field.model
    ]
    assert [where for where in looked if column in where]


@pytest.mark.parametrize("kind", held.kinds(), ids=lambda kind: kind.key)
def test_every_column_is_given_and_explained_or_says_why_not(kind):
    given = {way.split("__")[0] for way in kind.columns}
    of_the_model = {field.name for field in kind.table._meta.concrete_fields}
    assert given <= of_the_model
    assert not given & set(kind.left_out)
    if kind.rest is None:
        assert given | set(kind.left_out) == of_the_model
    for way, says in kind.columns.items():
        assert held.resolved(kind.table, way)
        assert str(says).endswith(".")
    assert len(set(kind.head)) == len(kind.head)
    # What leads to other people is a column that knows so, and no text that happens to be theirs.
    names = [way for way in kind.columns if way.endswith("__name") and User in _path(kind.table, way)]
    assert names == []


def _path(model, way):
    for part in way.split("__")[:-1]:
        model = model._meta.get_field(part).related_model
        yield model


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(), at=NOW - timedelta(days=30))


@pytest.fixture
def lived(slot):
    """A barista with a little of much, among others who have the same."""
    cafe = slot.board.cafe
    me, other = make.person(cafe=cafe, name="Mine Own"), make.person(Role.HEAD, cafe, name=OTHER)
    for who in (me, other):
        reading = make.reading(slot, who, taste="=1+1" if who == me else "theirs alone")
        make.reading(slot, who, entered_by=other)
        recording.void(reading, other, "spilt", NOW)
        OnDuty.objects.create(
            cafe=cafe, business_day=cafe.business_day(NOW), user=who, since=NOW, how="marked", marked_by=other
        )
        make.signal(cafe, who)
        record.note(
            company=cafe.company, cafe=cafe, about=Change.About.CREW, what="renamed", subject=who, by=other
        )
    record.note(company=cafe.company, about=Change.About.CREW, what="invited", subject=OTHER, by=me)
    return me, other


def download(client: Client) -> dict[str, list[list[str]]]:
    answer = client.get(reverse("crew:held_download"))
    assert answer.status_code == 200
    assert answer["Content-Disposition"].endswith('.zip"')
    archive = ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
    assert archive.testzip() is None
    sheets = {}
    for name in archive.namelist():
        text = archive.read(name).decode("utf-8-sig")
        sheets[name] = list(csv.reader(io.StringIO(text))) if name.endswith(".csv") else [text.splitlines()]
    return sheets


def test_the_page_counts_what_there_is_by_kind(lived):
    company = lived[0].memberships.get().company
    assert "has not said yet when" in make.signed_in(lived[0]).get(reverse("crew:held")).content.decode()
    company.forget_after_months = 12
    company.save()
    answer = make.signed_in(lived[0]).get(reverse("crew:held"))
    counted = {one.kind.key: one.number for _room, ones in answer.context["rooms"] for one in ones}
    assert counted == {
        "readings": 2, "drops": 4, "on_duty": 1, "signals": 1, "signal_notes": 1, "account": 1, "roles": 1,
        "record_about_you": 1, "record_by_you": 1,
    }  # fmt: skip
    said = answer.content.decode()
    assert "Brews of yours that were read" in said
    assert "Nothing is held of" in said
    assert f"{company} lets it become a pseudonym 12 months after" in said
    assert OTHER not in said


def test_the_file_has_my_rows_and_nobody_elses(lived):
    me, _other = lived
    secret = "a hash to be found nowhere"
    me.memberships.update(pin_hash=secret)
    sheets = download(make.signed_in(me))
    assert set(sheets) == {kind.file for kind in held.kinds()} | {"README.txt"}
    head, *readings = sheets["readings.csv"]
    assert len(readings) == 2
    first = dict(zip(head, readings[0], strict=True))
    assert (first["taste"], first["void reason"], first["voided by"]) == ("'=1+1", "spilt", "somebody else")
    assert (first["entered by"], first["brew time s"], first["kind"]) == ("you", "165", "a check brew")
    assert len(sheets["drops.csv"]) == 1 + 4
    everything = json.dumps(sheets, ensure_ascii=False)
    assert "theirs alone" not in everything
    assert OTHER not in everything
    assert me.name in everything
    assert secret not in everything
    assert [dict(zip(*sheets["record_by_you.csv"], strict=True))["subject"]] == ["somebody else"]


def test_the_explanation_names_every_file_and_column(lived):
    sheets = download(make.signed_in(lived[0]))
    said = "\n".join(sheets["README.txt"][0])
    for name, rows in sheets.items():
        if name != "README.txt":
            assert f"{name}: " in said
            for column in rows[0]:
                assert f"  {column}: " in said
    assert "backups" in said


@pytest.mark.parametrize("role", Role.values)
def test_it_is_there_for_every_role(slot, role):
    client = make.signed_in(make.person(role, slot.board.cafe))
    assert client.get(reverse("crew:held")).status_code == 200
    assert len(download(client)["account.csv"]) == 2


def test_who_explained_a_signal_is_named_as_on_its_page(lived):
    me, other = lived
    signal = me.signals.get()
    signal.notes.create(at=NOW, by=other, what="explained", cause="pour", says="Try lower")
    head, _raised, row = download(make.signed_in(me))["signal_notes.csv"]
    assert dict(zip(head, row, strict=True))["by"] == OTHER


def test_a_pin_looks_and_takes_nothing_away(lived):
    me, _other = lived
    tablet, key = make.tablet(make.station(me.memberships.get().cafe))
    client = make.signed_in_by_pin(tablet, key, me)
    page = client.get(reverse("crew:held"))
    assert page.status_code == 200
    assert reverse("crew:held_download") not in page.content.decode()
    assert client.get(reverse("crew:held_download")).status_code == 403


def test_as_many_queries_for_many_readings_as_for_few(lived, slot, django_assert_max_num_queries):
    me, _other = lived
    for _n in range(20):
        make.reading(slot, me)
    client = make.signed_in(me)
    with django_assert_max_num_queries(len(held.kinds()) + 10):
        client.get(reverse("crew:held"))
    with django_assert_max_num_queries(len(held.kinds()) + 12):
        download(client)


def test_wrong_passwords_and_pins_that_are_counted_are_the_persons(slot):
    from axes.models import AccessAttempt

    me = make.person(cafe=slot.board.cafe)
    pk = me.memberships.get().pk
    for name in (me.username, f"pin:3:{pk}", f"pin:3:{pk}1", "somebody", f"pin:{pk}:3"):
        AccessAttempt.objects.create(username=name, ip_address="192.0.2.1", failures_since_start=1)
    assert {one.kind.key: one.number for one in held.about(me)}["wrong_passwords"] == 2
