"""What the invented cafés have of their own for shared recipes. It changes what is judged, never what is brewed."""

from __future__ import annotations

from .calendar import Calendar
from .cast import published_at
from .rows import CafeTarget, GrindNote


def grind_notes(calendar: Calendar) -> tuple[GrindNote, ...]:
    return (
        GrindNote(
            "upper-cablecar",
            "upper",
            "cablecar",
            "Start from 16 on the Pepperpot, rather finer: the water is cooler up here.",
            published_at(calendar, "upper", 30),
            "matteo",
        ),
        GrindNote(
            "candle-window",
            "candle",
            "window",
            "On the Gravel it stands about 1.7 above what the quay’s grinder shows.",
            published_at(calendar, "candle", 28),
            "sade",
        ),
    )


def cafe_targets(calendar: Calendar) -> tuple[CafeTarget, ...]:
    return (
        CafeTarget(
            "upper-cablecar",
            "upper",
            "cablecar",
            "Water boils at about 95 °C up here and takes out a little less: at 1.40 % the cup is as it is meant.",
            published_at(calendar, "upper", 44),
            "matteo",
            tds_target=1.40,
            tds_tolerance=0.10,
            brew_time_s=175,
            brew_time_tolerance_s=20,
        ),
    )
