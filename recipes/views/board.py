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

from brewbar.crew.access import Member, crew, head_baristas
from brewbar.web.forms import render_form
from recipes import boards, publishing
from recipes.forms.board import AdjustForm, TapForm
from recipes.models import Board, Slot


@crew("GET")
def board(request: Any) -> HttpResponse:
    now = timezone.now()
    if request.htmx and _is_as_seen(request.GET, request.member, now):
        return HttpResponse(status=204)
    context = _board(request.member, now)
    if request.htmx:
        told = boards.news(context["board"], _numbers(request.GET.getlist("shown")), context["stations"])
        return _fragment(
            request, context, told or [_("The board has changed.")] * _is_older(request.GET, context)
        )
    return render(request, "recipes/board.html", context)


def _is_as_seen(seen: Any, member: Member, now: datetime) -> bool:
    """Whether a page still shows this café's board as it stands, and counts the days off roast right."""
    cafe, boards_here = member.cafe, Board.objects.for_member(member).filter(cafe=member.cafe)
    is_as_now = {
        "seen": str(boards_here.values_list("revision", flat=True).first() or 0),
        "cafe": str(cafe.pk),
        "day": cafe.business_day(now).isoformat(),
    }
    return "seen" in seen and all(seen.get(name, value) == value for name, value in is_as_now.items())


def _is_older(seen: Any, context: dict[str, Any]) -> bool:
    return bool(seen.get("seen") != str(context["board"].revision))


def _board(member: Member, now: datetime) -> dict[str, Any]:
    board = publishing.board_of(member.cafe)
    stations = boards.live_board(board, now)
    return {
        "board": board,
        "cafe": member.cafe,
        "today": member.cafe.business_day(now),
        "now": now,
        "stations": stations,
        "shown": boards.settings_on(stations),
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
            raise publishing.Refused(_("That tap got lost. Nothing was changed: please tap again."))
        publishing.set_grind(slot, wanted["grind_setting"], request.user, now, seen=wanted["seen"])
    except publishing.Refused as refused:
        trouble = str(refused)
    if request.htmx:
        context = _board(request.member, now)
        told = boards.news(context["board"], _numbers(request.POST.getlist("shown")), context["stations"])
        return _fragment(request, context, told, trouble)
    if trouble:
        messages.warning(request, trouble)
    else:
        said = {"station": slot.station, "recipe": slot.card.recipe, "setting": wanted["grind_setting"]}
        messages.success(request, _("%(station)s, %(recipe)s: grind %(setting)s.") % said)
    return redirect("recipes:board")


@head_baristas("GET", "POST")
def slot(request: Any, pk: int) -> HttpResponse:
    """Batch, grinder and a typed setting of a live slot."""
    slot = get_object_or_404(Slot.objects.for_member(request.member).for_card(), pk=pk)
    if not slot.is_live:
        messages.info(request, _("This is no longer on the board. What you see now is what is live."))
        return redirect("recipes:board")
    form = AdjustForm(request.POST or None, member=request.member, slot=slot)
    if request.method == "POST" and form.is_valid():
        try:
            publishing.adjust(slot, request.user, timezone.now(), **form.cleaned_data)
        except publishing.Refused as refused:
            form.refuse(str(refused), slot)
        else:
            messages.success(request, _("The board shows it now."))
            return redirect("recipes:board")
    cafe = slot.board.cafe
    today = cafe.business_day(timezone.now())
    context = {"form": form, "slot": slot, "history": boards.history_of(slot), "cafe": cafe, "today": today}
    return render_form(request, "recipes/board_slot.html", context)
