"""Every page in a made-up language, whose every message stands in brackets: whatever stands outside is told by data
or escaped the catalogue.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from zoneinfo import available_timezones

import django
import pytest
from django.apps import apps
from django.db import models
from django.utils import translation
from django.utils.translation import gettext

from brewbar.crew.models import Role
from calibration.bringing_in import uploads
from recipes.card_words import said
from recipes.cards import content_of
from tests import factories as make
from tests.language.catalogues import entries_in, write_mo
from tests.language.test_catalogue import CATALOGUE
from tests.test_every_address import ADDRESSES, address, opens_for, view_of

MADE_UP = "xx"
OF_DJANGO = [
    Path(django.__file__).parent / room / "locale" / "en" / "LC_MESSAGES" / "django.po"
    for room in ("conf", "contrib/auth")
]
BRACKETS = re.compile(r"⟦[^⟦⟧]*⟧")
SPOKEN = ("alt", "aria-label", "aria-description", "placeholder", "title", "data-says")
NEVER_SHOWN = {"script", "style", "template"}
COMMANDS = {"code"}
SAME_IN_EVERY_LANGUAGE = re.compile(
    r"\b(brewbar|PIN|QR|TDS|CSV|UTF-8|PDF|SVG|A4|A5|A6|CaCO3|SCAA Standard, Golden Cup, 2015|"
    r"m:ss|mm|mg/L|g/s|g/g|g|s|m|k|n|U|[CF]|"
    r"([0-9a-f]{4} ){3}[0-9a-f]{4})\b"  # the mark of a report's numbers
)
TEXTS = (models.CharField, models.TextField, models.JSONField)
WORDMARK = ("brew", "bar")
WORD = re.compile(r"[^\W\d_]{2,}")


@pytest.fixture(scope="module")
def made_up_words(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("locale")
    entries = [entry for po in (*OF_DJANGO, CATALOGUE) for entry in entries_in(po)]
    write_mo(
        folder / MADE_UP / "LC_MESSAGES" / "django.mo",
        {entry: f"⟦{entry[2] or entry[1]}⟧" for entry in entries},
    )
    return folder


@pytest.fixture
def made_up_language(made_up_words, settings) -> Iterator[None]:
    settings.LOCALE_PATHS = [made_up_words]
    with translation.override(MADE_UP):
        yield


class Texts(HTMLParser):
    """Whatever a page says aloud or shows."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.shown = ""
        """All of the page's text, since a message may have elements in it."""
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        said = dict(attrs)
        self.hidden += tag in NEVER_SHOWN | COMMANDS
        self.found += [said[name] for name in SPOKEN if said.get(name)]
        if tag == "input" and said.get("type") in ("submit", "button"):
            self.found.append(said.get("value") or "")

    def handle_endtag(self, tag: str) -> None:
        self.hidden -= tag in NEVER_SHOWN | COMMANDS

    def handle_data(self, data: str) -> None:
        if not self.hidden and data not in WORDMARK:
            self.shown += f"{data}\n"


def data_in_tables() -> list[str]:
    """Every text of every row, the towns of the time zones, and the cells of spreadsheets that wait to be brought in,
    the longest first."""
    towns = {name.replace("_", " ") for zone in available_timezones() for name in zone.split("/")}
    texts = {name for name in towns if len(name) > 2}
    for model in apps.get_models():
        names = [f.attname for f in model._meta.concrete_fields if isinstance(f, TEXTS) and not f.choices]
        for row in model._default_manager.values_list(*names):
            texts |= {text.strip() for value in row for text in _texts_in(value)}
    for path in uploads.folder().glob("*.file"):
        texts |= {cell.strip() for cell in re.split(r"[;\n]", path.read_text())}
    return sorted(texts - {""}, key=len, reverse=True)


def _texts_in(value: Any) -> list[str]:
    said = [*value.keys(), *value.values()] if isinstance(value, dict) else [value]
    return [text for text in said if isinstance(text, str)]


def escaped(text: str, known: list[str]) -> list[str]:
    """The words of ``text`` that came neither through the catalogue nor from a row."""
    for data in known:
        if data in text:
            text = text.replace(data, " ")
    while BRACKETS.search(text):
        text = BRACKETS.sub(" ", text)
    return WORD.findall(SAME_IN_EVERY_LANGUAGE.sub(" ", text))


def escapees(html: str, known: list[str]) -> list[str]:
    page = Texts()
    page.feed(html)
    return [word for text in (page.shown, *page.found) for word in escaped(text, known)]


def test_the_made_up_language_is_spoken(made_up_language):
    assert gettext("Sign in") == "⟦Sign in⟧"
    assert escaped("⟦Published ⟦25 ⟦Nov⟧⟧ by Ada⟧, 15.0 g", []) == []
    assert escaped("Published ⟦25⟧", []) == ["Published"]


@pytest.mark.parametrize("at", [at for at in ADDRESSES if "GET" in view_of(at).methods])
def test_every_page(at, world, made_up_language):
    path = address(at, world)
    for person, role in ((world.head, Role.HEAD), (world.owner, Role.OWNER), (world.barista, Role.BARISTA)):
        if view_of(at).roles and not opens_for(at, role):
            continue
        answer = make.signed_in(person).get(path, follow=True)
        if "html" in answer.headers.get("Content-Type", ""):
            assert escapees(answer.content.decode(), data_in_tables()) == [], role
        elif answer.streaming:
            b"".join(answer)  # a file that is sent is closed at its end


def walked(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, one in value.items():
            if key not in ("pattern", "after", "code"):
                yield from walked(one)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from walked(one)


def test_a_card(world, made_up_language):
    words = said(content_of(world.slot, "http://bar.example", datetime(2026, 11, 25, 9, 0, tzinfo=UTC)))
    words["legend"] = [(word, how) for _drawing, word, how in words["legend"]]
    known = [*data_in_tables(), "bar.example"]
    assert [text for text in walked(words) if escaped(text, known)] == []
