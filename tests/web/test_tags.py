"""What pages write: numbers, times, states."""

from datetime import UTC, datetime
from decimal import Decimal
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from django import forms
from django.template import Context, Template


def written(template: str, **values: object) -> str:
    return Template("{% load brewbar %}" + template).render(Context(values))


@pytest.mark.parametrize(
    ("template", "value", "text"),
    [
        ("{{ x|clock }}", 185, "3:05"),
        ("{{ x|clock }}", 0, "0:00"),
        ("{{ x|clock }}", None, "–"),
        ("{{ x|number:1 }}", Decimal("20.55"), "20.6"),
        ("{{ x|percent }}", 0, "0.00 %"),
        ("{{ x|signed }}", -0.034, "−0.03"),
        ("{{ x|signed }}", 0.034, "+0.03"),
        ("{{ x|signed }}", 0.001, "0.00"),
        ("{{ x|ratio:15 }}", 250, "1:16.7"),
        ("{{ x|ratio:0 }}", 250, "–"),
    ],
)
def test_numbers(template, value, text):
    assert written(template, x=value).replace("\u00a0", " ") == text


@pytest.mark.parametrize(("hour_utc", "on_the_wall"), [(0, "02:30"), (1, "02:30"), (2, "03:30")])
def test_a_moment_is_written_on_the_cafes_own_clock(hour_utc, on_the_wall):
    """The night the clocks go back shows half past two twice."""
    at = datetime(2026, 10, 25, hour_utc, 30, tzinfo=UTC)
    berlin = SimpleNamespace(zone=ZoneInfo("Europe/Berlin"))
    assert written('{{ at|local:cafe|date:"H:i" }}', at=at, cafe=berlin) == on_the_wall


def test_a_state_has_a_word_and_a_shape():
    text = written('{% state "close" %}')
    assert "Too close to call" in text
    assert "<svg" in text
    assert 'aria-hidden="true"' in text


def test_a_word_of_ones_own_is_escaped():
    assert "<b>" not in written('{% state "inside" word %}', word="<b>x</b>")


class Asks(forms.Form):
    grams = forms.IntegerField(label="Dose")


def test_no_summary_where_nothing_is_wrong():
    assert written("{% error_summary form %}", form=Asks()).strip() == ""
    assert written("{% error_summary form %}", form=Asks({"grams": "15"})).strip() == ""


def test_the_summary_leads_to_the_field():
    text = written("{% error_summary form %}", form=Asks({"grams": "much"}))
    assert 'href="#id_grams"' in text
    assert "Dose" in text
    assert 'role="alert"' in text


def test_a_wrong_field_says_so_beside_it_and_keeps_what_was_typed():
    text = Asks({"grams": "much"})["grams"].as_field_group()
    assert 'value="much"' in text
    assert 'aria-invalid="true"' in text
    assert "whole number" in text
