"""Nothing a company has is forgotten by the export, and everything in it is explained."""

from __future__ import annotations

import csv
import io

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import models
from django.utils import translation

from brewbar.bootstrap import ROOT
from calibration.belongings import BELONGINGS, COMPANY, EXCUSED, ROOMS
from calibration.exporting import cells, markdown, meanings, readme
from calibration.exporting.tables import LEFT_OUT, OF_THE_BAR, TABLES_LEFT_OUT, as_taken_in, tables

LISTED = (COMPANY, *BELONGINGS)
SECRETIVE = ("password", "hash", "secret", "token", "pin")


def test_every_model_belongs_to_a_company_or_says_why_not():
    """A new model goes into calibration/belongings.py."""
    models_of_rooms = {model for room in ROOMS for model in apps.get_app_config(room).get_models()}
    listed = [one.model for one in LISTED]
    assert len(listed) == len(set(listed)) == len({one.name for one in LISTED})
    assert set(listed) | set(EXCUSED) == models_of_rooms
    assert not set(listed) & set(EXCUSED)


def test_every_table_is_exported_or_says_why_not():
    assert {table.model for table in tables()} | set(TABLES_LEFT_OUT) == {one.model for one in LISTED}
    assert {table.model for table in as_taken_in()} == {table.model for table in tables()}
    assert all(why.endswith(".") for why in TABLES_LEFT_OUT.values())


@pytest.mark.parametrize("table", tables(), ids=lambda table: table.name)
def test_every_column_is_exported_or_says_why_not(table):
    left_out = {name for model, name in LEFT_OUT if model is table.model}
    given = {field.name for field in table.fields}
    assert given | left_out == {field.name for field in table.model._meta.concrete_fields}
    assert not given & left_out
    for name in given:
        assert not any(word in name.split("_") for word in SECRETIVE), f"{name} looks like a secret"
    for field in table.fields:
        assert cells.writer(field)
        assert cells.reader(field)
    for model, name in LEFT_OUT:
        assert model._meta.get_field(name)


@pytest.mark.parametrize("table", tables(), ids=lambda table: table.name)
def test_references_stay_inside(table):
    """What a column refers to is in the export too, and its key is a number of the database's own making."""
    inside = {one.model for one in tables()}
    assert isinstance(table.model._meta.pk, models.BigAutoField)
    for field in table.fields:
        if field.is_relation:
            assert field.related_model in inside
    assert not table.model._meta.many_to_many


def test_the_dictionary_explains_every_column_in_english_in_every_language():
    with translation.override("de"):
        lines = meanings.dictionary(tables())
    assert lines == meanings.dictionary(tables())
    assert len(lines) == sum(len(table.fields) for table in tables())
    for table, column, kind, _unit, meaning, empty in lines:
        assert kind, (table, column)
        assert meaning, (table, column)
        assert meaning.endswith("."), (table, column, meaning)
        assert "None" not in meaning, (table, column)
        assert empty == "no" or empty.startswith("yes")
    said = {(line[0], line[1]): line for line in lines}
    assert said["readings", "dose_g"][2:] == ("number, 1 decimal place", "g", "Dose, in grams.", "no")
    assert said["readings", "server"][2:4] == ("id in servers.csv", "")
    assert said["pours", "flow_g_s"][3] == "g/s"
    assert said["instrument_reaches", "relative_U_tds"][3] == "% TDS"
    assert said["readings", "corrects"][5] == meanings.NOT_KNOWN
    assert said["readings", "taste"][5] == meanings.NO_TEXT


def test_the_dictionary_of_the_readme_is_that_of_the_models():
    """After a change of a model: python3 manage.py export --readme."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert markdown.renewed(text) == text
    part = text.partition(markdown.BEGIN)[2].partition(markdown.END)[0]
    for table in tables():
        assert f"<code>{table.file}</code>" in part
    assert "- `dose_g` (number, 1 decimal place, g): Dose, in grams." in part
    with pytest.raises(ValueError, match="no place for the dictionary"):
        markdown.renewed(text.replace(markdown.END, ""))


def test_without_people_nothing_leads_to_one():
    """A new table is in the whole export alone, until somebody says that it tells nothing about people."""
    of_the_bar = {table.model for table in tables(False)}
    assert of_the_bar == OF_THE_BAR < {table.model for table in tables()}
    for table in tables(False):
        for field in table.fields:
            assert not field.is_relation or field.related_model in of_the_bar
    told = {table.name: set(table.head) for table in tables(False)}
    assert {"published_at", "version"} <= told["slots"]
    assert "published_by" not in told["slots"]


def test_a_quantity_has_a_unit_or_is_a_bare_number():
    """A new number: name its unit at its end, or say in meanings.BARE_NUMBERS that it has none."""
    bare = {
        (table.name, field.name)
        for table in tables()
        for field in table.fields
        if meanings.is_quantity(field) and not meanings.unit(table, field)
    }
    assert bare == meanings.BARE_NUMBERS


def test_every_table_says_what_it_is():
    said = readme.readme()
    for table in tables():
        assert meanings.about(table), table.name
        assert table.file in said
    for (model, name), one in LEFT_OUT.items():
        assert one.why.split()[0] in said
        assert f".{name}" in said, model
    assert max(map(len, said.splitlines())) <= 110


def test_words_of_others_are_not_said_to_them_in_person():
    """Explanations written for the person themselves would be wrong in the company's file."""
    for line in meanings.dictionary(tables()):
        assert not meanings.ADDRESSED.search(line[4].replace("What kept you.", "")), line


@pytest.mark.django_db
def test_the_dictionary_can_be_printed():
    out = io.StringIO()
    call_command("export", "--dictionary", stdout=out)
    head, *lines = csv.reader(io.StringIO(out.getvalue()))
    assert tuple(head) == meanings.HEAD
    assert [tuple(line) for line in lines] == meanings.dictionary(tables())
    assert "people" in {line[0] for line in lines}
