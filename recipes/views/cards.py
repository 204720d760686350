"""Station cards: the page of one, its picture on screen, and what prints."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from hashlib import sha256
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.text import slugify
from django.utils.translation import gettext as _

from brewbar.crew.access import at_the_bar
from recipes.cards import CAUTION, SIZES, CardContent, Size, card_pdf, card_svg, content_of, look
from recipes.codes import follower
from recipes.models import Slot
from recipes.publishing import board_as_it_stands, slot_as_it_stands
from recipes.timeline import plan_rows


@at_the_bar("GET")
def card(request: Any, pk: int) -> HttpResponse:
    """The card of a live slot. The page of one that was replaced leads on to what is live."""
    slot = _published(request, pk)
    if slot.is_live:
        rows = plan_rows(slot.version.plan())
        context = {
            "slot": slot,
            "cafe": slot.board.cafe,
            "plan_rows": rows,
            "sizes": SIZES,
            "caution": CAUTION,
        }
        return render(request, "recipes/card.html", context)
    live = follower(slot)
    said = {"slot": slot, "why": slot.withdrawn_why}
    if live is None:
        messages.info(request, _("%(slot)s has left the board: %(why)s") % said)
        return redirect("recipes:board")
    messages.info(request, _("%(slot)s was replaced. This is the card of what is live now.") % said)
    return redirect("recipes:card", pk=live.pk)


@at_the_bar("GET")
def card_picture(request: Any, pk: int) -> HttpResponse:
    slot, size, now = _published(request, pk), _size(request), timezone.now()
    content = content_of(slot, settings.BASE_URL, now)
    return _drawn(request, [content], size, now, "image/svg+xml", lambda: card_svg(content, size, now))


@at_the_bar("GET")
def card_print(request: Any, pk: int) -> HttpResponse:
    slot, size, now = _published(request, pk), _size(request), timezone.now()
    content = content_of(slot, settings.BASE_URL, now)
    answer = _drawn(request, [content], size, now, "application/pdf", lambda: card_pdf(content, size, now))
    return _named(answer, slugify(f"card {slot.station} {slot.version}") or "card", size)


@at_the_bar("GET")
def board_cards(request: Any) -> HttpResponse:
    """Every live card of the café's board, a page each."""
    size, now, cafe = _size(request), timezone.now(), request.member.cafe
    board_as_it_stands(cafe, now)
    slots = Slot.objects.for_member(request.member).filter(board__cafe=cafe).live().for_card()
    contents = [content_of(slot, settings.BASE_URL, now) for slot in slots]
    if not contents:
        messages.info(request, _("Nothing is on the board, so there is no card to print."))
        return redirect("recipes:board")
    answer = _drawn(request, contents, size, now, "application/pdf", lambda: card_pdf(contents, size, now))
    return _named(answer, slugify(f"cards {cafe}") or "cards", size)


def _published(request: Any, pk: int) -> Slot:
    slots = Slot.objects.for_member(request.member).filter(published_at__isnull=False).for_card()
    return slot_as_it_stands(get_object_or_404(slots, pk=pk), timezone.now())


def _size(request: Any) -> Size:
    asked = request.GET.get("size", SIZES[0]).lower()
    if asked not in SIZES:
        raise Http404
    return asked


def _drawn(
    request: Any, contents: list[CardContent], size: Size, now: datetime, kind: str, draw: Callable[[], bytes]
) -> HttpResponse:
    """The drawing, or 304 where the browser holds one of the same content and day of printing."""
    days = [now.astimezone(content.zone).date() for content in contents]
    said = repr((contents, days, size, kind, look()))
    etag = f'W/"{sha256(said.encode()).hexdigest()[:32]}"'
    if (unchanged := get_conditional_response(request, etag=etag)) is not None:
        return unchanged
    return HttpResponse(draw(), content_type=kind, headers={"ETag": etag})


def _named(answer: HttpResponse, name: str, size: Size) -> HttpResponse:
    answer["Content-Disposition"] = f'inline; filename="{name}-{size}.pdf"'
    return answer
