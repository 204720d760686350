"""The day's board as the crew sees it, and the grind moved on it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import Place, at_the_bar, brewers, head_baristas
from brewbar.web.forms import render_form
from recipes import adjusting, at_cafe, boards, due, matches, publishing, seen, turns
from recipes.forms.board import AdjustForm, TapForm
from recipes.models import Board, Slot


@at_the_bar("GET")
def board(request: Any) -> HttpResponse:
    now = timezone.now()
    here = publishing.board_as_it_stands(request.member.cafe, now)
    if request.htmx and _is_as_seen(request.GET, here, now):
        return HttpResponse(status=204)
    if not request.htmx:
        boards.opened.send(sender=Board, place=request.member, now=now)
    context = _board(request.member, here, now)
    if request.htmx:
        told = boards.news(here, _numbers(request.GET.getlist("shown")), context["stations"])
        return _fragment(
            request, context, told or [_("The board has changed.")] * _is_older(request.GET, here)
        )
    return render(request, "recipes/board.html", context)


def _is_as_seen(seen: Any, board: Board, now: datetime) -> bool:
    """Whether a page still shows this café's board as it stands, and counts the days off roast right."""
    is_as_now = {
        "seen": str(board.revision),
        "cafe": str(board.cafe.pk),
        "day": board.cafe.business_day(now).isoformat(),
        "due": due.mark(board),
    }
    return "seen" in seen and all(seen.get(name, value) == value for name, value in is_as_now.items())


def _is_older(seen: Any, board: Board) -> bool:
    return bool(seen.get("seen") != str(board.revision))


def _board(member: Place, board: Board, now: datetime) -> dict[str, Any]:
    stations = boards.live_board(board, now, member)
    return {
        "board": board,
        "cafe": member.cafe,
        "today": member.cafe.business_day(now),
        "now": now,
        "stations": stations,
        "shown": boards.settings_on(stations),
        "due_mark": due.mark(board),
        "goes_live": due.said(board, now),
    }


def _fragment(request: Any, context: dict[str, Any], told: Iterable[str], trouble: str = "") -> HttpResponse:
    context = context | {"told": list(told), "trouble": trouble, "with_news": True}
    return render(request, "recipes/_board.html", context, status=422 if trouble else 200)


def _numbers(texts: Iterable[str]) -> list[int]:
    return [int(text) for text in texts if text.isascii() and text.isdecimal() and len(text) < 19]


@head_baristas("POST")
def slot_grind(request: Any, pk: int) -> HttpResponse:
    """One tap. Without htmx it leads back to the whole board."""
    slot = get_object_or_404(Slot.objects.for_member(request.member), pk=pk)
    form, now, trouble = TapForm(request.POST), timezone.now(), ""
    wanted = form.cleaned_data if form.is_valid() else {}
    try:
        if not wanted:
            raise turns.Refused(_("That tap got lost. Nothing was changed: please tap again."))
        adjusting.set_grind(slot, wanted["grind_setting"], request.user, now, seen=wanted["seen"])
    except turns.Refused as refused:
        trouble = str(refused)
    if request.htmx:
        here = publishing.board_as_it_stands(request.member.cafe, now)
        context = _board(request.member, here, now)
        told = boards.news(here, _numbers(request.POST.getlist("shown")), context["stations"])
        return _fragment(request, context, told, trouble)
    if trouble:
        messages.warning(request, trouble)
    else:
        said = {"station": slot.station, "recipe": slot.card.recipe, "setting": wanted["grind_setting"]}
        messages.success(request, _("%(station)s, %(recipe)s: grind %(setting)s.") % said)
    back = wanted.get("back")
    return redirect("recipes:slot", back) if back else redirect("recipes:board")


@brewers("POST")
def slot_seen(request: Any, pk: int) -> HttpResponse:
    """Somebody has read what changed. Without htmx it leads back to where they read it."""
    slots = Slot.objects.for_member(request.member).filter(published_at__isnull=False)
    slot = get_object_or_404(slots, pk=pk)
    seen.mark_seen(slot, request.member.user, timezone.now())
    if request.htmx:
        return render(request, "recipes/_slot_seen.html", {"slot": slot})
    return redirect("recipes:card", slot.pk) if "on_card" in request.POST else redirect("recipes:board")


@head_baristas("GET", "POST")
def slot(request: Any, pk: int) -> HttpResponse:
    """Batch, grinder and a typed setting of a live slot."""
    now = timezone.now()
    slot = get_object_or_404(Slot.objects.for_member(request.member).for_card(), pk=pk)
    slot = publishing.slot_as_it_stands(slot, now)
    if not slot.is_live:
        messages.info(request, _("This is no longer on the board. What you see now is what is live."))
        return redirect("recipes:board")
    form = AdjustForm(request.POST or None, member=request.member, slot=slot)
    if request.method == "POST" and form.is_valid():
        try:
            slot = adjusting.adjust(slot, request.user, now, **form.cleaned_data)
        except turns.Refused as refused:
            form.refuse(str(refused), slot)
        else:
            messages.success(request, _("The board shows it now."))
            follow = any(other.setting and not other.stands_so for other in matches.beside(slot))
            return redirect("recipes:slot", pk) if follow else redirect("recipes:board")
    cafe = slot.board.cafe
    today = cafe.business_day(now)
    context = {
        "form": form,
        "slot": slot,
        "history": boards.history_of(slot),
        "readers": seen.readers_of(cafe, [slot])[slot.pk],
        "beside": matches.beside(slot),
        "grind_note": at_cafe.standing_of(cafe, slot.version.recipe)[0],
        "cafe": cafe,
        "today": today,
    }
    return render_form(request, "recipes/board_slot.html", context)
