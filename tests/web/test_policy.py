"""What the content security policy would refuse at run time is found in the sources already."""

import json
import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

TEMPLATES = sorted(path for path in Path("templates").rglob("*") if path.suffix in (".html", ".svg"))
SCRIPTS = sorted(Path("static/js").rglob("*.js"))
SHEETS = sorted(Path("static/css").glob("*.css"))
DRAWINGS = sorted(Path("static/icons").rglob("*.svg"))

IN_MARKUP = {
    "an inline style": r"<style\b|\sstyle\s*=",
    "an inline script": r"<script\b(?![^>]*\bsrc=)(?![^>]*type=\"application/json\")",
    "an inline event handler": r"\son[a-z]+\s*=\s*[\"']",
    "a javascript: address": r"javascript:",
    "an htmx attribute that needs eval": r"hx-on|[\"']\s*js:|hx-trigger\s*=\s*[\"'][^\"']*\[|hx-vars",
    "unescaped text": r"\|\s*safe\b|autoescape off",
    "something from another site": r"(?:src|href|action)\s*=\s*[\"'](?:https?:)?//",
}
IN_SCRIPTS = {
    "eval": r"\beval\s*\(|new Function|setTimeout\(\s*[\"'`]|setInterval\(\s*[\"'`]",
    "a style attribute": r"setAttribute\(\s*[\"']style|insertAdjacentHTML|innerHTML|document\.write",
    "something from another site": r"(?:import|fetch)\s*\(?\s*[\"'](?:https?:)?//",
}


def found(rules: dict[str, str], text: str) -> list[str]:
    return [what for what, pattern in rules.items() if re.search(pattern, text)]


@pytest.mark.parametrize("path", [*TEMPLATES, *DRAWINGS], ids=str)
def test_markup_holds_nothing_the_policy_refuses(path):
    assert found(IN_MARKUP, path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", SCRIPTS, ids=str)
def test_scripts_hold_nothing_the_policy_refuses(path):
    assert found(IN_SCRIPTS, path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", SHEETS, ids=str)
def test_sheets_fetch_nothing_from_elsewhere(path):
    assert not re.search(r"https?://|@import", path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", TEMPLATES, ids=str)
def test_every_file_a_page_names_is_there(path):
    for name in re.findall(r"{%\s*static\s+['\"]([^'\"]+)['\"]", path.read_text(encoding="utf-8")):
        assert finders.find(name), name


def test_there_was_something_to_look_at():
    assert len(TEMPLATES) > 40
    assert SCRIPTS
    assert SHEETS
    assert DRAWINGS


@pytest.mark.parametrize(
    "bad",
    [
        '<p style="color: red">',
        "<style>",
        "<script>1</script>",
        '<script type="module">',
        '<button onclick="go()">',
        '<a href="javascript:go()">',
        '<div hx-on:click="go()">',
        "<div hx-vals='js:{a: 1}'>",
        '<div hx-trigger="keyup[key]">',
        "{{ name|safe }}",
        '<img src="//elsewhere.invalid/a.png">',
    ],
)
def test_the_rules_do_catch(bad):
    assert found(IN_MARKUP, bad)


def test_htmx_is_told_not_to_evaluate_and_to_swap_refused_forms():
    base = Path("templates/base.html").read_text(encoding="utf-8")
    config = json.loads(re.search(r"name=\"htmx-config\" content='([^']+)'", base)[1])
    assert config["allowEval"] is config["allowScriptTags"] is config["includeIndicatorStyles"] is False
    assert config["selfRequestsOnly"] is True

    def swaps(status: str) -> bool:
        return next(rule for rule in config["responseHandling"] if re.match(rule["code"], status))["swap"]

    assert [swaps(status) for status in ("200", "204", "422", "403", "500")] == [
        True,
        False,
        True,
        False,
        False,
    ]


@pytest.mark.parametrize("address", ["/sign-in/", "/health/live"])
def test_the_policy_is_sent(db, client, address):
    policy = client.get(address)["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
