"""Results as plotly figures: plain dicts. Colours of ink and paper are set by the page, which knows its scheme.

The colours of data are of the set by Okabe and Ito, 2008, Color Universal Design, which stay apart for colour-blind
eyes; shapes tell the same again.
"""

from __future__ import annotations

from datetime import date, timedelta
from math import ceil
from typing import Any

from django.utils.translation import gettext as _

from brewbar import dates
from brewbar.units import style
from calibration.drift import Brew, Row, Seen

BLUE, VERMILION, GREEN, ORANGE, GREY = "#0072B2", "#D55E00", "#009E73", "#E69F00", "#8A8A8A"

STATES = {
    "inside": (GREEN, "circle"),
    "close": (ORANGE, "diamond"),
    "high": (VERMILION, "triangle-up"),
    "low": (VERMILION, "triangle-down"),
    "none": (GREY, "circle-open"),
}

MOST_TICKS = 8
AIR = 0.08
"""Share of an axis that stays free beyond the outermost value."""

Figure = dict[str, Any]


def by_day(seen: Seen) -> Figure:
    """Every brew that may be shown, the mean of each day, and the target's band of each version."""
    data = [*_brews_by_day(seen)]
    if not seen.shows_single_brews or not _is_only_mine(seen):
        data.append(_means_by_day(seen))
    shapes = [_target(target.first, target.last, target.low, target.high) for target in seen.targets]
    if seen.band is not None:
        shapes.append(_crew_band(seen))
    return {
        "data": data,
        "layout": _layout(
            seen,
            xaxis={
                "type": "date",
                "range": [_noon(seen.asked.first, -1), _noon(seen.asked.last, 0)],
                **_day_ticks(seen.asked.first, seen.asked.last),
                "automargin": True,
                "fixedrange": True,
            },
            yaxis=_axis(seen),
            shapes=shapes,
            annotations=_versions(seen),
        ),
    }


def by_person(seen: Seen) -> Figure:
    """A line for each person: the brews where they may be shown, the mean, one standard deviation to each side."""
    people = seen.people[::-1]
    data = [*_brews_by_person(seen, people), _means_by_person(seen, people)]
    newest = max(seen.targets, key=lambda target: (target.last, target.version), default=None)
    shapes = [] if newest is None else [_box(x0=newest.low, x1=newest.high, y0=0, y1=1, yref="paper")]
    return {
        "data": data,
        "layout": _layout(
            seen,
            xaxis=_axis(seen),
            yaxis={"type": "category", "automargin": True, "fixedrange": True},
            shapes=shapes,
            annotations=[],
            height=150 + 44 * max(2, len(people)),
        ),
    }


def _brews_by_day(seen: Seen) -> list[Figure]:
    # One trace a verdict, so that the legend tells the shapes.
    return [
        _points(state, [brew.day.isoformat() for brew in brews], [brew.value for brew in brews], brews, seen)
        for state, brews in _by_state(seen)
    ]


def _means_by_day(seen: Seen) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": _("mean of the day"),
        "x": [row.group.key.isoformat() for row in seen.days],
        "y": [row.group.mean for row in seen.days],
        "line": {"color": BLUE, "width": 1.5},
        "marker": {"color": BLUE, "symbol": "line-ew-open", "size": 14, "line": {"width": 3}},
        "text": [f"{dates.day(row.group.key, weekday=True)}<br>{_told(seen, row)}" for row in seen.days],
        "hovertemplate": "%{text}<extra></extra>",
    }


def _brews_by_person(seen: Seen, people: tuple[Row, ...]) -> list[Figure]:
    names = {row.group.key for row in people}
    traces = []
    for state, brews in _by_state(seen):
        shown = [(brew, _whose(seen, brew)) for brew in brews if _whose(seen, brew) in names]
        traces.append(
            _points(
                state,
                [brew.value for brew, _n in shown],
                [n for _b, n in shown],
                [b for b, _n in shown],
                seen,
            )
        )
    return traces


def _means_by_person(seen: Seen, people: tuple[Row, ...]) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": _("mean ± one standard deviation"),
        "x": [row.group.mean for row in people],
        "y": [row.group.key for row in people],
        "marker": {"color": BLUE, "symbol": "line-ns-open", "size": 22, "line": {"width": 4}},
        "error_x": {
            "type": "data",
            "array": [row.group.sd or 0 for row in people],
            "color": BLUE,
            "thickness": 2,
            "width": 6,
        },
        "text": [_told(seen, row) for row in people],
        "hovertemplate": "%{y}<br>%{text}<extra></extra>",
    }


def _by_state(seen: Seen) -> list[tuple[str, list[Brew]]]:
    groups: dict[str, list[Brew]] = {}
    for brew in seen.brews:
        groups.setdefault(brew.state, []).append(brew)
    return [(state, groups[state]) for state in STATES if state in groups]


def _points(state: str, x: list[Any], y: list[Any], brews: list[Brew], seen: Seen) -> Figure:
    colour, symbol = STATES[state]
    measure = seen.asked.measure
    names = {
        "inside": _("inside"),
        "close": _("too close to call"),
        "high": _("outside, high"),
        "low": _("outside, low"),
        "none": _("not judged"),
    }
    told = [
        " · ".join(
            part
            for part in (f"{measure.shown(brew.value)} {_unit(seen)}".strip(), brew.person, names[state])
            if part
        )
        for brew in brews
    ]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": names[state],
        "x": x,
        "y": y,
        "marker": {"color": colour, "symbol": symbol, "size": 8, "opacity": 0.75},
        "text": told,
        "hovertemplate": "%{text}<extra></extra>",
    }


def _whose(seen: Seen, brew: Brew) -> str:
    if brew.person is not None:
        return brew.person
    return next((row.group.key for row in seen.people if row.is_mine), "") if brew.is_mine else ""


def _is_only_mine(seen: Seen) -> bool:
    return all(brew.is_mine and brew.person is None for brew in seen.brews)


def _told(seen: Seen, row: Row) -> str:
    measure = seen.asked.measure
    brews = _("n = %(n)d") % {"n": row.group.n}
    return f"{measure.shown(row.group.mean)} {_unit(seen)} · {brews}"


def _unit(seen: Seen) -> str:
    return "" if seen.asked.measure.key == "time" else seen.asked.measure.unit


def _axis(seen: Seen) -> Figure:
    """The axis of the measure, wide enough for every value and the target, with some air around them."""
    measure = seen.asked.measure
    low, high = _reach(seen)
    axis: Figure = {
        "title": {"text": f"{measure.label}, {measure.unit}"},
        "range": [low, high],
        "zeroline": False,
        "automargin": True,
        "fixedrange": True,
    }
    if measure.key != "time":
        return axis | {"tickformat": f".{measure.decimals}f"}
    step = next((step for step in (15, 30, 60, 120) if (high - low) / step <= MOST_TICKS), 300)
    ticks = list(range(ceil(low / step) * step, int(high) + 1, step))
    return axis | {
        "title": {"text": _("%(measure)s, m:ss") % {"measure": measure.label}},
        "tickvals": ticks,
        "ticktext": [measure.shown(tick) for tick in ticks],
    }


def _reach(seen: Seen) -> tuple[float, float]:
    values = [brew.value for brew in seen.brews] + [row.group.mean for row in seen.days]
    for row in seen.people:
        values += [row.group.mean - (row.group.sd or 0), row.group.mean + (row.group.sd or 0)]
    values += [edge for target in seen.targets for edge in (target.low, target.high)] + list(seen.band or ())
    if not values:
        return 0.0, 1.0  # nothing to show: any axis will do
    air = AIR * (max(values) - min(values)) or 1.0
    return min(values) - air, max(values) + air


def _day_ticks(first: date, last: date) -> Figure:
    step = max(1, ceil(((last - first).days + 1) / MOST_TICKS))
    days = [first + timedelta(days=shift) for shift in range(0, (last - first).days + 1, step)]
    return {"tickvals": [day.isoformat() for day in days], "ticktext": [dates.day(day) for day in days]}


def _noon(day: date, shift: int) -> str:
    """Half a day beside ``day``, so that the first and the last points stand clear of the edge."""
    return f"{day + timedelta(days=shift)}T12:00"


def _box(**where: Any) -> Figure:
    """The target's band: an outline that also shows in black and white."""
    return {
        "type": "rect",
        "layer": "below",
        "fillcolor": GREEN,
        "opacity": 0.16,
        "line": {"width": 1.5, "color": GREEN},
    } | where


def _target(first: date, last: date, low: float, high: float) -> Figure:
    return _box(x0=_noon(first, -1), x1=_noon(last, 0), y0=low, y1=high)


def _crew_band(seen: Seen) -> Figure:
    low, high = seen.band or (0, 0)
    return {
        "type": "rect",
        "layer": "below",
        "fillcolor": GREY,
        "opacity": 0.22,
        "line": {"width": 1, "dash": "dot", "color": GREY},
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "y0": low,
        "y1": high,
    }


def _versions(seen: Seen) -> list[Figure]:
    return [
        {
            "x": _noon(target.first, -1),
            "y": target.high,
            "text": _("target of version %(n)d") % {"n": target.version},
            "showarrow": False,
            "xanchor": "left",
            "yanchor": "bottom",
            "font": {"size": 12},
        }
        for target in seen.targets
    ]


def _layout(seen: Seen, **more: Any) -> Figure:
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
    } | more
