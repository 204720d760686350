"""Who is in the invented company, what stands on its counters, and what was noted about those things.

Plain frozen records joined by stable string keys. Masses are g, temperatures °C, heights mm, flows g/s, strength %
(mass fraction × 100); an instant is an aware datetime in UTC.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

Role = Literal["barista", "head", "owner"]


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
    brews: bool = True


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
