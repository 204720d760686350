from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.template import Context, Template


def shown(expression: str, **context: object) -> str:
    return Template("{% load brewbar %}{{ " + expression + " }}").render(Context(context))


@pytest.mark.parametrize(
    ("expression", "value", "text"),
    [
        ("v|clock", 185, "3:05"),
        ("v|clock", 0, "0:00"),
        ("v|grams", Decimal("250"), "250.0 g"),
        ("v|grams:0", Decimal("250"), "250 g"),
        ("v|percent", Decimal("1.405"), "1.41 %"),
        ("v|percent:1", 20.84, "20.8 %"),
        ("v|degrees", Decimal("92.5"), "92.5 °C"),
        ("v|degrees:0", Decimal("92.5"), "93 °C"),
        ("v|number:3", 0.02, "0.020"),
        ("v|signed", Decimal("0.04"), "+0.04"),
        ("v|signed", -0.04, "−0.04"),
        ("v|signed", -0.004, "0.00"),
        ("v|signed:0", 30, "+30"),
        ("v|ratio:15", 250, "1:16.7"),
    ],
)
def test_units(expression, value, text):
    assert shown(expression, v=value) == text


@pytest.mark.parametrize(
    "name", ["clock", "grams", "percent", "degrees", "number", "signed", "ratio:15", "local:v"]
)
def test_what_is_not_known_is_a_dash_and_zero_is_not(name):
    assert shown(f"v|{name}", v=None) == "–"
    if name != "local:v":
        assert shown(f"v|{name}", v=0) != "–"


def test_a_ratio_without_a_dose_is_a_dash():
    assert shown("v|ratio:d", v=250, d=None) == shown("v|ratio:d", v=250, d=0) == "–"


@dataclass
class Cafe:
    zone: ZoneInfo


@pytest.mark.parametrize(
    ("zone", "wall"), [("Europe/Lisbon", "14:30"), ("Asia/Kathmandu", "19:15"), ("America/St_Johns", "11:00")]
)
def test_times_are_those_of_the_cafe_whatever_the_server_is_set_to(zone, wall):
    # Offsets on 1 July 2026 in the IANA time zone database: +1:00, +5:45, -2:30.
    at = datetime(2026, 7, 1, 13, 30, tzinfo=UTC)
    assert shown('at|local:cafe|date:"H:i"', at=at, cafe=Cafe(ZoneInfo(zone))) == wall


@pytest.mark.parametrize(("hour_utc", "wall"), [(0, "02:30"), (1, "02:30"), (2, "03:30")])
def test_the_night_the_clocks_go_back_shows_half_past_two_twice(hour_utc, wall):
    at = datetime(2026, 10, 25, hour_utc, 30, tzinfo=UTC)
    assert shown('at|local:cafe|date:"H:i"', at=at, cafe=Cafe(ZoneInfo("Europe/Berlin"))) == wall
