"""Brewing results as plotly figures: plain dicts. Colours of ink and paper are set by the page, which knows its scheme.

The colours of data are of the set by Okabe and Ito, 2008, Color Universal Design, which stay apart for colour-blind
eyes; shapes, dashes and hatching tell the same again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from django.utils.translation import gettext as _

from brewbar.units import degrees, style, trimmed
from recipes.brewing.kettle_curve import Group, Known, Stretch
from recipes.brewing.kettle_words import BASIS
from recipes.brewing.stream import Basis

BLUE, VERMILION, GREEN = "#0072B2", "#D55E00", "#009E73"
HOT = (VERMILION, "solid")
OTHERS = ((BLUE, "dash"), (GREEN, "dashdot"))
BAND_OPACITY = 0.22
AIR = 1.06
"""How far an axis goes on beyond the outermost value."""

Figure = dict[str, Any]
Look = tuple[str, str]
"""Colour and dash."""


def breakup(known: Known) -> Figure:
    """Where a kettle's stream breaks, over its flows: points, the curve and band at each temperature."""
    looks = _looks(known)
    data = [trace for draw in (_band, _best) for trace in _traced(draw, known, looks)]
    data += [trace for group in known.groups for trace in _points(group, looks[group.temperature_C][0])]
    flows = [flow for stretch in known.brewing.stretches for flow in stretch.flows_g_s]
    return {
        "data": data,
        "layout": {
            "xaxis": _axis(_("Flow, g/s"), max(flows)),
            "yaxis": _axis(_("Height of the spout, mm"), _highest(known)),
            "margin": {"l": 8, "r": 8, "t": 16, "b": 8},
            "showlegend": True,
            "separators": f"{style().decimal_mark}\N{NARROW NO-BREAK SPACE}",
            # Along the lower edge of the whole: room is kept for it, however many lines a phone needs.
            "legend": {
                "orientation": "h",
                "yref": "container",
                "y": 0,
                "yanchor": "bottom",
                "x": 0,
                "xanchor": "left",
            },
            "hovermode": "closest",
            "dragmode": False,
            "height": 520,
        },
    }


def _looks(known: Known) -> dict[float, Look]:
    """Of each temperature: at the brewing temperature, and of the others, coldest first."""
    looks = {known.brewing.temperature_C: HOT}
    others = iter(OTHERS)
    for group in known.groups:
        looks[group.temperature_C] = HOT if group.is_hot else next(others, OTHERS[-1])
    return looks


def _traced(draw: Callable[..., Figure], known: Known, looks: dict[float, Look]) -> Iterator[Figure]:
    """Every stretch of every curve; all bands lie below all lines."""
    for curve in known.curves:
        at, alone = degrees(curve.temperature_C, 0), len(curve.stretches) == 1
        for stretch in curve.stretches:
            yield draw(stretch, at, looks[curve.temperature_C], alone)


def _band(stretch: Stretch, at: str, look: Look, alone: bool) -> Figure:
    colour, _dash = look
    flows, breaks = stretch.flows_g_s, stretch.breaks
    measured = stretch.basis is Basis.MEASURED
    band: Figure = {
        "type": "scatter",
        "mode": "lines",
        "name": f"{at}: {_(BASIS[stretch.basis])}",
        "x": [*flows, *reversed(flows)],
        "y": [*(one.high_mm for one in breaks), *(one.low_mm for one in reversed(breaks))],
        "fill": "toself",
        "fillcolor": _clear(colour),
        "line": {"color": colour, "width": 1, "dash": "solid" if measured else "dot"},
        "hoverinfo": "skip",
    }
    hatched = {"fillpattern": {"shape": "/", "size": 9, "solidity": 0.12, "fgcolor": colour}}
    return band if measured else band | hatched


def _best(stretch: Stretch, at: str, look: Look, alone: bool) -> Figure:
    colour, dash = look
    return {
        "type": "scatter",
        "mode": "lines",
        "name": _("%(temperature)s: breaks above about") % {"temperature": at},
        # Of a curve in several stretches one line in the legend is enough.
        "showlegend": alone or stretch.basis is Basis.MEASURED,
        "x": list(stretch.flows_g_s),
        "y": [one.best_mm for one in stretch.breaks],
        "line": {"color": colour, "width": 3, "dash": dash},
        "text": [f"{trimmed(flow, 1)} g/s, {at}" for flow in stretch.flows_g_s],
        "hovertemplate": "%{text}: %{y:.0f} mm<extra></extra>",
    }


def _points(group: Group, colour: str) -> Iterator[Figure]:
    at = degrees(group.temperature_C, 0)
    for broke, word in ((True, _("broke")), (False, _("still whole"))):
        shown = [point for point in group.points if point.broken is broke]
        if shown:
            yield {
                "type": "scatter",
                "mode": "markers",
                "name": f"{at}: {word}",
                "x": [point.flow_g_s for point in shown],
                "y": [point.height_mm for point in shown],
                "marker": {
                    "symbol": "circle" if broke else "triangle-up-open",
                    "size": 12 if broke else 15,
                    "color": colour,
                    "line": {"width": 1.5 if broke else 3},
                },
                "text": [
                    f"{trimmed(one.flow_g_s, 1)} g/s, {degrees(one.temperature_C)}: {word}" for one in shown
                ],
                "hovertemplate": "%{text}, %{y:.0f} mm<extra></extra>",
            }


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
