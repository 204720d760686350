"""Words and shapes that tell a state before any colour does, and a value drawn in its tolerance band."""

from __future__ import annotations

from dataclasses import dataclass

from django.templatetags.static import static
from django.utils.functional import Promise
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext_lazy as _

STATES: dict[str, str | Promise] = {
    "inside": _("Inside"),
    "outside": _("Outside"),
    "low": _("Outside, low"),
    "high": _("Outside, high"),
    "close": _("Too close to call"),
    "none": _("No reading"),
    "stale": _("Stale"),
    "estimated": _("Estimated"),
    "draft": _("Draft"),
    "published": _("Published"),
    "live": _("On the board"),
    "retired": _("Retired"),
    "void": _("Void"),
    "corrected": _("Corrected"),
    "passed": _("Passed"),
    "failed": _("Failed"),
    "sure": _("Sure"),
    "likely": _("Likely"),
    "cannot-say": _("Cannot say"),
}
SAME_SHAPE = {"warning": "caution"}


def glyph(name: str) -> SafeString:
    """A shape of ``static/icons/shapes.svg``, silent to a screen reader: the word stands beside it."""
    return format_html(
        '<svg class="glyph" aria-hidden="true" focusable="false"><use href="{}#{}"/></svg>',
        static("icons/shapes.svg"),
        SAME_SHAPE.get(name, name),
    )


def badge(state: str, word: str | Promise = "") -> SafeString:
    return format_html('<span class="badge badge-{}">{}{}</span>', state, glyph(state), word or STATES[state])


WIDTH, POST_LOW, POST_HIGH, MARGIN = 160, 50, 110, 7


@dataclass(frozen=True)
class BandDrawing:
    """Places in units of the drawing; ``beyond`` is -1 or 1 where the value is off the paper."""

    x: float
    left: float
    right: float
    beyond: int


def place_in_band(value: float, low: float, high: float, spread: float = 0.0) -> BandDrawing:
    """The band takes the middle of the drawing, so that bands below one another can be compared by eye."""
    scale = (POST_HIGH - POST_LOW) / (high - low)

    def at(quantity: float) -> float:
        return round(min(max(POST_LOW + (quantity - low) * scale, MARGIN), WIDTH - MARGIN), 1)

    unclipped = POST_LOW + (value - low) * scale
    beyond = -1 if unclipped < MARGIN else 1 if unclipped > WIDTH - MARGIN else 0
    return BandDrawing(at(value), at(value - spread), at(value + spread), beyond)


def _dot(drawn: BandDrawing) -> SafeString:
    spread = format_html('<path class="band-spread" d="M{} 16H{}"/>', drawn.left, drawn.right)
    if drawn.beyond:
        base, tip = drawn.x - 4 * drawn.beyond, 9 * drawn.beyond
        return spread + format_html('<path class="band-dot" d="M{} 9l{} 7l{} 7z"/>', base, tip, -tip)
    return spread + format_html('<circle class="band-dot" cx="{}" cy="16" r="6"/>', drawn.x)


def band(value: float | None, low: float, high: float, spread: float = 0.0) -> SafeString:
    """A picture beside numbers that are also written out, hence hidden from a screen reader."""
    dot = SafeString("") if value is None else _dot(place_in_band(value, low, high, spread))
    return format_html(
        '<svg class="band" viewBox="0 0 {} 32" aria-hidden="true" focusable="false">'
        '<path class="band-line" d="M0 16H{}"/><path class="band-inside" d="M{} 16H{}"/>'
        '<path class="band-post" d="M{} 4v24M{} 4v24"/>{}</svg>',
        WIDTH,
        WIDTH,
        POST_LOW,
        POST_HIGH,
        POST_LOW,
        POST_HIGH,
        dot,
    )
