"""The committed catalogue holds every word of the source, and nothing that is gone."""

from __future__ import annotations

import gettext
import os
import re
import shutil
from collections import Counter
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command

from tests.language.catalogues import entries_in, write_mo

ROOT = Path(settings.BASE_DIR)
CATALOGUE = ROOT / "brewbar" / "locale" / "en" / "LC_MESSAGES" / "django.po"
PLACE = re.compile(r"%(?:\(\w+\))?[a-z%]")


def test_it_is_current(tmp_path, settings, monkeypatch):
    if not shutil.which("xgettext"):
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)("no GNU gettext on this machine")
    for room in ("brewbar", "recipes", "calibration", "templates"):
        shutil.copytree(ROOT / room, tmp_path / room, ignore=shutil.ignore_patterns("__pycache__", "locale"))
    made = tmp_path / "brewbar" / "locale"
    (made / "en").mkdir(parents=True)
    settings.LOCALE_PATHS = [made]
    monkeypatch.chdir(tmp_path)
    call_command("makemessages", locale=["en"], verbosity=0)
    fresh, kept = (set(entries_in(po)) for po in (made / "en" / "LC_MESSAGES" / "django.po", CATALOGUE))
    assert len(fresh) > 500
    assert fresh == kept, "run: python manage.py makemessages"


def test_each_message_is_there_once_and_untranslated():
    entries = entries_in(CATALOGUE)
    assert max(Counter(entries).values()) == 1
    assert not re.findall(r'^msgstr(?:\[\d\])? "[^"]', CATALOGUE.read_text("utf-8").split("\n\n", 1)[1], re.M)


def test_both_forms_of_a_plural_have_the_same_places():
    for _context, one, many in entries_in(CATALOGUE):
        if many:
            assert set(PLACE.findall(one)) <= set(PLACE.findall(many)), one


def test_a_compiled_catalogue_is_read_by_the_standard_library(tmp_path):
    write_mo(
        tmp_path / "django.mo",
        {("", "cup", ""): "Tasse", ("short month", "May", ""): "Mai", ("", "%d brew", "%d brews"): "%d Sude"},
    )
    with (tmp_path / "django.mo").open("rb") as file:
        read = gettext.GNUTranslations(file)
    assert read.gettext("cup") == "Tasse"
    assert read.pgettext("short month", "May") == "Mai"
    assert read.ngettext("%d brew", "%d brews", 3) == "%d Sude"
    assert read.gettext("café") == "café"
