"""The invented company: its cafés, its crew and its counters. Nobody and nothing here exists."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from .calendar import Calendar, instant
from .things import (
    Brewer,
    Cafe,
    Grinder,
    Kettle,
    Paper,
    Person,
    Refractometer,
    Role,
    Server,
    Station,
)

NOTICE = "An invented scenario: no such company, café, person, coffee or piece of equipment exists."
COMPANY = "Larkspindle (invented)"
PUBLISHED_BAND = "scaa-2015"
"""A choice of the invented company: brewbar itself prefers none."""

CAFES = (
    Cafe("netloft", "Netloft Quay", "Europe/London", 6, 4),
    Cafe("candle", "Candle Yard", "Europe/London", 118, 4),
    Cafe("upper", "Upper Station", "Europe/Zurich", 1480, 3),
)

STATIONS = (
    Station("netloft-window", "netloft", "Window bar"),
    Station("netloft-quay", "netloft", "Quay bar"),
    Station("candle-front", "candle", "Front bar"),
    Station("candle-bench", "candle", "Tasting bench"),
    Station("upper-hatch", "upper", "Hatch"),
    Station("upper-terrace", "upper", "Terrace bar"),
)

DRIFTING = "rhys"
TRAINEE = "finley"
HEAD_OF_COFFEE = "halina"
"""Looks after the recipes and boards of all three cafés, and stands at no bar."""

_CREW: tuple[tuple[str, str, Role, tuple[str, ...]], ...] = (
    ("imogen", "Imogen Achterberg", "owner", ("netloft", "candle", "upper")),
    ("kofi", "Kofi Lindqvist", "head", ("netloft",)),
    ("ines", "Inês Carvalhosa", "barista", ("netloft",)),
    ("rhys", "Rhys Penhallock", "barista", ("netloft",)),
    ("jun", "Jun Takemori", "barista", ("netloft",)),
    ("finley", "Finley Marrowby", "barista", ("netloft",)),
    ("noor", "Noor Haddadin", "barista", ("netloft", "candle")),
    ("sade", "Sade Okonfua", "head", ("candle",)),
    ("wiktor", "Wiktor Zalewa", "barista", ("candle",)),
    ("amara", "Amara Ezenwata", "barista", ("candle",)),
    ("callum", "Callum Birkenshaw", "barista", ("candle",)),
    ("matteo", "Matteo Brunoldi", "head", ("upper",)),
    ("leonie", "Leonie Imfeldt", "barista", ("upper",)),
    ("elif", "Elif Karasoylu", "barista", ("upper",)),
    ("oskar", "Oskar Halvorsrud", "barista", ("upper",)),
    ("halina", "Halina Brandvold", "head", ("netloft", "candle", "upper")),
)


def people(first_day: date) -> tuple[Person, ...]:
    """All were there before the first day, save the trainee, who came in the fourth week."""
    return tuple(
        Person(key, name, role, cafes, first_day + timedelta(days=21), trainee=True)
        if key == TRAINEE
        else Person(
            key,
            name,
            role,
            cafes,
            first_day - timedelta(days=120 + 31 * i),
            brews=role != "owner" and key != HEAD_OF_COFFEE,
        )
        for i, (key, name, role, cafes) in enumerate(_CREW)
    )


BREWERS = (
    Brewer(
        "small-cone",
        "Small ribbed cone",
        "cone",
        60.0,
        None,
        "ceramic",
        20,
        "Steep ribs, one wide hole. For one or two cups.",
    ),
    Brewer(
        "large-cone",
        "Large ribbed cone",
        "cone",
        60.0,
        None,
        "plastic",
        40,
        "The same shape, taller. For the big server.",
    ),
    Brewer(
        "flat-bed",
        "Flat bed, three holes",
        "flat",
        None,
        82.0,
        "metal",
        24,
        "A level bed; drains more slowly than the cones.",
    ),
)

PAPERS = (
    Paper("cone-fast", "Thin crêped cone paper", "fast", "For beans that shed fines."),
    Paper("cone-slow", "Thick smooth cone paper", "slow", "The clearer cup of the two."),
    Paper("flat-medium", "Wavy flat-bed paper", "medium", "Seat it well: it floats when dry."),
)

KETTLES = (
    Kettle(
        "heron",
        "netloft",
        "The Heron",
        5.0,
        1.5,
        5.0,
        900,
        "Restricted spout: slow and even, will not be hurried.",
    ),
    Kettle("pelican", "netloft", "The Pelican", 9.0, 4.0, 12.0, 1600, "The big one. Wide spout; two hands."),
    Kettle(
        "egret",
        "candle",
        "The Egret",
        5.5,
        1.5,
        5.5,
        800,
        "Restricted spout: keeps a thread of water unbroken.",
    ),
    Kettle(
        "duck", "candle", "The Duck", 8.0, 3.5, 10.0, 1000, "Wide spout: quick, hard to hold below 4 g/s."
    ),
    Kettle(
        "wren", "upper", "The Wren", 4.5, 1.5, 4.5, 700, "Restricted spout. Small: refill for every brew."
    ),
    Kettle(
        "goose",
        "upper",
        "The Goose",
        7.5,
        2.5,
        9.0,
        1200,
        "Wide spout. Half full, it can be laid on its side.",
    ),
)

GRINDERS = (
    Grinder("quern", "netloft", "The Quern", 0.1, "Flat burrs, 0 to 12. Numbers rise towards coarse."),
    Grinder("nutmeg", "netloft", "The Nutmeg", 0.5, "Conical burrs, 0 to 50. Kept for the fine grinds."),
    Grinder("gravel", "candle", "The Gravel", 0.1, "Flat burrs, 0 to 16. New burrs last spring."),
    Grinder(
        "pepper",
        "upper",
        "The Pepperpot",
        0.5,
        "Conical burrs, 0 to 40. Wants a step finer when the hut is cold.",
    ),
)

SERVERS = (
    Server("netloft-a", "netloft", "Server A", 312.4),
    Server("netloft-big", "netloft", "Big server", 486.0),
    Server("candle-a", "candle", "Server A", 298.7),
    Server("candle-b", "candle", "Server B", 301.2),
    Server("upper-a", "upper", "Steel server", 265.5),
)

REFRACTOMETERS = (
    Refractometer("netloft-glass", "netloft", "Quay refractometer", 0.01, 0.01, 0.03),
    Refractometer("candle-glass", "candle", "Yard refractometer", 0.01, 0.01, 0.03),
    Refractometer("upper-glass", "upper", "Station refractometer", 0.01, 0.01, 0.03),
)
MISREADING = "upper-glass"


def cafe_of(key: str) -> Cafe:
    return next(cafe for cafe in CAFES if cafe.key == key)


def head_of(cafe: str) -> str:
    return next(key for key, _, role, cafes in _CREW if role == "head" and cafes == (cafe,))


def published_at(calendar: Calendar, cafe: str, index: int) -> datetime:
    """Boards change before the doors open."""
    return instant(calendar.day(index), 5 * 60 + 52, cafe_of(cafe))


def home_of(person: str) -> str:
    return next(cafes[0] for key, _, _, cafes in _CREW if key == person)
