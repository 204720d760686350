"""Station cards: the page of one, its picture on screen, and what prints."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from hashlib import sha256
from http import HTTPStatus
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.text import slugify
from django.utils.translation import gettext as _

from brewbar.crew.access import at_the_bar, head_baristas
from recipes.at_cafe import own
from recipes.cards import (
    CAUTION,
    SHEET,
    SIZES,
    CardContent,
    Size,
    card_pdf,
    card_svg,
    content_of,
    contents_of,
    look,
)
from recipes.codes import follower
from recipes.models import Slot
from recipes.printing import note_prints, papers_of, to_throw_away
from recipes.publishing import board_as_it_stands, slot_as_it_stands
from recipes.seen import news_for
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
            "own": own(slot.board.cafe, slot.version),
            "plan_rows": rows,
            "sizes": SIZES,
            "caution": _(CAUTION),
            "told": news_for(request.member, [slot], timezone.now()).get(slot.pk),
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
    answer = _printed(request, [slot], size, now)
    return _named(answer, slugify(f"card {slot.station} {slot.version}") or "card", size)


@at_the_bar("GET")
def board_cards(request: Any) -> HttpResponse:
    """The live cards of the café's board in one file: all, or those that are missing or out of date."""
    size, now, cafe = _size(request, SHEET), timezone.now(), request.member.cafe
    board = board_as_it_stands(cafe, now)
    wanted = request.GET.get("which") == "wanted"
    slots = [paper.slot for paper in papers_of(board) if paper.wants_printing or not wanted]
    if not slots:
        messages.info(
            request,
            _("Every printed card is up to date.")
            if wanted
            else _("Nothing is on the board, so there is no card to print."),
        )
        return redirect("recipes:board")
    return _named(_printed(request, slots, size, now), slugify(f"cards {cafe}") or "cards", size)


@head_baristas("GET")
def printed(request: Any) -> HttpResponse:
    """What lies at the stations, against what is live."""
    now, cafe = timezone.now(), request.member.cafe
    board = board_as_it_stands(cafe, now)
    papers = papers_of(board)
    context = {
        "cafe": cafe,
        "papers": papers,
        "wanted": [paper for paper in papers if paper.wants_printing],
        "gone": to_throw_away(board, now),
        "today": cafe.business_day(now),
    }
    return render(request, "recipes/board_printed.html", context)


def _printed(request: Any, slots: list[Slot], size: Size, now: datetime) -> HttpResponse:
    """The cards to print, remembered as printed unless the browser has them already."""
    contents = contents_of(slots, settings.BASE_URL, now)
    answer = _drawn(request, contents, size, now, "application/pdf", lambda: card_pdf(contents, size, now))
    if request.method == "GET" and answer.status_code == HTTPStatus.OK:
        note_prints(slots, size, getattr(request.member, "user", None), now)
    return answer


def _published(request: Any, pk: int) -> Slot:
    slots = Slot.objects.for_member(request.member).filter(published_at__isnull=False).for_card()
    return slot_as_it_stands(get_object_or_404(slots, pk=pk), timezone.now())


def _size(request: Any, *more: Size) -> Size:
    asked = request.GET.get("size", SIZES[0]).lower()
    if asked not in (*SIZES, *more):
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
