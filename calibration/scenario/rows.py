"""The rows of the invented scenario: plain frozen records joined by stable string keys.

Masses are g, temperatures °C, times s, heights mm, flows g/s, strength % (mass fraction × 100).
An instant is an aware datetime in UTC; a business day is the café's own date.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from uuid import UUID

from .truth import Truth

Role = Literal["barista", "head", "owner"]
Pattern = Literal["circle", "centre", "off-centre", "sideways", "broken-stream", "rise-and-fall", "wall"]
AfterPour = Literal["", "stir", "swirl"]
Kind = Literal["check", "served"]
Attempt = Literal["first", "repeat", "rebrew"]


@dataclass(frozen=True)
class Cafe:
    key: str
    name: str
    time_zone: str
    altitude_m: int
    day_turns_at: int


@dataclass(frozen=True)
class Station:
    key: str
    cafe: str
    name: str


@dataclass(frozen=True)
class Person:
    key: str
    """Also the name to sign in with."""
    name: str
    role: Role
    cafes: tuple[str, ...]
    joined_on: date
    trainee: bool = False


@dataclass(frozen=True)
class Coffee:
    key: str
    name: str
    origin: str
    process: str
    roast_level: Literal["light", "medium-light", "medium", "dark"]
    density_g_l: int
    note: str


@dataclass(frozen=True)
class RoastBatch:
    key: str
    coffee: str
    label: str
    roasted_on: date
    received_on: date
    opened_on: date | None
    used_up_on: date | None


@dataclass(frozen=True)
class Brewer:
    key: str
    name: str
    shape: Literal["cone", "flat"]
    wall_angle_deg: float | None
    diameter_mm: float | None
    body: Literal["ceramic", "plastic", "metal"]
    largest_dose_g: int
    note: str


@dataclass(frozen=True)
class Paper:
    key: str
    name: str
    speed: Literal["slow", "medium", "fast"]
    note: str


@dataclass(frozen=True)
class Kettle:
    key: str
    cafe: str
    name: str
    spout_bore_mm: float
    flow_min_g_s: float
    flow_max_g_s: float
    capacity_g: int
    note: str


@dataclass(frozen=True)
class Grinder:
    key: str
    cafe: str
    name: str
    setting_step: float
    note: str


@dataclass(frozen=True)
class Server:
    key: str
    cafe: str
    name: str
    tare_g: float


@dataclass(frozen=True)
class Refractometer:
    key: str
    cafe: str
    name: str
    resolution_tds: float
    repeatability_tds: float
    """Standard deviation of single drops of one sample."""
    accuracy_tds: float
    """Half-width of the stated limits."""


@dataclass(frozen=True)
class BrewWater:
    key: str
    cafe: str
    name: str
    hardness_mg_l: int
    alkalinity_mg_l: int
    """Both as CaCO3."""
    measured_on: date
    note: str


@dataclass(frozen=True)
class BarEvent:
    """What happened to one piece of equipment, or to the bar as a whole where none is named."""

    key: str
    cafe: str
    kind: Literal["cleaned", "descaled", "paper", "cartridge", "water", "repaired"]
    happened_at: datetime
    noted_at: datetime
    noted_by: str
    kettle: str | None = None
    grinder: str | None = None
    paper: str | None = None
    brew_water: str | None = None
    note: str = ""
    taken_back_at: datetime | None = None
    taken_back_by: str | None = None


@dataclass(frozen=True)
class GrinderMatch:
    key: str
    cafe: str
    grinder: str
    setting: str
    other: str
    other_setting: str
    found_at: datetime
    found_by: str
    note: str


@dataclass(frozen=True)
class BreakupPoint:
    key: str
    kettle: str
    flow_g_s: float
    temperature_C: float
    height_mm: int
    broke: bool
    """False where the stream was still whole at this height."""
    note: str
    measured_at: datetime
    measured_by: str
    taken_back_at: datetime | None = None
    taken_back_by: str | None = None


@dataclass(frozen=True)
class InstrumentCheck:
    key: str
    refractometer: str
    kind: Literal["zero", "standard"]
    expected_tds: float
    read_tds: float
    checked_at: datetime
    checked_by: str
    note: str = ""


@dataclass(frozen=True)
class Pour:
    starts_at_s: int
    to_g: int
    pattern: Pattern
    spout_height_mm: int
    flow_g_s: float
    after: AfterPour = ""
    note: str = ""


@dataclass(frozen=True)
class Recipe:
    key: str
    name: str
    coffee: str


@dataclass(frozen=True)
class RecipeVersion:
    key: str
    recipe: str
    number: int
    published_at: datetime
    published_by: str
    what_changed: str
    why: str
    brewer: str
    paper: str
    kettle: str
    dose_g: float
    water_g: int
    at_the_boil: bool
    water_temperature_C: float | None
    reference_grind: str
    tds_target: float
    ey_target: float
    brew_time_s: int
    intended_cup: str
    pours: tuple[Pour, ...]
    bypass_g: int = 0
    tds_tolerance: float = 0.10
    ey_tolerance: float = 1.5
    brew_time_tolerance_s: int = 20


@dataclass(frozen=True)
class Card:
    """A recipe's place at a station: its printed code stays the same whatever is live there."""

    key: str
    station: str
    recipe: str


@dataclass(frozen=True)
class Slot:
    """A version standing on a café's board from one moment to the next."""

    key: str
    card: str
    version: str
    kettle: str
    published_at: datetime
    published_by: str
    withdrawn_at: datetime | None
    withdrawn_why: str


@dataclass(frozen=True)
class SlotSetting:
    """Batch, grinder and setting of a slot from one moment on."""

    slot: str
    roast_batch: str
    grinder: str
    grind_setting: str
    """As marked on the grinder."""
    set_at: datetime
    set_by: str
    note: str


@dataclass(frozen=True)
class Void:
    at: datetime
    by: str
    why: str


@dataclass(frozen=True)
class Reading:
    key: str
    uuid: UUID
    slot: str
    roast_batch: str
    grinder: str
    grind_setting: str
    barista: str
    refractometer: str
    server: str
    brewed_at: datetime
    """First water on the coffee."""
    entered_at: datetime
    entered_by: str
    business_day: date
    kind: Kind
    attempt: Attempt
    dose_g: float
    water_g: float
    beverage_g: float | None
    """None where nobody weighed it."""
    brew_time_s: int
    drops_tds: tuple[float, ...]
    sample_temperature_C: float
    taste: str = ""
    void: Void | None = None
    corrects: str | None = None
    """The key of the reading whose typo this one puts right; both are kept."""


@dataclass(frozen=True)
class Scenario:
    """An invented company and what happened in it over ten weeks, up to this morning."""

    notice: str
    company: str
    published_band: str
    """Its key in recipes.brewing.bands."""
    today: date
    first_day: date
    cafes: tuple[Cafe, ...]
    stations: tuple[Station, ...]
    people: tuple[Person, ...]
    coffees: tuple[Coffee, ...]
    batches: tuple[RoastBatch, ...]
    brewers: tuple[Brewer, ...]
    papers: tuple[Paper, ...]
    kettles: tuple[Kettle, ...]
    grinders: tuple[Grinder, ...]
    servers: tuple[Server, ...]
    refractometers: tuple[Refractometer, ...]
    waters: tuple[BrewWater, ...]
    events: tuple[BarEvent, ...]
    matches: tuple[GrinderMatch, ...]
    breakup_points: tuple[BreakupPoint, ...]
    checks: tuple[InstrumentCheck, ...]
    recipes: tuple[Recipe, ...]
    versions: tuple[RecipeVersion, ...]
    cards: tuple[Card, ...]
    slots: tuple[Slot, ...]
    settings: tuple[SlotSetting, ...]
    readings: tuple[Reading, ...]
    asked_twice: frozenset[tuple[str, date]]
    """Who was asked to brew the check twice on which day, drawn before the first brew was seen."""
    truth: Truth
