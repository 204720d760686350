import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from brewbar.web import shapes
from brewbar.web.templatetags.brewbar import band

SVG = "{http://www.w3.org/2000/svg}"
SYMBOLS = {
    symbol.get("id"): ElementTree.tostring(symbol, encoding="unicode").replace(symbol.get("id"), "")
    for symbol in ElementTree.parse("static/icons/shapes.svg").iter(f"{SVG}symbol")
}
LITERAL = re.compile(r"{% (state|glyph) \"([a-z-]+)\"")


def test_every_state_has_a_word_and_a_shape_of_its_own():
    assert shapes.STATES.keys() <= SYMBOLS.keys()
    drawn = [SYMBOLS[state] for state in shapes.STATES]
    assert len(set(drawn)) == len(drawn)
    words = [str(word) for word in shapes.STATES.values()]
    assert len(set(words)) == len(words)


def test_templates_name_only_shapes_that_are_drawn():
    for path in Path("templates").rglob("*.html"):
        for kind, name in LITERAL.findall(path.read_text(encoding="utf-8")):
            known = shapes.STATES if kind == "state" else SYMBOLS.keys() | shapes.SAME_SHAPE.keys()
            assert name in known, f"{path} asks for the {kind} {name}"


def test_a_badge_says_its_word_beside_its_silent_shape():
    drawn = shapes.badge("inside")
    assert "Inside</span>" in drawn
    assert 'aria-hidden="true"' in drawn
    assert "#inside" in drawn
    assert "On target</span>" in shapes.badge("inside", "On target")


def test_a_word_of_ones_own_is_escaped():
    assert "&lt;b&gt;" in shapes.badge("inside", "<b>")


def test_an_unknown_state_is_refused():
    with pytest.raises(KeyError):
        shapes.badge("insidious")


def test_the_middle_of_the_band_is_the_middle_of_the_drawing():
    assert shapes.place_in_band(1.4, 1.3, 1.5).x == shapes.WIDTH / 2


@pytest.mark.parametrize(("value", "post"), [(1.3, shapes.POST_LOW), (1.5, shapes.POST_HIGH)])
def test_a_limit_lies_on_its_post(value, post):
    assert shapes.place_in_band(value, 1.3, 1.5).x == post


def test_the_spread_reaches_as_far_as_it_is():
    drawn = shapes.place_in_band(1.4, 1.3, 1.5, 0.1)
    assert (drawn.left, drawn.right) == (shapes.POST_LOW, shapes.POST_HIGH)


@pytest.mark.parametrize(("value", "beyond"), [(0.2, -1), (1.4, 0), (9.0, 1)])
def test_a_value_off_the_paper_points_to_where_it_went(value, beyond):
    drawn = shapes.place_in_band(value, 1.3, 1.5, 0.02)
    assert drawn.beyond == beyond
    assert 0 < drawn.left <= drawn.x <= drawn.right < shapes.WIDTH
    assert ("<circle" in shapes.band(value, 1.3, 1.5)) is (beyond == 0)


@pytest.mark.parametrize(("low", "high"), [(None, 1.5), (1.3, None), (1.5, 1.5), (1.5, 1.3)])
def test_no_band_no_drawing(low, high):
    assert band(1.4, low, high) == ""


def test_a_band_without_a_value_is_empty():
    drawn = band(None, 1.3, 1.5)
    assert "band-post" in drawn
    assert "band-dot" not in drawn
