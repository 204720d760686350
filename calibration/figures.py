"""What the figures of this room share, as plain dicts for plotly. Colours of ink and paper are set by the page.

The colours of data are of the set by Okabe and Ito, 2008, Color Universal Design, which stay apart for colour-blind
eyes; shapes tell the same again.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from math import ceil
from typing import Any

from django.utils.translation import gettext as _

from brewbar import dates
from brewbar.units import style
from calibration.drift import Measure

BLUE, VERMILION, GREEN, ORANGE, GREY = "#0072B2", "#D55E00", "#009E73", "#E69F00", "#8A8A8A"

STATES = {
    "inside": (GREEN, "circle"),
    "close": (ORANGE, "diamond"),
    "high": (VERMILION, "triangle-up"),
    "low": (VERMILION, "triangle-down"),
    "none": (GREY, "circle-open"),
    "few": (GREY, "circle-open"),
}

MOST_TICKS = 8
AIR = 0.08
"""Share of an axis that stays free beyond the outermost value."""

Figure = dict[str, Any]


def axis_of(measure: Measure, values: Iterable[float | None]) -> Figure:
    """The axis of a measure, wide enough for every value, with some air around them."""
    low, high = reach(values)
    axis: Figure = {"title": {"text": f"{measure.label}, {measure.unit}"}, "range": [low, high], **FIXED}
    if not measure.is_time:
        return axis | {"tickformat": f".{measure.decimals}f"}
    step = next((step for step in (5, 15, 30, 60, 120) if (high - low) / step <= MOST_TICKS), 300)
    ticks = list(range(ceil(low / step) * step, int(high) + 1, step))
    return axis | {
        "title": {"text": _("%(measure)s, m:ss") % {"measure": measure.label}},
        "tickvals": ticks,
        "ticktext": [measure.shown(tick) for tick in ticks],
    }


def axis_apart(measure: Measure, title: str, values: Iterable[float | None]) -> Figure:
    """The axis of a difference, which stays in seconds for a time."""
    return {
        "title": {"text": f"{title}, {measure.unit}"},
        "range": list(reach([*values, 0.0])),
        "tickformat": "+.2~f" if measure.key == "tds" else "+~g",
        **FIXED,
    }


FIXED: Figure = {"zeroline": False, "automargin": True, "fixedrange": True}


def reach(values: Iterable[float | None]) -> tuple[float, float]:
    known = [value for value in values if value is not None]
    if not known:
        return 0.0, 1.0  # nothing to show: any axis will do
    air = AIR * (max(known) - min(known)) or 1.0
    return min(known) - air, max(known) + air


def axis_of_days(first: date, last: date) -> Figure:
    step = max(1, ceil(((last - first).days + 1) / MOST_TICKS))
    days = [first + timedelta(days=shift) for shift in range(0, (last - first).days + 1, step)]
    return {
        "type": "date",
        "range": [noon(first, -1), noon(last, 0)],
        "tickvals": [day.isoformat() for day in days],
        "ticktext": [dates.day(day) for day in days],
        "automargin": True,
        "fixedrange": True,
    }


def noon(day: date, shift: int) -> str:
    """Half a day beside ``day``, so that the first and the last points stand clear of the edge."""
    return f"{day + timedelta(days=shift)}T12:00"


def band(colour: str = GREEN, opacity: float = 0.16, dash: str = "solid", **where: Any) -> Figure:
    """A filled box with an outline that also shows in black and white."""
    return {
        "type": "rect",
        "layer": "below",
        "fillcolor": colour,
        "opacity": opacity,
        "line": {"width": 1.5, "color": colour, "dash": dash},
    } | where


def layout(**more: Any) -> Figure:
    return {
        "margin": {"l": 8, "r": 8, "t": 56, "b": 8},
        "showlegend": True,
        # For the decimals, then for thousands: a narrow space, which no decimal mark is.
        "separators": f"{style().decimal_mark}\N{NARROW NO-BREAK SPACE}",
        # Above the drawing, where no axis title is in its way.
        "legend": {"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0, "xanchor": "left"},
        "hovermode": "closest",
        "dragmode": False,
        "height": 420,
        "shapes": [],
        "annotations": [],
    } | more


def points(name: str, x: list[Any], y: list[Any], told: list[str], marker: Figure, **more: Any) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": x,
        "y": y,
        "marker": marker,
        "text": told,
        "hovertemplate": "%{text}<extra></extra>",
    } | more
