"""Planning the board and publishing it: head baristas only."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import head_baristas
from brewbar.web.forms import render_form
from recipes import planning, publishing
from recipes.forms.board import LeaveForm, WhereForm, WithForm
from recipes.models import Board, RecipeVersion, Slot


@head_baristas("GET", "POST")
def plan(request: Any) -> HttpResponse:
    """The plan, and below it a slot being added: first where, then with what."""
    member, asked = request.member, request.GET
    board = publishing.board_of(member.cafe)
    offered, blocked = planning.on_offer(member)
    both = "version" in asked and "station" in asked
    where = WhereForm(asked if both else None, initial=asked.dict(), member=member, offered=offered)
    context: dict[str, Any] = {"where": where, "asked": asked.get("version", ""), "blocked": blocked}
    if both and where.is_valid():
        station, version = where.cleaned_data["station"], where.cleaned_data["version"]
        usual = vars(planning.usual(board, station, version))
        form = WithForm(request.POST or None, initial=usual, member=member, version=version)
        context |= {"form": form, "station": station, "version": version}
        if request.method == "POST" and form.is_valid():
            try:
                publishing.plan_slot(
                    board, station, version, by=request.user, now=timezone.now(), **form.cleaned_data
                )
            except publishing.Refused as refused:
                form.add_error(None, str(refused))
            else:
                said = {"recipe": version.recipe, "station": station}
                messages.success(
                    request, _("%(recipe)s is planned for %(station)s. The crew sees nothing yet.") % said
                )
                return redirect("recipes:board_plan")
    return render_form(request, "recipes/board_plan.html", context | _plan(board, offered))


def _plan(board: Board, offered: Sequence[RecipeVersion] = ()) -> dict[str, Any]:
    stations = planning.plan_of(board, offered)
    changes = [change for there in stations for change in there.changes]
    return {
        "board": board,
        "cafe": board.cafe,
        "stations": stations,
        "moving": [change for change in changes if change.kind != "stays"],
        "unready": [change for change in changes if not change.is_ready],
        "mark": publishing.plan_mark(board),
    }


@head_baristas("POST")
def slot_drop(request: Any, pk: int) -> HttpResponse:
    """Out of the plan again."""
    slot = get_object_or_404(Slot.objects.for_member(request.member), pk=pk)
    try:
        publishing.drop_planned(slot)
    except publishing.Refused as refused:
        messages.warning(request, str(refused))
    return redirect("recipes:board_plan")


@head_baristas("GET", "POST")
def slot_leave(request: Any, pk: int) -> HttpResponse:
    """Has the next publishing take a live slot off the board."""
    slot = get_object_or_404(Slot.objects.for_member(request.member).for_card(), pk=pk)
    form = LeaveForm(request.POST or None, initial={"why": slot.withdrawn_why})
    if request.method == "POST" and form.is_valid():
        try:
            publishing.mark_leaving(slot, form.cleaned_data["why"])
        except publishing.Refused as refused:
            messages.warning(request, str(refused))
        return redirect("recipes:board_plan")
    return render_form(request, "recipes/board_leave.html", {"form": form, "slot": slot})


@head_baristas("POST")
def slot_keep(request: Any, pk: int) -> HttpResponse:
    """Stays after all."""
    slot = get_object_or_404(Slot.objects.for_member(request.member), pk=pk)
    try:
        publishing.keep(slot)
    except publishing.Refused as refused:
        messages.warning(request, str(refused))
    return redirect("recipes:board_plan")


@head_baristas("GET", "POST")
def publish(request: Any) -> HttpResponse:
    """Shows what the crew is going to see, and does it on one confirmation."""
    board = publishing.board_of(request.member.cafe)
    if request.method == "POST":
        try:
            publishing.publish(board, request.user, timezone.now(), seen=request.POST.get("seen", ""))
        except publishing.Refused as refused:
            # Nothing was typed here that could be lost: what is shown next is how things stand now.
            messages.warning(request, str(refused))
            return redirect("recipes:board_publish")
        messages.success(request, _("Published. The crew sees this board now."))
        return redirect("recipes:board")
    return render_form(request, "recipes/board_publish.html", _plan(board))
