"""Brewing results as plotly figures: plain dicts. Colours of ink and paper are set by the page, which knows its scheme.

The colours of data are of the set by Okabe and Ito, 2008, Color Universal Design, which stay apart for colour-blind
eyes; shapes, dashes and hatching tell the same again.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext as _

from brewbar.units import degrees, style, trimmed
from recipes.brewing.kettle_curve import Curve, Known, Stretch
from recipes.brewing.kettle_words import BASIS
from recipes.brewing.stream import Basis, Observation

BLUE, VERMILION, GREEN = "#0072B2", "#D55E00", "#009E73"
BAND_OPACITY = 0.22
AIR = 1.06
"""How far an axis goes on beyond the outermost value."""

Figure = dict[str, Any]


def breakup(known: Known) -> Figure:
    """Where a kettle's stream breaks, over its flows: points, the curve and band at each temperature."""
    data: list[Figure] = []
    for curve, look in zip(known.curves, _looks(), strict=False):
        data += [trace for stretch in curve.stretches for trace in _stretch(curve, stretch, look)]
    data += [trace for broke in (True, False) for trace in _points(known, broke)]
    flows = [flow for stretch in known.brewing.stretches for flow in stretch.flows_g_s]
    return {
        "data": data,
        "layout": {
            "xaxis": _axis(_("Flow, g/s"), max(flows)),
            "yaxis": _axis(_("Height of the spout, mm"), _highest(known)),
            "margin": {"l": 8, "r": 8, "t": 16, "b": 8},
            "showlegend": True,
            "separators": f"{style().decimal_mark}\N{NARROW NO-BREAK SPACE}",
            # Below the drawing, where a column of a phone's width pushes nothing aside.
            "legend": {"orientation": "h", "y": -0.22, "yanchor": "top", "x": 0, "xanchor": "left"},
            "hovermode": "closest",
            "dragmode": False,
            "height": 480,
        },
    }


def _looks() -> Iterator[tuple[str, str]]:
    """(colour, dash) of the curve at brewing temperature, and of those at others."""
    yield VERMILION, "solid"
    yield BLUE, "dash"
    while True:
        yield GREEN, "dashdot"


def _stretch(curve: Curve, stretch: Stretch, look: tuple[str, str]) -> Iterator[Figure]:
    colour, dash = look
    at = degrees(curve.temperature_C, 0)
    flows, breaks = stretch.flows_g_s, stretch.breaks
    measured = stretch.basis is Basis.MEASURED
    group = f"{at} {stretch.basis.value}"
    yield {
        "type": "scatter",
        "mode": "lines",
        "name": f"{at}: {_(BASIS[stretch.basis])}",
        "legendgroup": group,
        "x": [*flows, *reversed(flows)],
        "y": [*(one.high_mm for one in breaks), *(one.low_mm for one in reversed(breaks))],
        "fill": "toself",
        "fillcolor": _clear(colour),
        "line": {"color": colour, "width": 1, "dash": "solid" if measured else "dot"},
        "hoverinfo": "skip",
    } | ({} if measured else {"fillpattern": {"shape": "/", "size": 9, "solidity": 0.12, "fgcolor": colour}})
    yield {
        "type": "scatter",
        "mode": "lines",
        "name": _("%(temperature)s: breaks above about") % {"temperature": at},
        "legendgroup": group,
        "showlegend": measured or len(curve.stretches) == 1,
        "x": list(flows),
        "y": [one.best_mm for one in breaks],
        "line": {"color": colour, "width": 3, "dash": dash},
        "text": [f"{trimmed(flow, 1)} g/s, {at}" for flow in flows],
        "hovertemplate": "%{text}: %{y:.0f} mm<extra></extra>",
    }


def _points(known: Known, broke: bool) -> Iterator[Figure]:
    shown = [point for point in known.points if point.broken is broke]
    if not shown:
        return
    word = _("broke") if broke else _("still whole")
    yield {
        "type": "scatter",
        "mode": "markers",
        "name": word,
        "x": [point.flow_g_s for point in shown],
        "y": [point.height_mm for point in shown],
        "marker": {
            "symbol": "circle" if broke else "triangle-up-open",
            "size": 11 if broke else 14,
            "color": [_colour(known, point) for point in shown],
            "line": {"width": 1.5 if broke else 2.5},
        },
        "text": [
            f"{trimmed(point.flow_g_s, 1)} g/s, {degrees(point.temperature_C)}: {word}" for point in shown
        ],
        "hovertemplate": "%{text}, %{y:.0f} mm<extra></extra>",
    }


def _colour(known: Known, point: Observation) -> str:
    """That of the nearest curve."""
    looks = list(zip(known.curves, _looks(), strict=False))
    _curve, (colour, _dash) = min(looks, key=lambda one: abs(one[0].temperature_C - point.temperature_C))
    return colour


def _highest(known: Known) -> float:
    highs = [one.high_mm for curve in known.curves for part in curve.stretches for one in part.breaks]
    return max([*highs, *(point.height_mm for point in known.points)])


def _axis(title: str, most: float) -> Figure:
    return {
        "title": {"text": title},
        "range": [0, AIR * most],
        "zeroline": False,
        "automargin": True,
        "fixedrange": True,
    }


def _clear(colour: str) -> str:
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return f"rgba({red}, {green}, {blue}, {BAND_OPACITY})"
