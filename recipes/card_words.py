"""What a station card says: its content, and that in ready words and figures. Pure: no Django.

A card of a draft or of a half-filled recipe is drawn too, so every gap has a form of words.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from typing import Any

from brewbar.dates import day, moment
from brewbar.units import (
    PLAIN,
    Style,
    clock,
    degree_figure,
    degree_unit,
    degrees,
    fixed,
    ratio,
    trimmed,
    written_as,
)
from brewbar.words import gettext as _
from brewbar.words import gettext_noop
from recipes.brewing.plan import After, Pattern, Pour, PourPlan, added_g, ends_at_s

OPEN = "\N{EN DASH}"
"""Stands where the recipe says nothing, so that a gap is seen and not guessed."""

CAUTION = gettext_noop(
    "Near-boiling water, steam and hot glass burn at once. Pour away from the body, keep the lid on, "
    "and follow your workplace’s safety rules."
)

PATTERN_WORDS: dict[Pattern, tuple[str, str]] = {
    Pattern.CIRCLE: (gettext_noop("circle"), gettext_noop("spiral from the centre outward and back")),
    Pattern.CENTRE: (gettext_noop("centre"), gettext_noop("steady in the middle of the bed")),
    Pattern.OFF_CENTRE: (
        gettext_noop("off-centre"),
        gettext_noop("aim just short of the centre, for a fast slanting stream"),
    ),
    Pattern.SIDEWAYS: (gettext_noop("sideways"), gettext_noop("kettle on its side, spout close to the bed")),
    Pattern.BROKEN_STREAM: (
        gettext_noop("broken stream"),
        gettext_noop("over a spoon or a perforated plate"),
    ),
    Pattern.RISE_AND_FALL: (
        gettext_noop("rise-and-fall"),
        gettext_noop("raise and lower the kettle while pouring"),
    ),
    Pattern.WALL: (gettext_noop("wall"), gettext_noop("on the paper above the bed, briefly")),
}
AFTER_WORDS: dict[After, tuple[str, str]] = {
    After.STIR: (gettext_noop("stir"), gettext_noop("with a spoon, once the pour has ended")),
    After.SWIRL: (gettext_noop("swirl"), gettext_noop("turn the brewer in small, level circles")),
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
    grind_here: str = ""
    """How this café grinds it, in its own words."""
    own_targets: tuple[str, ...] = ()
    """Which targets of the plan are this café's own, by their names."""
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
    style: Style = PLAIN
    """The company's, whoever prints it."""
    language: str = "en"


def said(card: CardContent) -> dict[str, Any]:
    """The card in ready words and figures, in its own style: the drawing only sets them."""
    with written_as(card.style):
        return _said(card)


def _said(card: CardContent) -> dict[str, Any]:
    plan = card.plan
    patterns = dict.fromkeys(pour.pattern for pour in plan.pours)
    afters = dict.fromkeys(pour.after for pour in plan.pours if pour.after)
    return {
        "recipe": card.recipe or _("Recipe without a name"),
        "version": _("no version")
        if card.version is None
        else _("version %(number)d") % {"number": card.version},
        "place": [text for text in (card.station, card.cafe) if text],
        "invented": _("Invented example") if card.invented else "",
        "coffee": card.coffee or _("coffee %(name)s") % {"name": OPEN},
        "coffee_detail": list(_coffee_detail(card)),
        "facts": list(_facts(plan)),
        "words": {"with": _("with"), "before": _("before"), "grind": _("grind"), "here": _("here")},
        "with": [(kind, name or OPEN) for kind, name in _kit(card)],
        "before": _before(card),
        "grind": {
            "grinder": card.grinder or OPEN,
            "reference": _("start from: %(grind)s") % {"grind": card.reference_grind}
            if card.reference_grind
            else "",
            "here": card.grind_here,
            "setting": card.grind_setting or OPEN,
            "printed": _("printed %(day)s") % {"day": day(card.printed_on, year=True)}
            if card.printed_on
            else _("as printed"),
            "today": _("today"),
            "later": _("grind, date"),
        },
        "heads": _heads(),
        "pours": list(_pours(plan)),
        "line": {
            "ramps": _ramps(plan),
            "brew_time": plan.brew_time_s,
            "tolerance": plan.brew_time_tolerance_s or 0,
            "done": clock(plan.brew_time_s) if plan.brew_time_s is not None else "",
        },
        "targets": list(_targets(plan, card.own_targets)),
        "remarks": [
            (name, text) for name, text in ((_("cup"), card.intended_cup), (_("note"), card.note)) if text
        ],
        "legend": [(pattern.value, *map(_, PATTERN_WORDS[pattern])) for pattern in patterns]
        + [(after.value, *map(_, AFTER_WORDS[after])) for after in afters],
        "code": card.code,
        "enter": _("Enter a reading: scan, or type the code at %(address)s") % {"address": card.code_page}
        if card.code_page
        else _("Enter a reading: scan"),
        "caution": _(CAUTION),
        "published": _published(card),
    }


def _heads() -> dict[str, list[str]]:
    """What stands above each column of the pours, line by line."""
    return {
        "start": [_("start")],
        "to": [_("pour to"), "g"],
        "added": [_("adds"), "g"],
        "pattern": [_("pattern")],
        "height": [_("spout"), "mm"],
        "flow": [_("flow"), "g/s"],
        "after": [_("then")],
    }


def _coffee_detail(card: CardContent) -> Iterator[str]:
    if card.coffee_detail:
        yield card.coffee_detail
    yield _("roasted %(day)s") % {"day": day(card.roasted_on, year=True) if card.roasted_on else OPEN}
    yield _("batch %(batch)s") % {"batch": card.batch or OPEN}


def _published(card: CardContent) -> str:
    if card.published_at is None:
        return _("Not published")
    words = {"at": moment(card.published_at.astimezone(card.zone), year=True), "who": card.published_by}
    return (_("Published %(at)s by %(who)s") if card.published_by else _("Published %(at)s")) % words


def _shown(value: float | None, decimals: int = 1) -> str:
    return OPEN if value is None else trimmed(value, decimals)


def _with_unit(value: float | None, unit: str) -> tuple[str, str]:
    return _shown(value), "" if value is None else unit


def _facts(plan: PourPlan) -> Iterator[tuple[str, str, str]]:
    """Label, figure and unit of what is measured out."""
    yield _("dose"), *_with_unit(plan.dose_g, "g")
    yield _("brew water"), *_with_unit(plan.water_g, "g")
    known = plan.dose_g and plan.water_g is not None
    yield _("ratio"), ratio(plan.water_g or 0, plan.dose_g or 1) if known else OPEN, ""
    if plan.at_the_boil:
        yield _("temperature"), _("at the boil"), ""
    elif plan.water_temperature_C is None:
        yield _("temperature"), OPEN, ""
    else:
        yield _("temperature"), degree_figure(plan.water_temperature_C), degree_unit()
    if plan.ice_g:
        yield _("ice in the server"), *_with_unit(plan.ice_g, "g")
    if plan.bypass_g:
        yield _("add after the brew"), *_with_unit(plan.bypass_g, "g")


def _kit(card: CardContent) -> tuple[tuple[str, str], ...]:
    return (_("brewer"), card.brewer), (_("paper"), card.paper), (_("kettle"), card.kettle)


def _before(card: CardContent) -> list[str]:
    if card.rinse_paper:
        return [
            _("purge the grinder"),
            _("rinse and preheat the paper"),
            _("empty the rinse water"),
            _("tare"),
        ]
    return [_("purge the grinder"), _("leave the paper dry"), _("tare")]


def _pours(plan: PourPlan) -> Iterator[dict[str, Any]]:
    for pour, added in zip(plan.pours, added_g(plan), strict=True):
        yield {
            "start": OPEN if pour.starts_at_s is None else clock(pour.starts_at_s),
            "to": _shown(pour.to_g),
            "added": OPEN if added is None else f"+{_shown(added)}",
            "pattern": pour.pattern.value,
            "word": _(PATTERN_WORDS[pour.pattern][0]),
            "height": _shown(pour.spout_height_mm, 0),
            "flow": _shown(pour.flow_g_s),
            "after": pour.after.value,
            "then": _(AFTER_WORDS[pour.after][0]) if pour.after else "",
            "note": _pour_note(pour),
        }


def _pour_note(pour: Pour) -> str:
    if pour.temperature_C is None:
        return pour.note
    water = _("water at %(temperature)s") % {"temperature": degrees(pour.temperature_C)}
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


def _targets(plan: PourPlan, own: Collection[str]) -> Iterator[tuple[str, str, str]]:
    """Label, figure and tolerance; the label says which of them are the café's own."""
    yield (
        _("TDS here") if "tds_target" in own else _("TDS"),
        *_target(plan.tds_target, plan.tds_tolerance, lambda value: fixed(value, 2), " %"),
    )
    yield (
        _("extraction yield here") if "ey_target" in own else _("extraction yield"),
        *_target(plan.ey_target, plan.ey_tolerance, lambda value: fixed(value, 1), " %"),
    )
    yield (
        _("brew time here") if "brew_time_s" in own else _("brew time"),
        *_target(plan.brew_time_s, plan.brew_time_tolerance_s, clock, ""),
    )


def _target(
    target: float | None, within: float | None, shown: Callable[[float], str], unit: str
) -> tuple[str, str]:
    if target is None:
        return OPEN, ""
    return shown(target), unit.strip() if within is None else f"± {shown(within)}{unit}"
