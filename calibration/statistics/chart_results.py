"""What a control chart comes to: its points, lines and signals. Results know nothing of how they are drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from brewbar.words import gettext as _
from calibration.statistics import run_rules
from calibration.statistics.schemes import Scheme

Line = float | tuple[float | None, ...]  # one number, or one a point: None where a group of one has none
Spread = Literal["moving range", "R", "S"]


@dataclass(frozen=True, slots=True)
class Signal:
    """index: of the reading or group, from 1; rule: "beyond" the limits, "outer" limit, "within" (the spread's
    own limits), "high" or "low" arm, or a run rule such as "western-electric 2"."""

    index: int
    rule: str

    @property
    def words(self) -> str:
        """What was seen, to follow the reading's name."""
        match self.rule:
            case "beyond":
                return _("beyond the limits")
            case "outer":
                return _("a single reading beyond the outer limit")
            case "within":
                return _("the spread beyond its limits")
            case "high":
                return _("readings add up to a rise")
            case "low":
                return _("readings add up to a fall")
            case _:
                return run_rules.words(self.rule)


@dataclass(frozen=True, slots=True)
class Within:
    """The chart of spread below a chart of readings, in the unit of the values.

    spread: which; points: one a reading or group, None where there is none (the first moving range, a group of
    one); centre, low, high: its lines, one number or one a point.
    """

    spread: Spread
    points: tuple[float | None, ...]
    centre: Line
    low: Line
    high: Line


@dataclass(frozen=True, slots=True)
class Chart:
    """A control chart, in the unit of the values.

    values: the readings, or the means of groups; points: what is drawn, the moving average for an EWMA, else the
    values; groups: their names, () for single readings; centre: the target, or the mean; sigma: standard deviation
    of one reading, given or estimated; low, high: limits, one number or one a point; for a CUSUM -h·σ and h·σ, the
    limits of its sums; within: the chart of spread; high_side, low_side: a CUSUM's sums, both from 0 up;
    outer_low, outer_high: limits of a single reading beside an EWMA; signals: in order of the readings; scheme: what
    `average_run_length` takes to say how often chance alone signals, None where that is not known exactly.
    Where σ cannot be estimated, it and all limits are None and `reason` says why; else `reason` is "".
    """

    kind: Literal["imr", "xbar-r", "xbar-s", "ewma", "cusum"]
    values: tuple[float, ...]
    points: tuple[float, ...]
    centre: float
    sigma: float | None
    low: Line | None = None
    high: Line | None = None
    groups: tuple[object, ...] = ()
    within: Within | None = None
    high_side: tuple[float, ...] | None = None
    low_side: tuple[float, ...] | None = None
    outer_low: float | None = None
    outer_high: float | None = None
    signals: tuple[Signal, ...] = ()
    scheme: Scheme | None = None
    reason: str = ""
