"""Values by group: how many, their mean and their spread.

Symbols: n values x, mean m = Σx / n, standard deviation s = √(Σ(x − m)² / (n − 1)).
NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.1 (mean) and 1.3.5.6 (standard deviation).
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True)
class Group(Generic[Key]):
    """One group's values, in the unit of the values.

    key: whose they are; n: how many; mean, lowest, highest; sd: standard deviation, None for a single value.
    """

    key: Key
    n: int
    mean: float
    sd: float | None
    lowest: float
    highest: float


def summarise(values: Sequence[float], keys: Sequence[Key]) -> tuple[Group[Key], ...]:
    """One Group for each key, in the order in which the keys first appear.

    values: shape (n,); keys: one for each value. Raises ValueError if their lengths differ or a value is not finite.
    """
    if len(values) != len(keys):
        raise ValueError("Every value needs its key.")
    x = np.asarray(values, dtype=float)
    if not np.isfinite(x).all():
        raise ValueError("Every value must be a number.")
    rows: dict[Key, list[int]] = {}
    for row, key in enumerate(keys):
        rows.setdefault(key, []).append(row)
    return tuple(_group(key, x[indices]) for key, indices in rows.items())


def _group(key: Key, x: np.ndarray) -> Group[Key]:
    sd = float(x.std(ddof=1)) if len(x) > 1 else None
    return Group(key, len(x), float(x.mean()), sd, float(x.min()), float(x.max()))


def middle(values: Sequence[float], share: float = 0.8) -> tuple[float, float] | None:
    """Between which two values the middle ``share`` of them lies; None without any.

    Quantiles by linear interpolation: Hyndman and Fan 1996, The American Statistician 50:361, definition 7.
    Raises ValueError unless 0 < share <= 1.
    """
    if not 0 < share <= 1:
        raise ValueError("A share lies between 0 and 1.")
    if len(values) == 0:
        return None
    low, high = np.quantile(np.asarray(values, dtype=float), [(1 - share) / 2, (1 + share) / 2])
    return float(low), float(high)
