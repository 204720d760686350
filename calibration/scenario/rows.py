"""What happened in the invented scenario: plain frozen records joined by stable string keys.

Masses are g, temperatures °C, times s, heights mm, flows g/s, strength % (mass fraction × 100).
An instant is an aware datetime in UTC; a business day is the café's own date.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from uuid import UUID

from .things import (
    BarEvent,
    BreakupPoint,
    Brewer,
    BrewWater,
    Cafe,
    Coffee,
    Grinder,
    GrinderMatch,
    Kettle,
    Paper,
    Person,
    Refractometer,
    RoastBatch,
    Server,
    Station,
)
from .truth import Truth

Pattern = Literal["circle", "centre", "off-centre", "sideways", "broken-stream", "rise-and-fall", "wall"]
AfterPour = Literal["", "stir", "swirl"]
Kind = Literal["check", "served", "practice"]
Attempt = Literal["first", "repeat", "rebrew"]


@dataclass(frozen=True)
class InstrumentCheck:
    key: str
    refractometer: str
    kind: Literal["zero", "standard"]
    expected_tds: float | None
    """None for sucrose that was weighed: brewbar says what it should read."""
    read_tds: float
    checked_at: datetime
    checked_by: str
    note: str = ""
    as_found: bool = True
    """Before it was set to zero anew."""
    sucrose_g: float | None = None
    solution_g: float | None = None


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
class GrindNote:
    key: str
    cafe: str
    recipe: str
    says: str
    set_at: datetime
    set_by: str


@dataclass(frozen=True)
class CafeTarget:
    """What a café aims at itself; a quantity that is not here is as the version says."""

    key: str
    cafe: str
    recipe: str
    why: str
    set_at: datetime
    set_by: str
    tds_target: float
    tds_tolerance: float
    brew_time_s: int
    brew_time_tolerance_s: int


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
    was_served: bool
    """A check that a guest drank, but for the drops."""
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
class CheckPlan:
    """What a café asks of its crew; the rest is as brewbar has it where nobody said otherwise."""

    cafe: str
    recipe: str
    recipe_since: date
    coffee_price_kg: float | None = None
    currency: str = ""

    @property
    def key(self) -> str:
        return self.cafe


@dataclass(frozen=True)
class OnDuty:
    """Somebody signed in at a café on a business day, and what was drawn for them."""

    cafe: str
    business_day: date
    user: str
    since: datetime
    asked_twice: bool
    too_busy_at: datetime | None = None
    too_busy_note: str = ""

    @property
    def key(self) -> str:
        return f"{self.user}-{self.business_day.isoformat()}"


@dataclass(frozen=True)
class CheckRun:
    """A check under way this morning: brewed, and its sample cooling."""

    key: str
    uuid: UUID
    cafe: str
    business_day: date
    barista: str
    slot: str
    attempt: Attempt
    opened_at: datetime
    poured_at: datetime
    brew_time_s: int


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
    grind_notes: tuple[GrindNote, ...]
    cafe_targets: tuple[CafeTarget, ...]
    check_plans: tuple[CheckPlan, ...]
    on_duty: tuple[OnDuty, ...]
    runs: tuple[CheckRun, ...]
    readings: tuple[Reading, ...]
    asked_twice: frozenset[tuple[str, date]]
    """Who was asked to brew the check twice on which day, drawn before the first brew was seen."""
    truth: Truth
