"""What a control chart watches for, as settings that are checked once.

Everything is in units of σ, the standard deviation of a single reading about a quiet centre; readings are normal
and independent of each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, sqrt
from typing import Literal

import numpy as np

from brewbar.words import gettext as _
from calibration.statistics.chart_constants import constants
from calibration.statistics.rows import Floats
from calibration.statistics.run_rules import Rules

# d2(2) + 3 d3(2): the usual limit of a moving range, D4 times its mean
MOVING_RANGE_LIMIT = constants(2).d2 * constants(2).D4


def _positive(name: str, value: float) -> None:
    if not (isfinite(value) and value > 0):
        raise ValueError(_("%(name)s must be a number above 0.") % {"name": name})


@dataclass(frozen=True, slots=True)
class Individuals:
    """Single readings beyond ``width``, and differences of neighbours above ``moving_range``; None for none."""

    width: float = 3.0
    moving_range: float | None = MOVING_RANGE_LIMIT

    def __post_init__(self) -> None:
        _positive(_("The width of the limits"), self.width)
        if self.moving_range is not None:
            _positive(_("The limit of the moving range"), self.moving_range)


@dataclass(frozen=True, slots=True)
class Averages:
    """Means of n readings beyond ``width`` standard errors, and their range ("R") or standard deviation ("S")
    beyond limits as wide; ``spread`` None for none."""

    n: int
    width: float = 3.0
    spread: Literal["R", "S"] | None = "R"

    def __post_init__(self) -> None:
        _positive(_("The width of the limits"), self.width)
        if self.n < 1:
            raise ValueError(_("A group has at least one reading."))
        if self.spread is not None:
            constants(self.n)


@dataclass(frozen=True, slots=True)
class Ewma:
    """Exponentially weighted moving average from the centre: beyond ``width`` of its own standard deviations, the
    long-run one if ``steady``, else that of its age; and single readings beyond ``outer``, None for none."""

    lambda_: float = 0.2
    width: float = 2.962
    outer: float | None = None
    steady: bool = True

    def __post_init__(self) -> None:
        if not 0 < self.lambda_ <= 1:
            raise ValueError(_("The weight of the latest reading lies above 0 and is at most 1."))
        _positive(_("The width of the limits"), self.width)
        if self.outer is not None:
            _positive(_("The outer limit"), self.outer)

    def limits(self, n: int) -> Floats:
        """Half widths of the limits at readings 1 to n: Lucas and Saccucci 1990, eq. 2. Shape (n,)."""
        settling = 0.0 if self.steady else (1 - self.lambda_) ** (2.0 * np.arange(1, n + 1))
        return np.broadcast_to(self.limit * np.sqrt(1 - settling), n)

    @property
    def limit(self) -> float:
        """The half width that the limits come to in the long run."""
        return self.width * sqrt(self.lambda_ / (2 - self.lambda_))


@dataclass(frozen=True, slots=True)
class Cusum:
    """Sums of what exceeds the centre by more than ``k`` on either side, each from 0, beyond ``h``."""

    k: float = 0.5
    h: float = 4.0

    def __post_init__(self) -> None:
        if not (isfinite(self.k) and self.k >= 0):
            raise ValueError(_("The allowance k must be 0 or more."))
        _positive(_("The decision limit h"), self.h)


Scheme = Individuals | Averages | Ewma | Cusum | Rules
