"""What a row of each kind of import can say: the fields, what is possible in them, what is usual, and their names.

The bounds of the possible are those of what is saved; the usual ones are common practice, no source, and only help to
guess which column is what.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from brewbar.words import gettext, gettext_noop


class Holds(StrEnum):
    """What kind of thing a field holds."""

    DAY = "day"
    TIME = "time"
    MOMENT = "moment"
    NAME = "name"
    TEXT = "text"
    CHOICE = "choice"
    MASS = "mass"
    DURATION = "duration"
    STRENGTH = "strength"
    TEMPERATURE = "temperature"
    DENSITY = "density"


NUMBERS = frozenset({Holds.MASS, Holds.STRENGTH, Holds.TEMPERATURE, Holds.DENSITY})
DATES = frozenset({Holds.DAY, Holds.MOMENT})


@dataclass(frozen=True, slots=True)
class Field:
    """key: its name among the values of a row; label: in words; usual, possible: lowest and highest value, in its own
    unit; decimals: as many as are kept; many: whether several columns can hold it; longest: characters of a text;
    choices: key -> words that mean it."""

    key: str
    label: str
    holds: Holds
    usual: tuple[float, float] = (0, 0)
    possible: tuple[float, float] = (0, 0)
    decimals: int = 1
    many: bool = False
    longest: int = 60
    choices: tuple[tuple[str, tuple[str, ...]], ...] = ()

    @property
    def says(self) -> str:
        return gettext(self.label)


class Kind(StrEnum):
    READINGS = "readings"
    LOTS = "lots"


_KINDS_OF_BREW = (
    (
        "check",
        ("check", "check brew", "control", "kontrolle", "contrôle", "contrôle qualité", "controllo", "qc"),
    ),
    ("served", ("served", "guest", "service", "gast", "serviert", "servi", "client", "servito", "servido")),
    (
        "practice",
        ("practice", "training", "übung", "entraînement", "práctica", "pratica", "prática", "treino"),
    ),
)
_ROASTS = (
    ("light", ("light", "hell", "claire", "clair", "chiara", "chiaro", "claro", "clara", "helle röstung")),
    (
        "medium-light",
        ("medium light", "medium-light", "mittelhell", "moyenne claire", "medio chiara", "media clara"),
    ),
    ("medium", ("medium", "mittel", "moyenne", "moyen", "media", "medio", "média", "médio")),
    ("dark", ("dark", "dunkel", "foncée", "foncé", "scura", "scuro", "oscuro", "oscura", "escuro", "escura")),
)

READINGS = (
    Field("day", gettext_noop("day of the brew"), Holds.DAY),
    Field("time", gettext_noop("time of the brew"), Holds.TIME),
    Field("moment", gettext_noop("day and time of the brew"), Holds.MOMENT),
    Field("barista", gettext_noop("barista"), Holds.NAME, longest=150),
    Field("recipe", gettext_noop("recipe"), Holds.NAME),
    Field("coffee", gettext_noop("coffee"), Holds.NAME),
    Field("batch", gettext_noop("roast batch"), Holds.NAME, longest=30),
    Field("roasted_on", gettext_noop("roasted on"), Holds.DAY),
    Field("station", gettext_noop("station"), Holds.NAME),
    Field("grinder", gettext_noop("grinder"), Holds.NAME),
    Field("grind_setting", gettext_noop("grind setting"), Holds.TEXT, longest=12),
    Field("kettle", gettext_noop("kettle"), Holds.NAME),
    Field("server", gettext_noop("server"), Holds.NAME),
    Field("dose_g", gettext_noop("dose"), Holds.MASS, (8, 80), (1, 200)),
    Field("water_g", gettext_noop("brew water"), Holds.MASS, (120, 1200), (10, 4000)),
    Field("bypass_g", gettext_noop("bypass water"), Holds.MASS, (0, 300), (0, 2000)),
    Field("ice_g", gettext_noop("ice"), Holds.MASS, (0, 300), (0, 2000)),
    Field("beverage_g", gettext_noop("beverage mass"), Holds.MASS, (90, 1100), (1, 4000)),
    Field("gross_g", gettext_noop("server and coffee"), Holds.MASS, (250, 2000), (1, 9999)),
    Field("brew_time_s", gettext_noop("brew time"), Holds.DURATION, (90, 420), (10, 3600)),
    Field("tds", gettext_noop("TDS"), Holds.STRENGTH, (0.9, 1.8), (0, 30), decimals=2, many=True),
    Field("yield_pct", gettext_noop("extraction yield"), Holds.STRENGTH, (15, 26), (0, 100), decimals=2),
    Field("sample_temperature_C", gettext_noop("sample temperature"), Holds.TEMPERATURE, (10, 45), (0, 100)),
    Field("slurry_temperature_C", gettext_noop("slurry temperature"), Holds.TEMPERATURE, (70, 100), (0, 100)),
    Field("kind", gettext_noop("kind of brew"), Holds.CHOICE, choices=_KINDS_OF_BREW),
    Field("instrument", gettext_noop("refractometer"), Holds.NAME),
    Field("taste", gettext_noop("taste"), Holds.TEXT, longest=200),
)
LOTS = (
    Field("coffee", gettext_noop("coffee"), Holds.NAME),
    Field("origin", gettext_noop("origin"), Holds.TEXT),
    Field("process", gettext_noop("process"), Holds.TEXT, longest=40),
    Field("roast_level", gettext_noop("roast level"), Holds.CHOICE, choices=_ROASTS),
    Field("batch", gettext_noop("roast batch"), Holds.NAME, longest=30),
    Field("roasted_on", gettext_noop("roasted on"), Holds.DAY),
    Field("received_on", gettext_noop("received on"), Holds.DAY),
    Field("opened_on", gettext_noop("opened on"), Holds.DAY),
    Field("frozen_on", gettext_noop("frozen on"), Holds.DAY),
    Field("thawed_on", gettext_noop("thawed on"), Holds.DAY),
    Field("used_up_on", gettext_noop("used up on"), Holds.DAY),
    Field(
        "density_g_l",
        gettext_noop("density of the beans"),
        Holds.DENSITY,
        (280, 450),
        (200, 1000),
        decimals=0,
    ),
    Field("note", gettext_noop("note"), Holds.TEXT, longest=500),
)

FIELDS = {
    Kind.READINGS: {field.key: field for field in READINGS},
    Kind.LOTS: {field.key: field for field in LOTS},
}
NEEDED = {
    # Each is met by any one of its fields.
    Kind.READINGS: (
        ("day", "moment"),
        ("barista",),
        ("recipe", "coffee"),
        ("dose_g",),
        ("water_g",),
        ("brew_time_s",),
        ("tds",),
    ),
    Kind.LOTS: (("coffee",), ("batch",), ("roasted_on",)),
}
