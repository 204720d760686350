"""Nothing inline, nothing evaluated, nothing from elsewhere: what the policy forbids is not even written."""

import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

ROOT = Path(__file__).parents[2]
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
SCRIPTS = sorted((ROOT / "static" / "js").glob("*.js"))
SHEETS = sorted((ROOT / "static" / "css").glob("*.css"))
DRAWINGS = sorted((ROOT / "static" / "icons").rglob("*.svg"))

FORBIDDEN_IN_PAGES = {
    "a style attribute": r"<[^>]*\sstyle\s*=",
    "a style element": r"<style\b",
    "a script with words of its own": r"<script(?![^>]*\bsrc=)[^>]*>",
    "a handler in an attribute": r"<[^>]*\son[a-z]+\s*=",
    "a handler of htmx": r"hx-on",
    "values that are evaluated": r"js:|javascript:",
    "a trigger that is evaluated": r'hx-trigger="[^"]*\[',
    "something from another site": r"""(?:src|href)=["'](?:https?:)?//""",
    "unescaped text": r"\|\s*safe\b|autoescape off",
}


def names(paths):
    return [str(path.relative_to(ROOT)) for path in paths]


@pytest.mark.parametrize("path", TEMPLATES, ids=names(TEMPLATES))
def test_pages(path):
    text = path.read_text()
    found = [what for what, pattern in FORBIDDEN_IN_PAGES.items() if re.search(pattern, text, re.IGNORECASE)]
    assert not found


@pytest.mark.parametrize("path", TEMPLATES, ids=names(TEMPLATES))
def test_every_file_a_page_names_is_there(path):
    for name in re.findall(r"""\{%\s*static\s+['"]([^'"]+)['"]""", path.read_text()):
        assert finders.find(name), name


@pytest.mark.parametrize("path", SCRIPTS, ids=names(SCRIPTS))
def test_scripts(path):
    text = path.read_text()
    assert not re.search(
        r"\beval\(|new Function|innerHTML|insertAdjacentHTML|document\.write|https?://", text
    )
    assert "@license" not in text


@pytest.mark.parametrize("path", SHEETS, ids=names(SHEETS))
def test_sheets_fetch_nothing_from_elsewhere(path):
    assert not re.search(r"https?://|@import", path.read_text())


@pytest.mark.parametrize("path", DRAWINGS, ids=names(DRAWINGS))
def test_drawings_carry_no_script_or_style(path):
    assert not re.search(r"<script|<style|\sstyle=|\son[a-z]+=|<foreignObject", path.read_text())


def test_there_was_something_to_look_at():
    assert len(TEMPLATES) > 40
    assert SCRIPTS
    assert SHEETS
    assert DRAWINGS
