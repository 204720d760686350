"""What a station card says: its content, and that in ready words and figures. Pure: no Django.

A card of a draft or of a half-filled recipe is drawn too, so every gap has a form of words.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from typing import Any

from brewbar.units import clock, fixed, ratio, trimmed
from recipes.brewing.plan import After, Pattern, Pour, PourPlan, added_g, ends_at_s

OPEN = "\N{EN DASH}"
"""Stands where the recipe says nothing, so that a gap is seen and not guessed."""

CAUTION = (
    "Near-boiling water, steam and hot glass burn at once. Pour away from the body, keep the lid on, "
    "and follow your workplace\N{RIGHT SINGLE QUOTATION MARK}s safety rules."
)

PATTERN_WORDS: dict[Pattern, tuple[str, str]] = {
    Pattern.CIRCLE: ("circle", "spiral from the centre outward and back"),
    Pattern.CENTRE: ("centre", "steady in the middle of the bed"),
    Pattern.OFF_CENTRE: ("off-centre", "aim just short of the centre, for a fast slanting stream"),
    Pattern.SIDEWAYS: ("sideways", "kettle on its side, spout close to the bed"),
    Pattern.BROKEN_STREAM: ("broken stream", "over a spoon or a perforated plate"),
    Pattern.RISE_AND_FALL: ("rise-and-fall", "raise and lower the kettle while pouring"),
    Pattern.WALL: ("wall", "on the paper above the bed, briefly"),
}
AFTER_WORDS: dict[After, tuple[str, str]] = {
    After.STIR: ("stir", "with a spoon, once the pour has ended"),
    After.SWIRL: ("swirl", "turn the brewer in small, level circles"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CardContent:
    """What one card says. Text that a café left blank is "", a number or date None."""

    recipe: str
    version: int | None
    plan: PourPlan
    code: str
    url: str
    """Where the QR code leads."""
    code_page: str = ""
    """Where the code can be typed in."""
    coffee: str = ""
    coffee_detail: str = ""
    roasted_on: date | None = None
    batch: str = ""
    brewer: str = ""
    paper: str = ""
    kettle: str = ""
    rinse_paper: bool = True
    grinder: str = ""
    grind_setting: str = ""
    reference_grind: str = ""
    intended_cup: str = ""
    note: str = ""
    station: str = ""
    cafe: str = ""
    published_at: datetime | None = None
    published_by: str = ""
    zone: tzinfo = UTC
    """The café's, in which the time of publishing is written."""
    printed_on: date | None = None
    invented: bool = False


def said(card: CardContent) -> dict[str, Any]:
    """The card in ready words and figures: the drawing only sets them."""
    plan = card.plan
    patterns = dict.fromkeys(pour.pattern for pour in plan.pours)
    afters = dict.fromkeys(pour.after for pour in plan.pours if pour.after)
    return {
        "recipe": card.recipe or "Recipe without a name",
        "version": f"version {card.version}" if card.version is not None else "no version",
        "place": [text for text in (card.station, card.cafe) if text],
        "invented": "Invented example" if card.invented else "",
        "coffee": card.coffee or f"coffee {OPEN}",
        "coffee_detail": list(_coffee_detail(card)),
        "facts": list(_facts(plan)),
        "words": {"with": "with", "before": "before", "grind": "grind"},
        "with": [(kind, name or OPEN) for kind, name in _kit(card)],
        "before": _before(card),
        "grind": {
            "grinder": card.grinder or OPEN,
            "reference": f"start from: {card.reference_grind}" if card.reference_grind else "",
            "setting": card.grind_setting or OPEN,
            "printed": f"printed {_day(card.printed_on)}" if card.printed_on else "as printed",
            "today": "today",
            "later": "grind, date",
        },
        "pours": list(_pours(plan)),
        "line": {
            "ramps": _ramps(plan),
            "brew_time": plan.brew_time_s,
            "tolerance": plan.brew_time_tolerance_s or 0,
            "done": clock(plan.brew_time_s) if plan.brew_time_s is not None else "",
        },
        "targets": list(_targets(plan)),
        "remarks": [(name, text) for name, text in (("cup", card.intended_cup), ("note", card.note)) if text],
        "legend": [(pattern.value, *PATTERN_WORDS[pattern]) for pattern in patterns]
        + [(after.value, *AFTER_WORDS[after]) for after in afters],
        "code": card.code,
        "enter": f"Enter a reading: scan{f', or type the code at {card.code_page}' if card.code_page else ''}",
        "caution": CAUTION,
        "published": _published(card),
    }


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def _coffee_detail(card: CardContent) -> Iterator[str]:
    if card.coffee_detail:
        yield card.coffee_detail
    yield f"roasted {_day(card.roasted_on) if card.roasted_on else OPEN}"
    yield f"batch {card.batch or OPEN}"


def _published(card: CardContent) -> str:
    if card.published_at is None:
        return "Not published"
    at = card.published_at.astimezone(card.zone)
    by = f" by {card.published_by}" if card.published_by else ""
    return f"Published {_day(at)}, {at:%H:%M}{by}"


def _shown(value: float | None, decimals: int = 1) -> str:
    return OPEN if value is None else trimmed(value, decimals)


def _with_unit(value: float | None, unit: str) -> tuple[str, str]:
    return _shown(value), "" if value is None else unit


def _facts(plan: PourPlan) -> Iterator[tuple[str, str, str]]:
    """Label, figure and unit of what is measured out."""
    yield "dose", *_with_unit(plan.dose_g, "g")
    yield "brew water", *_with_unit(plan.water_g, "g")
    known = plan.dose_g and plan.water_g is not None
    yield "ratio", ratio(plan.water_g or 0, plan.dose_g or 1) if known else OPEN, ""
    if plan.at_the_boil:
        yield "temperature", "at the boil", ""
    else:
        yield "temperature", *_with_unit(plan.water_temperature_C, "°C")
    if plan.ice_g:
        yield "ice in the server", *_with_unit(plan.ice_g, "g")
    if plan.bypass_g:
        yield "add after the brew", *_with_unit(plan.bypass_g, "g")


def _kit(card: CardContent) -> tuple[tuple[str, str], ...]:
    return ("brewer", card.brewer), ("paper", card.paper), ("kettle", card.kettle)


def _before(card: CardContent) -> list[str]:
    if card.rinse_paper:
        return ["purge the grinder", "rinse and preheat the paper", "empty the rinse water", "tare"]
    return ["purge the grinder", "leave the paper dry", "tare"]


def _pours(plan: PourPlan) -> Iterator[dict[str, Any]]:
    for pour, added in zip(plan.pours, added_g(plan), strict=True):
        yield {
            "start": OPEN if pour.starts_at_s is None else clock(pour.starts_at_s),
            "to": _shown(pour.to_g),
            "added": OPEN if added is None else f"+{_shown(added)}",
            "pattern": pour.pattern.value,
            "word": PATTERN_WORDS[pour.pattern][0],
            "height": _shown(pour.spout_height_mm, 0),
            "flow": _shown(pour.flow_g_s),
            "after": pour.after.value,
            "then": AFTER_WORDS[pour.after][0] if pour.after else "",
            "note": _pour_note(pour),
        }


def _pour_note(pour: Pour) -> str:
    water = "" if pour.temperature_C is None else f"water at {trimmed(pour.temperature_C, 1)} °C"
    return ": ".join(filter(None, (water, pour.note)))


def _ramps(plan: PourPlan) -> list[dict[str, Any]]:
    """Where each pour's line begins and ends: upright if its flow is open, none if its time or weight is."""
    ramps, reached = [], 0.0
    for pour, end in zip(plan.pours, ends_at_s(plan), strict=True):
        if pour.starts_at_s is None or pour.to_g is None:
            continue
        start = pour.starts_at_s
        ramps.append(
            {
                "from": (start, reached),
                "to": (start if end is None else end, pour.to_g),
                "at": clock(start),
                "weight": _shown(pour.to_g),
            }
        )
        reached = pour.to_g
    return ramps


def _targets(plan: PourPlan) -> Iterator[tuple[str, str, str]]:
    """Label, figure and tolerance."""
    yield "TDS", *_target(plan.tds_target, plan.tds_tolerance, lambda value: fixed(value, 2), " %")
    yield "extraction yield", *_target(plan.ey_target, plan.ey_tolerance, lambda value: fixed(value, 1), " %")
    yield "brew time", *_target(plan.brew_time_s, plan.brew_time_tolerance_s, clock, "")


def _target(
    target: float | None, within: float | None, shown: Callable[[float], str], unit: str
) -> tuple[str, str]:
    if target is None:
        return OPEN, ""
    return shown(target), unit.strip() if within is None else f"± {shown(within)}{unit}"
