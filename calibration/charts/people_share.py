"""Is it the people? The parts of the spread."""

from __future__ import annotations

from django.utils.translation import gettext as _

from calibration import people_share
from calibration.charts.table import Cell, Table, text_cell
from calibration.figures import BLUE, FIXED, GREY, ORANGE, VERMILION, Figure, layout


def figure(seen: people_share.Seen) -> Figure:
    """A bar for each part of the spread, with the interval of its share."""
    parts = seen.parts[::-1]
    x = [100 * part.share for part in parts]
    lows = [part.found.share_low for part in parts]
    highs = [part.found.share_high for part in parts]
    colours = {"people": VERMILION, "days": BLUE, "both": ORANGE, "brews": GREY}
    shapes = {"people": "/", "days": "", "both": "x", "brews": "."}
    return {
        "data": []
        if not parts
        else [
            {
                "type": "bar",
                "orientation": "h",
                "x": x,
                "y": [part.label for part in parts],
                "marker": {
                    "color": [colours[part.key] for part in parts],
                    "pattern": {"shape": [shapes[part.key] for part in parts], "size": 6},
                },
                "text": [people_share.percent(part) for part in parts],
                "textposition": "none",
                "hovertemplate": "%{y}: %{text}<extra></extra>",
                "error_x": {
                    "type": "data",
                    "symmetric": False,
                    "array": [
                        max(0.0, 100 * (high or 0.0) - v) if high else 0.0
                        for v, high in zip(x, highs, strict=True)
                    ],
                    "arrayminus": [
                        max(0.0, v - 100 * low) if low is not None else 0.0
                        for v, low in zip(x, lows, strict=True)
                    ],
                    "color": GREY,
                    "thickness": 2,
                    "width": 8,
                },
            }
        ],
        "layout": layout(
            height=120 + 60 * max(2, len(parts)),
            margin={"l": 8, "r": 8, "t": 16, "b": 8},
            showlegend=False,
            xaxis={"title": {"text": _("share of the spread, %")}, "range": [0, 100], **FIXED},
            yaxis={"type": "category", "automargin": True, "fixedrange": True},
        ),
    }


def table(seen: people_share.Seen) -> Table:
    measure = seen.asked.measure
    rows, csv = [], []
    for part in seen.parts:
        found = part.found
        sds = (
            "–"
            if found.sd_low is None
            else f"{measure.spread(found.sd_low)} – {measure.spread(found.sd_high)}"
        )
        rows.append(
            (
                text_cell(part.label),
                Cell(people_share.percent(part)),
                Cell(measure.spread(found.sd)),
                Cell(sds),
                Cell("–" if found.levels is None else found.levels),
            )
        )
        sizes = (found.share, found.share_low, found.share_high, found.sd, found.sd_low, found.sd_high)
        csv.append((part.label, *(None if v is None else round(v, 4) for v in sizes), found.levels))
    return Table(
        _("Parts of the spread"),
        (
            (_("Part"), False),
            (_("Share (95 %)"), True),
            (_("Standard deviation, %(unit)s") % {"unit": measure.unit}, True),
            (_("Interval (95 %)"), True),
            (_("How many"), True),
        ),
        tuple(rows),
        (
            _("part"),
            _("share"),
            _("share, low (95 %)"),
            _("share, high (95 %)"),
            _("standard deviation, %(unit)s") % {"unit": measure.unit},
            _("low (95 %)"),
            _("high (95 %)"),
            _("how many"),
        ),
        csv,
    )
