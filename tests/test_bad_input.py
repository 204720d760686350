"""Every form of every page, sent in full of what nobody should type: refused beside the field, or shown as text."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from html import escape, unescape
from html.parser import HTMLParser
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse

from calibration import recording
from tests import factories as make
from tests.browser.test_every_page import pages
from tests.world import World

TEXTS = {
    "markup": "<script>alert(1)</script>",
    "attribute": '"><img src=x onerror=alert(1)>',
    "template": "{{ 7|add:7 }}{% now 'Y' %}",
    "typst": '#read("/etc/passwd") $x^2$ @ref \\',
    "right to left": "Ana\N{RIGHT-TO-LEFT OVERRIDE}gnp.exe",
    "hebrew": "שלום",
    "emoji": "Kettle \N{TEAPOT} \N{HOT BEVERAGE}",
    "zero width": "Ka\N{ZERO WIDTH SPACE}ffee\N{ZERO WIDTH JOINER}",
    "combining": "e" + "\N{COMBINING ACUTE ACCENT}" * 40,
    "nul": "a\0b",
    "lone surrogate": "a\ud800b",
    "blank": "   ",
    "line ends": "one\r\ntwo",
    "ten thousand": "x" * 10_000,
    "spreadsheet": "=1+1",
    "a large number": "9" * 40,
    "not a number": "nan",
    "infinite": "1e400",
}
TYPED = {"text", "search", "email", "tel", "url", "number", "date", "datetime-local", "time", "password", ""}
SECRET = {"password"}
NEW_EACH_TIME = {"csrfmiddlewaretoken", "uuid"}


@dataclass
class SeenForm:
    """A form as it stands on a page: where it goes, what a browser would send, what people type into."""

    action: str
    method: str
    sent: dict[str, list[str]] = field(default_factory=dict)
    typed: list[str] = field(default_factory=list)
    wordy: list[str] = field(default_factory=list)
    """Of what is typed, the fields for words."""
    secret: list[str] = field(default_factory=list)


class Forms(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[SeenForm] = []
        self._inside: SeenForm | None = None
        self._textarea = ""
        self._select: tuple[str, list[tuple[str, bool]]] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._inside = SeenForm(given.get("action", ""), given.get("method", "get").lower())
            self.found.append(self._inside)
        form, name = self._inside, given.get("name", "")
        if form is None or not name or "disabled" in given:
            if tag == "option" and self._select and form:
                self._select[1].append((given.get("value", ""), "selected" in given))
            return
        if tag == "textarea":
            form.typed.append(name)
            form.wordy.append(name)
            form.sent.setdefault(name, []).append("")
            self._textarea = name
        elif tag == "select":
            self._select = (name, [])
        elif tag == "input":
            kind = given.get("type", "").lower()
            if kind in TYPED:
                form.typed.append(name)
                form.sent.setdefault(name, []).append(given.get("value", ""))
                if kind in SECRET:
                    form.secret.append(name)
                elif kind in ("text", "") and "inputmode" not in given:
                    form.wordy.append(name)
            elif kind == "hidden" or (kind in ("radio", "checkbox") and "checked" in given):
                form.sent.setdefault(name, []).append(given.get("value", "on"))

    def handle_data(self, data: str) -> None:
        if self._textarea and self._inside:
            sent = self._inside.sent[self._textarea]
            # A browser leaves out the line break that follows the tag.
            sent[-1] += data if sent[-1] else data.removeprefix("\r\n").removeprefix("\n")

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self._textarea = ""
        if tag == "select" and self._select and self._inside:
            name, options = self._select
            chosen = [value for value, selected in options if selected] or [value for value, _ in options][:1]
            self._inside.sent.setdefault(name, []).extend(chosen)
            self._select = None
        elif tag == "form":
            self._inside = None


def forms_on(client: Client, path: str) -> list[SeenForm]:
    page = client.get(path)
    parser = Forms()
    parser.feed(page.content.decode())
    return [form for form in parser.found if form.typed]


def spoiled(form: SeenForm, text: str) -> dict[str, Any]:
    return form.sent | {name: [text] for name in form.typed}


def trouble(client: Client, path: str, form: SeenForm, text: str) -> Iterator[str]:
    """What went wrong when the form was sent with ``text`` in every field that people type into."""
    target = form.action or path
    send = client.post if form.method == "post" else client.get
    # A browser sends UTF-8, in which half a character does not exist.
    sendable = text.encode("utf-8", "replace").decode()
    answer = send(target, spoiled(form, sendable))
    if answer.status_code not in (200, 302, 303, 400, 404, 409, 422, 429):
        yield f"{answer.status_code}"
        return
    if answer.status_code in (302, 303) and answer["Location"].startswith("/"):
        answer = client.get(answer["Location"])
        if answer.status_code >= 500:
            yield f"saved, and then {answer.status_code}"
    body = answer.content.decode(errors="replace")
    if "<script>alert" in body or "<img src=x" in body:
        yield "markup came through as markup"
    kept = [name for name in form.typed if name not in form.secret]
    if answer.status_code == 422 and kept and sendable.strip() and "\0" not in sendable:
        shown = unescape(body)
        if sendable.split()[0][:200] not in shown and escape(sendable) not in body:
            yield "what was typed is gone"
        if 'class="errors' not in body and "field-error" not in body and "error" not in body:
            yield "refused without a word"


ROLES = ("nobody", "barista", "head", "owner")


@dataclass(frozen=True)
class Place:
    """A form on a page, and the roles that find it there just so."""

    path: str
    form: SeenForm
    roles: list[str]

    def tried_by(self, number: int) -> str:
        """Those who find the same form take turns at the kinds of text."""
        return self.roles[number % len(self.roles)]

    def __str__(self) -> str:
        return f"{self.path} -> {self.form.action or 'itself'} ({', '.join(self.form.typed)})"


def client_of(world: World, role: str) -> Client:
    client = Client(raise_request_exception=False)
    return client if role == "nobody" else make.signed_in(getattr(world, role), client)


@pytest.fixture(scope="module")
def places(kept_world: tuple[World, float]) -> list[Place]:
    """Every form of every page, once for each different filling that a browser would send."""
    world, _built = kept_world
    found: dict[str, Place] = {}
    for role in ROLES:
        client = client_of(world, role)
        for path in dict.fromkeys(pages(world)[role]):
            for form in forms_on(client, path):
                sent = {name: values for name, values in form.sent.items() if name not in NEW_EACH_TIME}
                same = repr((form.action or path, form.method, sorted(sent.items()), form.typed))
                place = found.setdefault(same, Place(path, form, []))
                if role not in place.roles:
                    place.roles.append(role)
    assert {role for place in found.values() for role in place.roles} == set(ROLES)
    return list(found.values())


@pytest.mark.parametrize("number", range(len(TEXTS)), ids=list(TEXTS))
def test_whatever_is_typed_is_refused_kindly_or_kept_as_text(
    number: int,
    db: None,
    kept_world: tuple[World, float],
    places: list[Place],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(recording, "MINUTES_TO_CORRECT", 600)  # on a slow machine too
    world, _built = kept_world
    text = list(TEXTS.values())[number]
    signed_in = {role: client_of(world, role).cookies for role in ROLES}
    wrong = []
    for place in places:
        role = place.tried_by(number)
        client = Client(raise_request_exception=False)
        client.cookies.load(signed_in[role].output(header="", sep=";"))
        # What one form saves is no matter for the next.
        with transaction.atomic():
            wrong += [f"{place}, {role}: {said}" for said in trouble(client, place.path, place.form, text)]
            transaction.set_rollback(True)
    assert not wrong, "\n".join(wrong)


TOGETHER = {
    "in a page": f"{TEXTS['markup']}{TEXTS['attribute']}",
    "in a card": '=1+1 {{ 7|add:7 }} #read("/etc/passwd") $x^2$ \\',
    "line ends": TEXTS["line ends"],
}
"""Short enough for a name."""


@pytest.mark.django_db
@pytest.mark.parametrize("kind", TOGETHER)
def test_words_that_are_kept_are_text_on_every_page_and_card(kind: str) -> None:
    world = World.build()
    client = make.signed_in(world.head, Client(raise_request_exception=False))
    kept = 0
    for path in dict.fromkeys(pages(world)["head"]):
        for form in forms_on(client, path):
            words = {name: [TOGETHER[kind]] for name in form.wordy}
            if form.method == "post" and words:
                answer = client.post(form.action or path, form.sent | words)
                assert answer.status_code < 500, path
                kept += answer.status_code in (302, 303)
    assert kept > 3
    cards = [
        reverse("recipes:card_svg", args=[world.slot.pk]),
        reverse("recipes:card_pdf", args=[world.slot.pk]),
    ]
    tables = [reverse(f"calibration:{name}_csv") for name in ("days", "staff", "heat_map", "scatter")]
    for path in [*pages(world)["head"], *cards, *tables]:
        answer = client.get(path)
        assert answer.status_code < 500, path
        body = answer.content.decode(errors="replace")
        assert "<script>alert" not in body, path
        assert "<img src=x" not in body, path
