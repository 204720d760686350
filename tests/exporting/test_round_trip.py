"""An export that is taken in gives the same export again, and everything is where it was."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
from django.db import connection

from brewbar.bootstrap import ROOT
from brewbar.crew.models import Change, Company, Key, Membership, OneTimeLink, Tablet, User
from calibration import demo_data
from calibration.belongings import BELONGINGS
from calibration.exporting.cells import canonical
from calibration.exporting.tables import TABLES_LEFT_OUT
from calibration.models import CheckRun, Import, Reading, Signal
from recipes.models import Coffee, RoastBatch
from tests import factories as make
from tests.exporting import lived


@pytest.fixture
def company(db: None) -> Company:
    return lived.build()


def test_the_company_of_these_tests_has_a_row_of_every_kind(company):
    for one in BELONGINGS:
        assert one.rows_of(company).exists(), one.name


def test_the_same_files_again(company):
    before = lived.exported(company)
    lived.emptied()
    taken = lived.taken_in(before)
    after = lived.exported(taken.company)
    assert lived.but_for_the_time(after) == lived.but_for_the_time(before)
    assert taken.rows == sum(n for name, n in taken.manifest.rows.items() if name.endswith(".csv"))


def test_the_same_values_again(company):
    """Asked of the models, not of the file. The keys of JSON have no order: PostgreSQL keeps none."""

    def known():
        return {
            one.name: [
                [
                    canonical(value) if isinstance(value, dict) else str(value)
                    for name, value in sorted(row.items())
                    if not name.endswith("id") and name not in TOLD_ANEW
                ]
                for row in one.rows_of(company).order_by("pk").values()
            ]
            for one in BELONGINGS
            if one.model not in TABLES_LEFT_OUT
        }

    before = known()
    packed = lived.exported(company)
    lived.emptied()
    company = lived.taken_in(packed).company
    after = known()
    for name in before:
        assert after[name] == before[name], name
    assert {coffee.note for coffee in Coffee.objects.all()} >= set(lived.NASTY)


TOLD_ANEW = {
    *("password", "last_login", "pin_hash", "pin_set_at", "key_hash"),
    *("row", "key", "evidence", "typed", "made", "mapping"),
}
"""Secrets, and columns in which keys of rows stand: these have tests of their own."""


def test_keys_inside_text_and_json_lead_to_the_same_rows(company):
    kettle, coffee = CheckRun.objects.get().slot.kettle.name, Import.objects.get().made["coffees"][0]
    coffee = Coffee.objects.get(pk=coffee).name
    packed = lived.exported(company)
    lived.emptied()
    lived.taken_in(packed)
    barista = User.objects.get(name="'Quinn")
    signal = Signal.objects.get(
        question="off", state="closed", key__startswith=f"off:tds:person-{barista.pk}:"
    )
    assert signal.person == barista
    assert signal.evidence["readings"] == [signal.reading_id]
    assert signal.evidence["estimate"] == 0.1 + 0.2
    brought = Import.objects.get()
    assert brought.mapping["names"] == {"barista": {"Q.": str(barista.pk)}, "coffee": {"7": ""}}
    station = Reading.objects.get(brought_in=brought).station_id
    assert brought.mapping["given"] == {"station": str(station), "grind_setting": "22"}
    made = brought.made
    assert [row.name for row in Coffee.objects.filter(pk__in=made["coffees"])] == [coffee]
    assert RoastBatch.objects.filter(pk__in=made["batches"]).count() == 1
    run = CheckRun.objects.get()
    assert run.typed == {"kettle": str(run.slot.kettle_id), "taste": "=bad"}
    of_kettle, gone, again, none, of_recipe = Change.objects.filter(what="=changed").order_by("pk")
    assert of_kettle.row == f"recipes.kettle {run.slot.kettle_id}"
    assert run.slot.kettle.name == kettle == of_kettle.subject
    assert gone.row == again.row == f"recipes.recipeversion gone-{gone.pk}"
    assert none.row == ""
    assert of_recipe.row == f"recipes.recipe {run.slot.version.recipe_id}"


def test_whoever_is_taken_in_has_no_way_in_until_an_owner_makes_one(company):
    packed = lived.exported(company)
    lived.emptied()
    taken = lived.taken_in(packed)
    assert [User.objects.get(username=name).email for name in taken.owners] == ["owner@example.org"]
    assert not any(user.has_usable_password() for user in User.objects.all())
    assert not Membership.objects.exclude(pin_hash="").exists()
    hashes = [row.key_hash for model in (Key, Tablet, OneTimeLink) for row in model.objects.all()]
    assert len(hashes) == len(set(hashes)) == 3
    assert all(one.startswith("!") for one in hashes), "no hash begins so"
    assert Change.objects.filter(words__contains="=changed").count() == 5


def test_what_is_written_next_has_a_key_of_its_own(company):
    packed = lived.exported(company)
    lived.emptied()
    taken = lived.taken_in(packed)
    highest = Reading.objects.order_by("pk").last().pk
    slot = CheckRun.objects.get().slot
    assert make.reading(slot, User.objects.get(name="'Quinn")).pk > highest
    assert make.coffee(taken.company, name="after").pk > len(lived.NASTY)


def test_deleting_more_after_an_export_mixes_no_histories(company):
    packed = lived.exported(company)
    lived.emptied()
    again = lived.taken_in(packed).company
    head = Membership.objects.filter(role="head").get().user
    slot = CheckRun.objects.get().slot
    lived.recorded(again, head, slot.kettle, slot.version.recipe)
    gone = [row["row"] for row in lived.rows(lived.exported(again), "changes.csv") if "gone-" in row["row"]]
    assert [gone.count(one) for one in dict.fromkeys(gone)] == [2, 2]


# --- the invented company, and the other database


def manage(data: Path, *words: str) -> str:
    """A command of ours in a brewbar of its own, on SQLite whatever the tests run on."""
    environment = {**os.environ, "BREWBAR_DATA": str(data), "DATABASE_URL": ""}
    done = subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.mark.django_db
def test_the_demo_goes_to_another_brewbar_and_back(tmp_path):
    """From the database of the tests, SQLite or PostgreSQL, to an empty SQLite, and back to an empty one as it was."""
    demo_data.rebuild(date(2026, 11, 2))
    first = lived.exported(Company.objects.get())
    (tmp_path / "first.zip").write_bytes(first)
    data = tmp_path / "data"
    data.mkdir()
    said = manage(data, "take_in", str(tmp_path / "first.zip"))
    assert "new_owner_link --for imogen" in said
    manage(data, "export", "--to", str(tmp_path / "second.zip"))
    second = (tmp_path / "second.zip").read_bytes()
    assert lived.but_for_the_time(second) == lived.but_for_the_time(first)
    assert json.loads(lived.members(first)["export.json"])["rows"]["readings.csv"] > 500
    lived.emptied()
    third = lived.exported(lived.taken_in(second).company)
    assert lived.but_for_the_time(third) == lived.but_for_the_time(first), connection.vendor
