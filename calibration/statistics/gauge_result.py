"""What a gauge study comes to, whichever way its variances were found. See `gauge`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Any

from brewbar.words import gettext as _
from calibration.statistics.mean_squares import Interval

CATEGORIES_FACTOR = 1.41  # AIAG 2010, chapter II, section D: √2 as printed there
COMPONENTS = ("part", "operator", "interaction", "residual")
SPREADS = {
    "residual": "repeatability",
    "reproducibility": "reproducibility",
    "grr": "grr",
    "part": "part_sd",
}


@dataclass(frozen=True, slots=True)
class Gauge:
    """A gauge study, in the unit of the values; shares in per cent. None where something cannot be told.

    n: values; parts, operators: how many; repeats: in each cell, None if unequal.
    method: "mean squares" or "restricted likelihood".
    sums_of_squares, degrees_of_freedom, mean_squares: of part, operator, interaction and error, before pooling.
    f: part and operator over the interaction's mean square, the interaction over the error's; p: of these.
    f_over_error: part and operator over the error's mean square; f_pooled: over error and interaction taken
    together, empty unless pooled. Without mean squares, f and p are of the interaction alone and the others empty.
    interaction_pooled: whether the interaction went into the residual.
    components: variances of part, operator, interaction and residual, 0 where an estimate would be negative and for an
    interaction that was pooled;
    raw: the same before that cut. repeatability, reproducibility, grr, part_sd, total: standard deviations, of one
    operator's repeats, of operators with their interaction, of both together, of the parts, of everything.
    intervals: of the first four of these by name, where they are known.
    grr_contribution_pct: grr²/total²; grr_variation_pct: grr/total; distinct_categories: how many groups of parts
    the gauge can tell apart, 1.41·part_sd/grr cut to a whole number; categories: before the cut.
    notes: what was left out or could not be told, and why.
    """

    n: int
    parts: int
    operators: int
    repeats: int | None
    method: str
    sums_of_squares: Mapping[str, float]
    degrees_of_freedom: Mapping[str, int]
    mean_squares: Mapping[str, float]
    f: Mapping[str, float]
    p: Mapping[str, float]
    f_over_error: Mapping[str, float]
    f_pooled: Mapping[str, float]
    interaction_pooled: bool
    components: Mapping[str, float | None]
    raw: Mapping[str, float]
    repeatability: float | None
    reproducibility: float | None
    grr: float | None
    part_sd: float | None
    total: float | None
    intervals: Mapping[str, Interval]
    grr_contribution_pct: float | None
    grr_variation_pct: float | None
    distinct_categories: int | None
    categories: float | None
    notes: tuple[str, ...]


def gauge_of(
    n: int,
    shape: tuple[int, int, int | None],
    sizes: Mapping[str, float],
    intervals: Mapping[str, Interval],
    method: str,
    **rest: Any,
) -> Gauge:
    """What follows from the components, however they were found."""
    parts, operators, repeats = shape
    notes = list(rest.pop("notes"))
    if "residual" not in sizes:
        notes.append(_("No part was measured twice by anybody, so the gauge's own spread cannot be told."))
    if operators == 1:
        notes.append(_("One operator alone says nothing of the spread between operators."))
    if parts == 1:
        notes.append(_("One part alone says nothing of the spread between parts."))
    residual, part = sizes.get("residual"), sizes.get("part")
    between = sizes["operator"] + sizes.get("interaction", 0.0) if "operator" in sizes else None
    hidden = operators > 1 and between is None
    grr = None if residual is None or hidden else residual + (between or 0.0)
    total = None if grr is None or part is None else grr + part
    categories = None if grr is None or part is None or grr == 0 else CATEGORIES_FACTOR * sqrt(part / grr)
    if grr == 0:
        notes.append(_("All repeats agree to the last digit, so the number of categories has no limit."))
    left_out = {"interaction": 0.0} if rest["interaction_pooled"] else {}
    share = None if grr is None or not total else grr / total
    return Gauge(
        n=n,
        parts=parts,
        operators=operators,
        repeats=repeats,
        method=method,
        components={name: sizes.get(name) for name in COMPONENTS} | left_out,
        repeatability=_root(residual),
        reproducibility=_root(between),
        grr=_root(grr),
        part_sd=_root(part),
        total=_root(total),
        intervals={SPREADS[name]: interval for name, interval in intervals.items()},
        grr_contribution_pct=None if share is None else 100 * share,
        grr_variation_pct=None if share is None else 100 * sqrt(share),
        distinct_categories=None if categories is None else int(categories),
        categories=categories,
        notes=tuple(notes),
        **rest,
    )


def _root(variance: float | None) -> float | None:
    return None if variance is None else sqrt(variance)
