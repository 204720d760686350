"""A report's figures for the screen: plain dicts for plotly. What is told by colour is told by shape too."""

from __future__ import annotations

from html import escape
from textwrap import wrap
from typing import Any

from django.utils.translation import gettext as _

from brewbar import dates, units
from calibration import report_axes
from calibration.figures import (
    BLUE,
    FIXED,
    GREEN,
    GREY,
    STATES,
    VERMILION,
    Figure,
    band,
    layout,
    noon,
    points,
)
from calibration.report_axes import Axis
from calibration.report_words import mark_names, written
from calibration.reporting import result
from calibration.reporting.result import Bar, Bars, Days, Point

LABEL = 17
"""So many letters of a label stand in a line, so that a phone has room for the figure as well."""
LABEL_LINES = 3
PLAIN = (BLUE, "circle")
LINE_PX = 19
ABOVE = 0.45
"""How far what is now stands above the middle of its row, and what was before under it, in lines."""


def drawn(figure: result.Figure) -> Figure:
    match figure:
        case Bars():
            return of_bars(figure)
        case Days():
            return of_days(figure)


# --- lines with an interval each


def of_bars(figure: Bars) -> Figure:
    axis = report_axes.of_bars(figure)
    labels = [_label(bar) for bar in figure.bars]
    # Places are counted in lines of a label, so that a long one takes its own room and no more.
    tall = [max(2, label.count("<br>") + 1) + 0.4 for label in labels]
    places = [sum(tall[n + 1 :]) + tall[n] / 2 for n in range(len(tall))]
    rows = list(zip(places, figure.bars, strict=True))
    data = _filled(figure, rows) if figure.filled else _dots(figure, rows)
    has_legend = len(data) > 1
    return {
        "data": data,
        "layout": layout(
            height=round(72 + 40 * has_legend + LINE_PX * sum(tall)),
            margin={"l": 8, "r": 12, "t": 48 if has_legend else 8, "b": 8},
            showlegend=has_legend,
            xaxis=_along(axis, figure.axis),
            yaxis={
                "tickvals": places,
                "ticktext": labels,
                "range": [0, sum(tall) or 1],
                "showgrid": False,
                **FIXED,
            },
            shapes=[_upright(0.0)] if figure.zero else [],
            annotations=[_unknown(row, axis) for row, bar in rows if bar.value is None],
        ),
    }


def _dots(figure: Bars, rows: list[tuple[float, Bar]]) -> list[Figure]:
    data = []
    known = [(row, bar) for row, bar in rows if bar.value is not None]
    earlier = [(row - ABOVE, bar.label, *bar.before) for row, bar in rows if bar.before is not None]
    for mark, name in mark_names().items():
        chosen = [(row, bar) for row, bar in known if bar.mark == mark]
        if chosen:
            colour, symbol = STATES[mark] if mark else PLAIN
            found = [
                (row + ABOVE * bool(bar.before), bar.label, bar.value, bar.low, bar.high)
                for row, bar in chosen
            ]
            marker = {"color": colour, "symbol": symbol, "size": 12}
            data.append(_trace(figure, name, found, marker))
    if earlier:
        marker = {"color": GREY, "symbol": "circle-open", "size": 8, "line": {"width": 1.5}}
        data.append(_trace(figure, _("the span before"), earlier, marker))
    return data


def _trace(figure: Bars, name: str, found: list[Any], marker: Figure) -> Figure:
    return points(
        name,
        [value for _row, _label, value, *_limits in found],
        [row for row, *_rest in found],
        [_told(figure, label, *numbers) for _row, label, *numbers in found],
        marker,
        cliponaxis=False,
        error_x=_limits([numbers for _row, _label, *numbers in found], marker["color"]),
    )


def _filled(figure: Bars, rows: list[tuple[float, Bar]]) -> list[Figure]:
    known = [(row, bar) for row, bar in rows if bar.value is not None]
    if not known:
        return []
    return [
        {
            "type": "bar",
            "orientation": "h",
            "x": [bar.value for _row, bar in known],
            "y": [row for row, _bar in known],
            "width": 1.1,
            "marker": {"color": BLUE, "pattern": {"shape": "/", "size": 6}},
            "text": [_told(figure, bar.label, bar.value, bar.low, bar.high) for _row, bar in known],
            "textposition": "none",
            "hovertemplate": "%{text}<extra></extra>",
            "error_x": _limits([(bar.value, bar.low, bar.high) for _row, bar in known], GREY),
        }
    ]


def _limits(found: list[Any], colour: str) -> Figure:
    return {
        "type": "data",
        "symmetric": False,
        "array": [0.0 if high is None else max(0.0, high - value) for value, _low, high in found],
        "arrayminus": [0.0 if low is None else max(0.0, value - low) for value, low, _high in found],
        "color": colour,
        "thickness": 2,
        "width": 5,
    }


def _label(bar: Bar) -> str:
    lines = wrap(bar.label, LABEL, max_lines=LABEL_LINES, placeholder=" …") + wrap(bar.note, LABEL)
    return "<br>".join(escape(line) for line in lines)


def _told(figure: Bars, label: str, value: float | None, low: float | None, high: float | None) -> str:
    said = "–" if value is None else written(value, figure.decimals)
    if low is not None and high is not None:
        said = _("%(value)s (%(low)s to %(high)s)") % {
            "value": said,
            "low": written(low, figure.decimals),
            "high": written(high, figure.decimals),
        }
    return f"{escape(label)}<br>{said}"


def _along(axis: Axis, title: str) -> Figure:
    return {
        "title": {"text": escape(title)},
        "range": [axis.low, axis.high],
        "tickvals": [value for value, _text in axis.ticks],
        "ticktext": [text for _value, text in axis.ticks],
        **FIXED,
    }


def _upright(x: float | str, **more: Any) -> Figure:
    line = {"type": "line", "x0": x, "x1": x, "y0": 0, "y1": 1, "yref": "paper", "layer": "below"}
    return line | {"line": {"width": 1.5, "color": GREY} | more}


def _unknown(row: float, axis: Axis) -> Figure:
    return {"x": axis.low, "y": row, "text": "–", "showarrow": False, "xanchor": "left"}


# --- days


def of_days(figure: Days) -> Figure:
    """Each day with its interval, what days usually do, the targets, and by number what was changed when."""
    if not figure.points:
        return {"data": [], "layout": layout()}
    axis = report_axes.of_values(figure)
    first, last, ticks = report_axes.of_days(figure)
    return {
        "data": [*_usual(figure), *_days(figure), *_target(figure)],
        "layout": layout(
            height=440,
            margin={"l": 8, "r": 8, "t": 84, "b": 8},
            legend={"orientation": "h", "y": 1.08, "yanchor": "bottom", "x": 0, "xanchor": "left"},
            xaxis={
                "type": "date",
                "range": [noon(first, -1), noon(last, 0)],
                "tickvals": [day.isoformat() for day, _text in ticks],
                "ticktext": [text for _day, text in ticks],
                "showgrid": False,
                "ticks": "outside",
                "automargin": True,
                "fixedrange": True,
            },
            yaxis=_along(axis, figure.axis),
            shapes=[
                band(x0=noon(a, -1), x1=noon(b, 0), y0=low, y1=high) for a, b, low, high in figure.targets
            ]
            + [_upright(mark.day.isoformat(), dash="dot") for mark in report_axes.marks_of(figure)],
            annotations=[
                {
                    "x": mark.day.isoformat(),
                    "y": 1,
                    "yref": "paper",
                    "yanchor": "bottom",
                    "text": str(mark.number),
                    "hovertext": escape(mark.says),
                    "showarrow": False,
                }
                for mark in report_axes.marks_of(figure)
            ],
        ),
    }


def _usual(figure: Days) -> list[Figure]:
    rows = [point for point in figure.points if point.usual_low is not None]
    if not rows:
        return []
    common = {
        "type": "scatter",
        "mode": "lines",
        "name": _("what days usually do"),
        "x": [row.day.isoformat() for row in rows],
        "line": {"color": GREY, "width": 1.5, "shape": "hvh", "dash": "dash"},
        "hoverinfo": "skip",
        "legendgroup": "usual",
    }
    return [
        common | {"y": [row.usual_low for row in rows]},
        common | {"y": [row.usual_high for row in rows], "showlegend": False},
    ]


def _target(figure: Days) -> list[Figure]:
    """What the band is called, since a band has no name of its own."""
    marker = {"color": GREEN, "symbol": "square", "size": 14, "opacity": 0.3}
    return [points(_("target"), [None], [None], [], marker)] if figure.targets else []


def _days(figure: Days) -> list[Figure]:
    found = []
    for outside, name, colour, symbol in (
        (False, _("a day, with its interval (95 %)"), BLUE, "circle"),
        (True, _("a day beyond"), VERMILION, "diamond"),
    ):
        rows = [point for point in figure.points if point.is_outside is outside]
        if rows:
            found.append(
                points(
                    name,
                    [row.day.isoformat() for row in rows],
                    [row.value for row in rows],
                    [_told_of_day(figure, row) for row in rows],
                    {"color": colour, "symbol": symbol, "size": 12 if outside else 8},
                    error_y=_limits([(row.value, row.low, row.high) for row in rows], colour) | {"width": 0},
                )
            )
    return found


def _told_of_day(figure: Days, point: Point) -> str:
    def shown(number: float) -> str:
        return units.clock(number) if figure.is_time else units.fixed(number, figure.decimals)

    numbers = {"value": shown(point.value), "low": shown(point.low), "high": shown(point.high)}
    return f"{dates.day(point.day, weekday=True)}<br>{_('%(value)s (%(low)s to %(high)s)') % numbers}"
