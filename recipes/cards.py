"""The station card: one drawing, for the screen and for paper.

`content_of` gathers what a card says, `card_pdf` and `card_svg` draw it. Every word and figure goes to typst as data
(`sys_inputs`), never into its source, so nothing typed in a recipe can become part of the drawing's program.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import segno
import typst

from brewbar.glyphs import FONT_DIR, FONT_FAMILY, as_drawn, unprintable
from brewbar.units import clock, fixed, ratio, trimmed
from recipes.brewing.plan import After, Pattern, Pour, PourPlan, added_g, ends_at_s

if TYPE_CHECKING:
    from recipes.models import Slot

__all__ = ["SIZES", "CardContent", "Size", "card_pdf", "card_svg", "content_of", "drawn", "unprintable"]

Size = Literal["a6", "a5", "a4"]
SIZES: tuple[Size, ...] = ("a6", "a5", "a4")
ROOT = Path(__file__).resolve().parent.parent
DRAWING = ROOT / "templates" / "recipes" / "card.typ"

ZERO_WIDTH_SPACE = "\N{ZERO WIDTH SPACE}"
_LONG_WORD = re.compile(r"\S{24,}")
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


def content_of(slot: Slot, base_url: str, printed_at: datetime) -> CardContent:
    """What the card of this slot says at `printed_at`.

    Reads nothing more from the database for a slot that comes from `Slot.objects.for_card()`.
    """
    version, setting, cafe = slot.version, slot.setting, slot.board.cafe
    coffee = version.recipe.coffee
    base = base_url.rstrip("/")
    return CardContent(
        recipe=version.recipe.name,
        version=version.number,
        plan=version.plan(),
        code=slot.card.code,
        url=f"{base}/c/{slot.card.code}/{version.number}/",
        code_page=f"{base.partition('://')[2] or base}/c/",
        coffee=coffee.name,
        coffee_detail=", ".join(filter(None, (coffee.origin, coffee.process))),
        roasted_on=setting.roast_batch.roasted_on if setting else None,
        batch=setting.roast_batch.label if setting else "",
        brewer=version.brewer.name if version.brewer else "",
        paper=version.paper.name if version.paper else "",
        kettle=slot.kettle.name,
        rinse_paper=version.rinse_paper,
        grinder=setting.grinder.name if setting else "",
        grind_setting=setting.grind_setting if setting else "",
        reference_grind=version.reference_grind,
        intended_cup=version.intended_cup,
        note=version.note,
        station=slot.station.name,
        cafe=cafe.name,
        published_at=slot.published_at,
        published_by=slot.published_by.name if slot.published_by else "",
        zone=cafe.zone,
        printed_on=printed_at.astimezone(cafe.zone).date(),
        invented=cafe.company.is_invented,
    )


def card_pdf(contents: CardContent | Sequence[CardContent], size: Size, now: datetime) -> bytes:
    """A page for each card. The same contents at the same `now` give the same bytes."""
    return drawn(contents, size, now, "pdf")


def card_svg(content: CardContent, size: Size, now: datetime) -> bytes:
    """The same drawing for the screen. Its letters are outlines: show a table of the plan beside it."""
    return drawn(content, size, now, "svg")


def drawn(
    contents: CardContent | Sequence[CardContent],
    size: Size,
    now: datetime,
    file_format: Literal["pdf", "svg", "png"],
    ppi: float | None = None,
) -> bytes:
    """The card or cards as a file; `ppi` is the sharpness of a png."""
    cards = [contents] if isinstance(contents, CardContent) else list(contents)
    if size not in SIZES:
        raise ValueError(f"A card is a6, a5 or a4, not {size!r}.")
    if not cards:
        raise ValueError("There is no card to draw.")
    if now.tzinfo is None:
        raise ValueError("The time of printing needs a time zone.")
    said = [{**_clean(_said(card)), "qr": _qr(card.url)} for card in cards]
    return typst.compile(
        DRAWING,
        root=ROOT,
        font_paths=_fonts(),
        ignore_system_fonts=True,
        format=file_format,
        ppi=ppi,
        sys_inputs={"job": json.dumps({"size": size, "font": FONT_FAMILY, "cards": said})},
        timestamp=int(now.timestamp()),
    )


@cache
def _fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONT_DIR)])


def _clean(value: Any) -> Any:
    """Every text in it as it is set, with places to break a word that is too long for a narrow column."""
    match value:
        case str():
            return _LONG_WORD.sub(lambda word: _breakable(word[0]), as_drawn(value))
        case list() | tuple():
            return [_clean(item) for item in value]
        case dict():
            return {key: _clean(item) for key, item in value.items()}
    return value


def _breakable(word: str) -> str:
    pieces = re.split(r"(?<=[-./:_])", word)
    return ZERO_WIDTH_SPACE.join(
        ZERO_WIDTH_SPACE.join(piece) if _LONG_WORD.match(piece) else piece for piece in pieces
    )


def _said(card: CardContent) -> dict[str, Any]:
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
        "with": [("brewer", card.brewer or OPEN), ("paper", card.paper or OPEN), ("kettle", card.kettle or OPEN)],
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
        "remarks": [(label, text) for label, text in (("cup", card.intended_cup), ("note", card.note)) if text],
        "legend": [(pattern.value, *PATTERN_WORDS[pattern]) for pattern in patterns]
        + [(after.value, *AFTER_WORDS[after]) for after in afters],
        "code": card.code,
        "enter": "Enter a reading: scan" + (f", or type the code at {card.code_page}" if card.code_page else ""),
        "caution": CAUTION,
        "published": _published(card),
    }


def _qr(url: str) -> list[str]:
    """Rows of 0 and 1, without the quiet zone."""
    return ["".join("1" if dark else "0" for dark in row) for row in segno.make_qr(url, error="m").matrix]


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


def _before(card: CardContent) -> list[str]:
    paper = ["rinse and preheat the paper", "empty the rinse water"] if card.rinse_paper else ["leave the paper dry"]
    return ["purge the grinder", *paper, "tare"]


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
    """Where each pour's line begins and ends; upright where its flow is open, none where its time or weight is."""
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
    tds, tds_within = plan.tds_target, plan.tds_tolerance
    yield "TDS", *_target(tds, tds_within, lambda value: fixed(value, 2), " %")
    ey, ey_within = plan.ey_target, plan.ey_tolerance
    yield "extraction yield", *_target(ey, ey_within, lambda value: fixed(value, 1), " %")
    yield "brew time", *_target(plan.brew_time_s, plan.brew_time_tolerance_s, clock, "")


def _target(target: float | None, within: float | None, said: Any, unit: str) -> tuple[str, str]:
    if target is None:
        return OPEN, ""
    return said(target), f"± {said(within)}{unit}" if within is not None else unit.strip()
