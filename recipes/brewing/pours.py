"""The shape of a staged pour plan, and what follows from it by arithmetic alone.

A number that a draft does not have yet is None; everything here copes with that.
"""

from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from recipes.brewing.stream import USUAL_BORE_MM, NFit


class Pattern(StrEnum):
    """How the stream moves over the bed."""

    CIRCLE = "circle"
    CENTRE = "centre"
    OFF_CENTRE = "off-centre"
    SIDEWAYS = "sideways"
    BROKEN_STREAM = "broken-stream"
    RISE_AND_FALL = "rise-and-fall"
    WALL = "wall"


class After(StrEnum):
    """What is done to the slurry once the pour has ended."""

    NOTHING = ""
    STIR = "stir"
    SWIRL = "swirl"


@dataclass(frozen=True, slots=True)
class Pour:
    """One uninterrupted stream, from `starts_at_s` after first water until the scale shows `to_g` in all."""

    starts_at_s: float | None
    to_g: float | None
    pattern: Pattern
    flow_g_s: float | None
    spout_height_mm: float | None
    temperature_C: float | None = None
    after: After = After.NOTHING
    note: str = ""


@dataclass(frozen=True, slots=True)
class PourPlan:
    """A recipe version's numbers. Tolerances are half-widths: target ± tolerance."""

    dose_g: float | None
    water_g: float | None
    water_temperature_C: float | None
    at_the_boil: bool
    pours: tuple[Pour, ...]
    bypass_g: float = 0.0
    ice_g: float = 0.0
    tds_target: float | None = None
    tds_tolerance: float | None = None
    ey_target: float | None = None
    ey_tolerance: float | None = None
    brew_time_s: float | None = None
    brew_time_tolerance_s: float | None = None


@dataclass(frozen=True, slots=True)
class Kettle:
    """What a kettle can hold and pour, and where its stream breaks; None where nobody has measured it."""

    name: str
    flow_min_g_s: float | None = None
    flow_max_g_s: float | None = None
    capacity_g: float | None = None
    bore_mm: float | None = None
    growth: NFit | None = None

    @property
    def effective_bore_mm(self) -> float:
        return USUAL_BORE_MM if self.bore_mm is None else self.bore_mm


@dataclass(frozen=True, slots=True)
class Instrument:
    """The coarsest refractometer in use; relative_U_tds in % TDS, k = 2, for the mean of two drops."""

    name: str
    relative_U_tds: float


def brew_ratio(plan: PourPlan) -> float | None:
    """Brew water per gram of dose."""
    if plan.dose_g is None or plan.water_g is None or plan.dose_g <= 0:
        return None
    return plan.water_g / plan.dose_g


def water_C(plan: PourPlan, pour: Pour, boiling_C: float) -> float | None:
    """How hot this pour leaves the kettle; water cannot be hotter than it boils."""
    asked = pour.temperature_C
    if asked is None:
        asked = boiling_C if plan.at_the_boil else plan.water_temperature_C
    return None if asked is None else min(asked, boiling_C)


def added_g(plan: PourPlan) -> tuple[float | None, ...]:
    """What each pour adds to the scale; None while its own or the previous weight is open."""
    reached: list[float | None] = [0.0, *(pour.to_g for pour in plan.pours)]
    return tuple(None if to is None or before is None else to - before for before, to in pairwise(reached))


def ends_at_s(plan: PourPlan) -> tuple[float | None, ...]:
    """When each pour ends at its planned flow."""
    return tuple(
        None
        if pour.starts_at_s is None or added is None or not pour.flow_g_s or pour.flow_g_s < 0
        else pour.starts_at_s + added / pour.flow_g_s
        for pour, added in zip(plan.pours, added_g(plan), strict=True)
    )


def gaps(plan: PourPlan) -> tuple[float | None, ...]:
    """Seconds from the end of each pour to the start of the next: None after the last, below 0 on overlap."""
    starts = [pour.starts_at_s for pour in plan.pours[1:]] + [None]
    return tuple(
        None if end is None or start is None else start - end
        for end, start in zip(ends_at_s(plan), starts[: len(plan.pours)], strict=True)
    )


def timeline(plan: PourPlan) -> list[tuple[float, float]]:
    """Corners of water poured (g) against time (s); a pour with a number missing is passed over."""
    points = [(0.0, 0.0)]
    for pour, added, end in zip(plan.pours, added_g(plan), ends_at_s(plan), strict=True):
        if pour.starts_at_s is None or pour.to_g is None or added is None or end is None:
            continue
        for point in ((pour.starts_at_s, pour.to_g - added), (end, pour.to_g)):
            if point != points[-1]:
                points.append(point)
    return points
