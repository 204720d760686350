"""What an instrument's checks were wrong by, as a plotly figure: a plain dict."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext as _

from brewbar import dates, units
from brewbar.units import style
from calibration.check_errors import Errors, Point
from calibration.figures import AIR, BLUE, GREEN, GREY, ORANGE, VERMILION, Figure

LOOKS = {"passed": (GREEN, "circle"), "close": (ORANGE, "diamond"), "failed": (VERMILION, "x")}
WATER_LOOKS = {
    "passed": (BLUE, "circle-open"),
    "close": (ORANGE, "diamond-open"),
    "failed": (VERMILION, "x-open"),
}
LEAST_REACH = 0.05
"""% TDS to each side of 0: a few good checks are not blown up."""


def over_time(errors: Errors) -> Figure:
    """Standards with their U, water as small rings; what passes as a band, the scatter's own limits as lines."""
    reach = _reach(errors)
    return {
        "data": [*_waters(errors), *_standards(errors)],
        "layout": {
            "margin": {"l": 8, "r": 8, "t": 56, "b": 8},
            "showlegend": True,
            "separators": f"{style().decimal_mark}\N{NARROW NO-BREAK SPACE}",
            "legend": {"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0, "xanchor": "left"},
            "hovermode": "closest",
            "dragmode": False,
            "height": 380,
            "xaxis": {"type": "date", "automargin": True, "fixedrange": True, **_ticks(errors)},
            "yaxis": {
                "title": {"text": _("Read less expected, % TDS")},
                "range": [-reach, reach],
                "tickformat": "+.2f",
                "zeroline": True,
                "automargin": True,
                "fixedrange": True,
            },
            "shapes": [_passing(errors.bound), *_lines(errors)],
        },
    }


def _ticks(errors: Errors) -> Figure:
    days = sorted({point.at.date() for point in errors.points})
    few = days[:: max(1, -(-len(days) // 6))]
    return {"tickvals": [day.isoformat() for day in few], "ticktext": [dates.day(day) for day in few]}


def _waters(errors: Errors) -> Iterator[Figure]:
    for state, (colour, symbol) in WATER_LOOKS.items():
        points = [point for point in errors.waters if point.state == state]
        if points:
            name = _("distilled water, %(verdict)s") % {"verdict": points[0].word}
            yield _trace(
                name, points, {"color": colour, "symbol": symbol, "size": 6 if state == "passed" else 9}
            )


def _standards(errors: Errors) -> Iterator[Figure]:
    for state, (colour, symbol) in LOOKS.items():
        points = [point for point in errors.standards if point.state == state]
        if points:
            name = _("check standard, %(verdict)s") % {"verdict": points[0].word}
            spread = {
                "type": "data",
                "array": [point.U or 0 for point in points],
                "color": colour,
                "width": 4,
            }
            yield _trace(name, points, {"color": colour, "symbol": symbol, "size": 10}) | {"error_y": spread}


def _trace(name: str, points: list[Point], marker: Figure) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": [point.at.strftime("%Y-%m-%dT%H:%M") for point in points],
        "y": [round(point.error, 3) for point in points],
        "marker": marker,
        "text": [f"{dates.moment(point.at)}: {_signed(point.error)}, {point.word}" for point in points],
        "hovertemplate": "%{text}<extra></extra>",
    }


def _signed(error: float) -> str:
    return ("+" if error > 0 else "") + units.percent(error, 3)


def _passing(bound: float) -> Figure:
    return {
        "type": "rect",
        "layer": "below",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "y0": -bound,
        "y1": bound,
        "fillcolor": GREEN,
        "opacity": 0.16,
        "line": {"width": 1.5, "color": GREEN},
    }


def _lines(errors: Errors) -> Iterator[Figure]:
    if errors.unclear_to is not None:
        yield from (_line(side * errors.unclear_to, VERMILION, "dash") for side in (-1, 1))
    chart = errors.limits
    if chart is not None:
        for y in (chart.low, chart.centre, chart.high):
            if isinstance(y, float):
                yield _line(y, GREY, "dot" if y != chart.centre else "solid")


def _line(y: float, colour: str, dash: str) -> Figure:
    line = {"color": colour, "width": 1.5, "dash": dash}
    return {
        "type": "line",
        "layer": "below",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "y0": y,
        "y1": y,
        "line": line,
    }


def _reach(errors: Errors) -> float:
    """To each side alike, so that nobody mistakes the middle. A first standard's long bar may run off the page."""
    air = errors.unclear_to or errors.bound
    return (1 + AIR) * max([LEAST_REACH, air, *(abs(point.error) + air for point in errors.points)])
