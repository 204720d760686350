"""What happened lately around the brews: plain facts, each of them only if somebody recorded it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from recipes.brewing.plan import Conditions, Kettle, PourPlan


class Code(StrEnum):
    """The causes that a head barista chooses from."""

    POUR = "pour"
    GRIND = "grind"
    KETTLE = "kettle"
    WATER = "water"
    AGE = "age"
    LOT = "lot"
    INSTRUMENT = "instrument"
    RECIPE = "recipe"
    CHANCE = "chance"
    OTHER = "other"


class Off(StrEnum):
    """Who is off."""

    ONE = "one"
    DAY = "day"


class CheckState(StrEnum):
    """Of the last check since the brews in question began."""

    PASSED = "passed"
    FAILED = "failed"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class InstrumentChecks:
    """zero: on distilled water; standard: on a solution of known strength; since: the day of the last of them;
    shared: whether what the brews are compared with was read on the same instrument, None if nobody knows."""

    zero: CheckState = CheckState.NONE
    standard: CheckState = CheckState.NONE
    since: date | None = None
    shared: bool | None = None


class Kind(StrEnum):
    LOT = "lot"
    BATCH = "batch"
    KETTLE_SWAPPED = "kettle-swapped"
    KETTLE_DESCALED = "kettle-descaled"
    PAPER = "paper"
    CARTRIDGE = "cartridge"
    GRINDER_CLEANED = "grinder-cleaned"
    BURRS = "burrs"
    GRIND_SETTING = "grind-setting"
    VERSION = "version"


@dataclass(frozen=True, slots=True)
class Happening:
    """what: its name as the bar wrote it; finer: of a grind setting, whether it went finer, None if nobody knows."""

    kind: Kind
    on: date
    what: str = ""
    finer: bool | None = None


@dataclass(frozen=True, slots=True)
class Ageing:
    """days, days_before: off roast, of the brews and of what they are compared with; tds_per_day, se: the slope that
    the café's own readings gave, in % TDS a day."""

    days: float
    days_before: float
    tds_per_day: float
    se: float

    @property
    def shift_tds(self) -> float:
        """What age alone should have done."""
        return self.tds_per_day * (self.days - self.days_before)


@dataclass(frozen=True, slots=True)
class Drill:
    """A flow drill: whether the flow was held, as whoever judged it said."""

    on: date
    steady: bool


@dataclass(frozen=True, slots=True)
class Tie:
    """The person brews on nothing else: code: of what; what: its name."""

    code: Code
    what: str


@dataclass(frozen=True, slots=True)
class Usual:
    """What the brews are compared with, on average; None where it is not known."""

    tds_pct: float | None = None
    beverage_g: float | None = None
    slurry_C: float | None = None
    dose_g: float | None = None


@dataclass(frozen=True, slots=True)
class Context:
    """instrument: its checks; happened: what the bar recorded; began: the first and the last day on which it may have
    begun, None if nobody knows; off: who is off, None if nobody knows; in_training: the person still learns this
    recipe; ties: what the person alone brews on; ageing, drills: where they exist.

    plan, kettle, conditions: of these brews; compared_plan, compared_kettle: of what they are compared with. What both
    have in common explains no difference. usual: levels to reckon sizes from. taste: the note that stands beside;
    muted_acidity, sheds_fines: as somebody said of the cup and of the coffee.
    """

    instrument: InstrumentChecks = field(default_factory=InstrumentChecks)
    happened: tuple[Happening, ...] = ()
    began: tuple[date, date] | None = None
    off: Off | None = None
    in_training: bool = False
    ties: tuple[Tie, ...] = ()
    ageing: Ageing | None = None
    drills: tuple[Drill, ...] = ()
    plan: PourPlan | None = None
    kettle: Kettle | None = None
    conditions: Conditions | None = None
    compared_plan: PourPlan | None = None
    compared_kettle: Kettle | None = None
    usual: Usual = field(default_factory=Usual)
    taste: str = ""
    muted_acidity: bool = False
    sheds_fines: bool = False
