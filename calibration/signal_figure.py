"""The chart of a signal as a plotly figure: a plain dict. What is told by colour is told by shape or dash too."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from brewbar import dates, units
from brewbar.units import style
from calibration.figures import AIR, BLUE, GREY, ORANGE, VERMILION, Figure
from calibration.signal_line import Line, Point

MOST_TICKS = 6


def of_line(line: Line) -> Figure:
    """Each day's brews as a point, their moving average as a line between its limits."""
    points = line.points
    outer = [] if line.outer is None else [_outer(line.outer), _outer(-line.outer)]
    return {
        "data": [
            _limit(points, 1),
            _limit(points, -1),
            _brews([point for point in points if not point.is_since], line, GREY, "circle-open", _("brews")),
            _brews(
                [point for point in points if point.is_since], line, ORANGE, "diamond", _("since it began")
            ),
            _average(points),
            _raised(points),
        ],
        "layout": {
            "margin": {"l": 8, "r": 8, "t": 56, "b": 8},
            "showlegend": True,
            "separators": f"{style().decimal_mark}\N{NARROW NO-BREAK SPACE}",
            "legend": {"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0, "xanchor": "left"},
            "hovermode": "closest",
            "dragmode": False,
            "height": 360,
            "xaxis": {"type": "date", "automargin": True, "fixedrange": True, **_ticks(points)},
            "yaxis": {
                "title": {"text": _("standard errors")},
                "range": _reach(line),
                "zeroline": True,
                "automargin": True,
                "fixedrange": True,
            },
            "shapes": outer,
        },
    }


def _days(points: tuple[Point, ...] | list[Point]) -> list[str]:
    return [point.day.isoformat() for point in points]


def _limit(points: tuple[Point, ...], side: int) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": _("limits of the average"),
        "showlegend": side > 0,
        "x": _days(points),
        "y": [side * point.limit for point in points],
        "line": {"color": VERMILION, "width": 1.5, "dash": "dash"},
        "hoverinfo": "skip",
    }


def _outer(at: float) -> Figure:
    """Beyond this a single day's brews signal by themselves."""
    line = {"color": VERMILION, "width": 1, "dash": "dot"}
    return {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": at, "y1": at, "line": line}


def _brews(points: list[Point], line: Line, colour: str, symbol: str, name: str) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": _days(points),
        "y": [point.z for point in points],
        "marker": {"color": colour, "symbol": symbol, "size": 8},
        "text": [f"{dates.day(point.day, weekday=True)}: {told(point, line)}" for point in points],
        "hovertemplate": "%{text}<extra></extra>",
    }


def _average(points: tuple[Point, ...]) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": _("moving average"),
        "x": _days(points),
        "y": [point.average for point in points],
        "line": {"color": BLUE, "width": 2.5},
        "hovertemplate": "%{y:.2f}<extra></extra>",
    }


def _raised(points: tuple[Point, ...]) -> Figure:
    raised = [point for point in points if point.is_raised]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": _("signalled"),
        "x": _days(raised),
        "y": [point.average for point in raised],
        "marker": {"color": VERMILION, "symbol": "x", "size": 13},
        "hoverinfo": "skip",
    }


def told(point: Point, line: Line) -> str:
    """How far a day's brews lay from what was foretold, in the unit of the measure."""
    sign = "−" if point.error < 0 else "+"
    size = abs(point.error)
    return f"{sign}{units.fixed(size, 0)} s" if line.measure == "time" else f"{sign}{units.percent(size, 2)}"


def _reach(line: Line) -> list[float]:
    values = [value for point in line.points for value in (point.z, point.limit, -point.limit)]
    values += [line.outer or 0.0, -(line.outer or 0.0)]
    air = AIR * (max(values) - min(values))
    return [min(values) - air, max(values) + air]


def _ticks(points: tuple[Point, ...]) -> dict[str, Any]:
    days = [point.day for point in points]
    step = max(1, -(-len(days) // MOST_TICKS))
    shown = days[::step]
    return {"tickvals": [day.isoformat() for day in shown], "ticktext": [dates.day(day) for day in shown]}
