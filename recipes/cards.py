"""The station card: one drawing, for the screen and for paper.

`content_of` gathers what a card says, `card_pdf` and `card_svg` draw it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import cache
from hashlib import sha256
from typing import TYPE_CHECKING, Literal

import segno
from django.utils.translation import get_language

from brewbar import __version__
from brewbar.crew.preferences import company_style
from brewbar.glyphs import FONT_FAMILY, unprintable
from brewbar.typesetting import ROOT, settable, typeset
from recipes.aims import set_by
from recipes.at_cafe import Own, own_of
from recipes.card_words import CAUTION, CardContent, said

if TYPE_CHECKING:
    from recipes.models import Slot

__all__ = [
    "CAUTION",
    "DRAWING",
    "SHEET",
    "SIZES",
    "CardContent",
    "Size",
    "card_pdf",
    "card_svg",
    "content_of",
    "contents_of",
    "drawn",
    "look",
    "unprintable",
]

Size = Literal["a6", "a5", "a4", "sheet"]
SIZES: tuple[Size, ...] = ("a6", "a5", "a4")
SHEET: Size = "sheet"
"""Four cards, a little smaller than A6, to an A4 page with marks to cut along."""
DRAWING = ROOT / "templates" / "recipes" / "card.typ"


def contents_of(slots: Iterable[Slot], base_url: str, printed_at: datetime) -> list[CardContent]:
    """What the cards of slots of one café say: two queries more, however many."""
    slots = list(slots)
    own = own_of(slots[0].board.cafe, [slot.version for slot in slots]) if slots else {}
    return [content_of(slot, base_url, printed_at, own[slot.version_id]) for slot in slots]


def content_of(slot: Slot, base_url: str, printed_at: datetime, own: Own | None = None) -> CardContent:
    """What the card of this slot says at `printed_at`.

    own: what its café has of its own for it. With it, nothing more is read from the database for a slot that comes
    from `Slot.objects.for_card()`.
    """
    version, setting, cafe = slot.version, slot.setting, slot.board.cafe
    own = own_of(cafe, [version])[version.pk] if own is None else own
    coffee = version.recipe.coffee
    base = base_url.rstrip("/")
    return CardContent(
        recipe=version.recipe.name,
        version=version.number,
        plan=own.aims.onto(version.plan()),
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
        grind_here=own.grind.says if own.grind else "",
        own_targets=tuple(set_by(own.target)) if own.target else (),
        intended_cup=version.intended_cup,
        note=version.note,
        station=slot.station.name,
        cafe=cafe.name,
        published_at=slot.published_at,
        published_by=slot.published_by.name if slot.published_by else "",
        zone=cafe.zone,
        printed_on=printed_at.astimezone(cafe.zone).date(),
        invented=cafe.company.is_invented,
        style=company_style(cafe.company),
        language=get_language() or "en",
    )


def card_pdf(contents: CardContent | Sequence[CardContent], size: Size, now: datetime) -> bytes:
    """A page for each card, or for four on a sheet. The same contents at the same `now` give the same bytes."""
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
    if size not in (*SIZES, SHEET):
        raise ValueError(f"A card is a6, a5 or a4, or one of four on a sheet, not {size!r}.")
    if not cards:
        raise ValueError("There is no card to draw.")
    texts = [{**settable(said(card)), "qr": _qr(card.url)} for card in cards]
    language = cards[0].language.partition("-")[0]
    job = {"size": size, "font": FONT_FAMILY, "language": language, "cards": texts}
    return typeset(DRAWING, job, now, file_format, ppi=ppi)


@cache
def look() -> str:
    """A mark of how cards are drawn by this release: another drawing, icon or wording gives another mark."""
    files = [*DRAWING.parent.glob("card*.typ"), *(ROOT / "static" / "icons" / "patterns").glob("*.svg")]
    digest = sha256(__version__.encode())
    for file in sorted(files):
        digest.update(file.read_bytes())
    return digest.hexdigest()


def _qr(url: str) -> list[str]:
    """Rows of 0 and 1, without the quiet zone."""
    return ["".join("1" if dark else "0" for dark in row) for row in segno.make_qr(url, error="m").matrix]
