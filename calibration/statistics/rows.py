"""Rows of numbers and of labels, checked once for every statistic. Rows are counted from 1 in what is said."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewbar.words import gettext as _

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]
Labels = Sequence[Hashable] | NDArray[Any]


def finite(values: ArrayLike, least: int = 1) -> Floats:
    """The values as an array of shape (n,). ValueError names the first row that is no number, or says there are
    fewer than ``least``."""
    try:
        x = np.asarray(values, dtype=float)
    except (TypeError, ValueError) as error:
        raise ValueError(_not_a_number(values)) from error
    if x.ndim != 1:
        raise ValueError(_("The values must be a single column."))
    if len(x) < least:
        raise ValueError(
            _("At least %(least)d values are needed; there are %(n)d.") % {"least": least, "n": len(x)}
            if least > 1
            else _("Enter at least one value.")
        )
    wrong = ~np.isfinite(x)
    if wrong.any():
        raise ValueError(_not_in_row(int(wrong.argmax()) + 1))
    return x


def _not_a_number(values: ArrayLike) -> str:
    for row, value in enumerate(values if isinstance(values, Sequence | np.ndarray) else (), 1):
        try:
            float(value)
        except (TypeError, ValueError):
            return _not_in_row(row)
    return _("Every value must be a number.")


def _not_in_row(row: int) -> str:
    return _("The value in row %(row)d is not a number.") % {"row": row}


def codes(labels: Labels, n: int, column: str) -> tuple[Codes, tuple[Hashable, ...]]:
    """Whole numbers from 0 for the labels, shape (n,), and the labels in the order in which they first appear."""
    if len(labels) != n:
        raise ValueError(
            _("Every value needs its %(column)s: there are %(n)d values and %(labels)d of %(column)s.")
            % {"column": column, "n": n, "labels": len(labels)}
        )
    if isinstance(labels, np.ndarray) and labels.dtype.kind in "iu" and np.can_cast(labels.dtype, np.int64):
        return _whole_codes(labels.astype(np.int64, copy=False))
    seen: dict[Hashable, int] = {}
    listed = labels.tolist() if isinstance(labels, np.ndarray) else labels
    numbered = np.empty(n, dtype=np.intp)
    for row, label in enumerate(listed):
        if label is None or label != label or label == "":
            raise ValueError(_("Row %(row)d has no %(column)s.") % {"row": row + 1, "column": column})
        numbered[row] = seen.setdefault(label, len(seen))
    return numbered, tuple(seen)


def _whole_codes(labels: NDArray[np.int64]) -> tuple[Codes, tuple[Hashable, ...]]:
    if len(labels) == 0:
        return np.empty(0, dtype=np.intp), ()
    low, high = int(labels.min()), int(labels.max())
    if high - low <= 4 * len(labels) + 1000:
        # a table in place of a sort; written from the end, so that the first of each stays
        shifted = labels - low
        first = np.full(high - low + 1, -1)
        first[shifted[::-1]] = np.arange(len(labels))[::-1]
        present = np.flatnonzero(first >= 0)
        order = present[np.argsort(first[present])]
        table = np.empty(high - low + 1, dtype=np.intp)
        table[order] = np.arange(len(order))
        return table[shifted], tuple((order + low).tolist())
    found, firsts, where = np.unique(labels, return_index=True, return_inverse=True)
    order = np.argsort(firsts)
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    return place[where], tuple(found[order].tolist())


def level(coverage: float) -> float:
    """The coverage of an interval, refused unless it lies between 0 and 1."""
    if not 0 < coverage < 1:
        raise ValueError(_("The coverage of an interval lies between 0 and 1, such as 0.95."))
    return coverage
