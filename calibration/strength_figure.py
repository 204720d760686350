"""The strength–yield chart as a plotly figure: a plain dict. What is told by colour is told by shape or dash too."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.utils.translation import gettext as _

from brewbar import dates, units
from brewbar.units import style
from calibration.figures import AIR, BLUE, GREEN, GREY, VERMILION, Figure
from calibration.statistics.together import ellipse
from calibration.statistics.uncertainty import COVERAGE_K
from calibration.strength import Box, Interval, Point, Seen
from recipes.brewing.ratio_lines import RatioLine, View, line_in, whole_ratios_in

PURPLE = "#CC79A7"
LEAST_SPAN = View(ey_pct=(0, 3.0), tds_pct=(0, 0.2))
"""A view no narrower than this: a few alike brews are not blown up."""
DIGITS = 4


def by_yield(seen: Seen) -> Figure:
    """Yield to the right, TDS upward: boxes and lines below, then ellipses, then every point."""
    view = view_of(seen)
    lines = _lines(seen, view)
    return {
        "data": [
            *([_box(_band_box(seen), view, PURPLE, "dash", 0.08)] if seen.published else []),
            *(_box(target, view, GREEN, "solid", 0.16) for target in seen.targets),
            *([_box(seen.crew, view, GREY, "dot", 0.14)] if seen.crew else []),
            *(_line(line, is_plan) for line, is_plan in lines),
            _ellipses(seen),
            *_points(seen),
        ],
        "layout": {
            "margin": {"l": 8, "r": 48, "t": 64, "b": 8},
            "showlegend": True,
            "separators": f"{style().decimal_mark}\N{NARROW NO-BREAK SPACE}",
            # Above the labels of the lines that end at the upper edge.
            "legend": {"orientation": "h", "y": 1.07, "yanchor": "bottom", "x": 0, "xanchor": "left"},
            "hovermode": "closest",
            "dragmode": False,
            "height": 560,
            "xaxis": _axis(_("Extraction yield, %"), view.ey_pct),
            "yaxis": _axis(_("TDS, %"), view.tds_pct) | {"tickformat": ".2f"},
            "annotations": [_label(line) for line, _is_plan in lines],
        },
    }


def view_of(seen: Seen) -> View:
    """Wide enough for every point, every ellipse that is drawn, and every box, with some air around them."""
    boxes = [
        *seen.targets,
        *([_band_box(seen)] if seen.published else []),
        *([seen.crew] if seen.crew else []),
    ]
    ey = [edge for box in boxes for edge in box.ey_pct or ()]
    tds = [edge for box in boxes for edge in box.tds_pct or ()]
    for point in seen.points:
        ey.append(point.known.ey_pct)
        tds.append(point.known.tds_pct)
    for point in seen.newest:
        ey += [point.known.ey_pct + side * COVERAGE_K * point.known.u_ey for side in (-1, 1)]
        tds += [point.known.tds_pct + side * COVERAGE_K * point.known.u_tds for side in (-1, 1)]
    return View(_reach(ey, LEAST_SPAN.ey_pct[1]), _reach(tds, LEAST_SPAN.tds_pct[1]))


def _reach(values: list[float], least: float) -> Interval:
    low, high = min(values, default=0.0), max(values, default=0.0)
    air = max(AIR * (high - low), (least - (high - low)) / 2)
    return max(0.0, low - air), high + air


def _band_box(seen: Seen) -> Box:
    assert seen.published is not None
    return Box.of_band(seen.published)


def _box(box: Box, view: View, colour: str, dash: str, filled: float) -> Figure:
    """An outline with a faint ground; where only one quantity is set, a strip across the view."""
    left, right = box.ey_pct or view.ey_pct
    low, high = box.tds_pct or view.tds_pct
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return {
        "type": "scatter",
        "mode": "lines",
        "name": box.label,
        "x": [left, right, right, left, left],
        "y": [low, low, high, high, low],
        "line": {"color": colour, "width": 2, "dash": dash},
        "fill": "toself",
        "fillcolor": f"rgba({red},{green},{blue},{filled})",
        "hoverinfo": "skip",
    }


def _lines(seen: Seen, view: View) -> list[tuple[RatioLine, bool]]:
    """Of each planned ratio, and of whole ratios in between."""
    ratios = [(ratio, True) for ratio in seen.ratios]
    ratios += [(ratio, False) for ratio in whole_ratios_in(view, seen.ratios)]
    drawn = ((line_in(view, ratio), is_plan) for ratio, is_plan in sorted(ratios))
    return [(line, is_plan) for line, is_plan in drawn if line is not None]


def _line(line: RatioLine, is_plan: bool) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": _ratio(line),
        "x": _rounded(line.ey_pct),
        "y": _rounded(line.tds_pct),
        "line": {"color": GREY, "width": 2 if is_plan else 1, "dash": "longdash" if is_plan else "dot"},
        "hoverinfo": "skip",
        "showlegend": False,
    }


def _label(line: RatioLine) -> Figure:
    """At the end of its line: above the view where it leaves there, else beside it."""
    where = (
        {"x": line.ey_pct[-1], "y": 1, "yref": "paper", "yanchor": "bottom", "xanchor": "center"}
        if line.ends_above
        else {"x": 1, "xref": "paper", "y": line.tds_pct[-1], "xanchor": "left", "yanchor": "middle"}
    )
    return where | {
        "text": _ratio(line),
        "showarrow": False,
        "font": {"size": 13},
    }


def _ratio(line: RatioLine) -> str:
    """1:16.7, and 1:17 for a whole one."""
    return f"1:{units.trimmed(line.ratio, 1)}"


def _ellipses(seen: Seen) -> Figure:
    """All in one trace, with a gap after each."""
    x: list[float | None] = []
    y: list[float | None] = []
    for point in seen.newest:
        around = ellipse(point.known, COVERAGE_K)
        x += [*_rounded(ey for ey, _tds in around), None]
        y += [*_rounded(tds for _ey, tds in around), None]
    return {
        "type": "scatter",
        "mode": "lines",
        "name": _("uncertainty (k = 2)"),
        "x": x,
        "y": y,
        "line": {"color": BLUE, "width": 1},
        "opacity": 0.65,
        "hoverinfo": "skip",
    }


def _points(seen: Seen) -> list[Figure]:
    # One trace a shape, so that the legend tells them.
    names = (
        {True: _("mean of a day"), False: _("mean of a day, some not weighed")}
        if seen.is_means
        else {True: _("a brew, weighed"), False: _("a brew, not weighed")}
    )
    shapes = {True: (BLUE, "circle"), False: (VERMILION, "diamond-open")}
    traces = []
    for weighed in (True, False):
        points = [point for point in seen.points if point.weighed is weighed]
        colour, symbol = shapes[weighed]
        if points:
            traces.append(
                {
                    "type": "scatter",
                    "mode": "markers",
                    "name": names[weighed],
                    "x": _rounded(point.known.ey_pct for point in points),
                    "y": _rounded(point.known.tds_pct for point in points),
                    "marker": {
                        "color": colour,
                        "symbol": symbol,
                        "size": 8 if weighed else 11,
                        "opacity": 0.85,
                        "line": {"color": colour, "width": 1 if weighed else 2},
                    },
                    "text": [_told(point) for point in points],
                    "hovertemplate": "%{text}<extra></extra>",
                }
            )
    return traces


def _told(point: Point) -> str:
    figures = _("TDS %(tds)s %%, yield %(ey)s %%") % {
        "tds": units.fixed(point.known.tds_pct, 2),
        "ey": units.fixed(point.known.ey_pct, 1),
    }
    head = [dates.day(point.day, weekday=True), point.person or ""]
    if point.n > 1:
        head.append(_("n = %(n)d") % {"n": point.n})
    lines = [" · ".join(part for part in head if part), figures]
    lines.append(_("target: %(says)s") % {"says": point.target.says})
    if point.band:
        lines.append(_("band: %(says)s") % {"says": point.band.says})
    return "<br>".join(lines)


def _axis(title: str, span: Interval) -> dict[str, Any]:
    return {
        "title": {"text": title},
        "range": list(span),
        "zeroline": False,
        "automargin": True,
        "fixedrange": True,
    }


def _rounded(values: Iterable[float]) -> list[float]:
    return [round(value, DIGITS) for value in values]
