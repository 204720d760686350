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
from recipes import at_cafe, due, planning, publishing, turns, withdrawing
from recipes.forms.board import DueForm, LeaveForm, OffForm, WhereForm, WithForm
from recipes.models import Board, RecipeVersion, Slot


@head_baristas("GET", "POST")
def plan(request: Any) -> HttpResponse:
    """The plan, and below it a slot being added: first where, then with what."""
    member, asked = request.member, request.GET
    board = publishing.board_as_it_stands(member.cafe, timezone.now())
    offered, blocked = planning.on_offer(member)
    both = "version" in asked and "station" in asked
    where = WhereForm(asked if both else None, initial=asked.dict(), member=member, offered=offered)
    context: dict[str, Any] = {"where": where, "asked": asked.get("version", ""), "blocked": blocked}
    if both and where.is_valid():
        station, version = where.cleaned_data["station"], where.cleaned_data["version"]
        usual = planning.usual(board, station, version)
        form = WithForm(request.POST or None, initial=vars(usual), member=member, version=version)
        context |= {"form": form, "station": station, "version": version, "elsewhere": usual.elsewhere}
        context["grind_note"], _target = at_cafe.standing_of(member.cafe, version.recipe)
        if request.method == "POST" and form.is_valid():
            try:
                publishing.plan_slot(
                    board, station, version, by=request.user, now=timezone.now(), **form.cleaned_data
                )
            except turns.Refused as refused:
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
        "goes_live": due.said(board, timezone.now()),
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
        publishing.drop_planned(slot, timezone.now())
    except turns.Refused as refused:
        messages.warning(request, str(refused))
    return redirect("recipes:board_plan")


@head_baristas("GET", "POST")
def slot_leave(request: Any, pk: int) -> HttpResponse:
    """Has the next publishing take a live slot off the board."""
    slot = get_object_or_404(Slot.objects.for_member(request.member).for_card(), pk=pk)
    form = LeaveForm(request.POST or None, initial={"why": slot.withdrawn_why})
    if request.method == "POST" and form.is_valid():
        try:
            publishing.mark_leaving(slot, form.cleaned_data["why"], timezone.now())
        except turns.Refused as refused:
            messages.warning(request, str(refused))
        return redirect("recipes:board_plan")
    return render_form(request, "recipes/board_leave.html", {"form": form, "slot": slot})


@head_baristas("POST")
def slot_keep(request: Any, pk: int) -> HttpResponse:
    """Stays after all."""
    slot = get_object_or_404(Slot.objects.for_member(request.member), pk=pk)
    try:
        publishing.keep(slot, timezone.now())
    except turns.Refused as refused:
        messages.warning(request, str(refused))
    return redirect("recipes:board_plan")


@head_baristas("GET", "POST")
def slot_off(request: Any, pk: int) -> HttpResponse:
    """Off the board at once; for what comes on instead, batch and grind are asked on a second round."""
    member, now = request.member, timezone.now()
    slot = get_object_or_404(Slot.objects.for_member(member).for_card(), pk=pk)
    slot = publishing.slot_as_it_stands(slot, now)
    if not slot.is_live:
        messages.info(request, _("This is no longer on the board. What you see now is what is live."))
        return redirect("recipes:board")
    offered, _blocked = planning.on_offer(member)
    form = OffForm(request.POST or None, member=member, slot=slot, offered=offered)
    context: dict[str, Any] = {"form": form, "slot": slot}
    if request.method == "POST" and form.is_valid():
        instead: Any = form.replacement
        if isinstance(instead, RecipeVersion):
            usual = planning.usual(slot.board, slot.station, instead)
            made_with = _made_with(request, instead, usual)
            context |= {"made_with": made_with, "version": instead, "elsewhere": usual.elsewhere}
            context["grind_note"], _target = at_cafe.standing_of(member.cafe, instead.recipe)
            ready = made_with.is_bound and made_with.is_valid()
            instead = withdrawing.NewSlot(instead, **made_with.cleaned_data) if ready else instead
        if not isinstance(instead, RecipeVersion) and _withdraw(request, form, slot, instead):
            return redirect("recipes:board")
    return render_form(request, "recipes/board_off.html", context)


def _made_with(request: Any, version: RecipeVersion, usual: planning.Usual) -> WithForm:
    """What comes on is brewed with what was typed for it, or with what is usual until something was."""
    sent = request.POST if request.POST.get("made_with") == str(version.pk) else None
    return WithForm(sent, initial=vars(usual), member=request.member, version=version)


def _withdraw(request: Any, form: OffForm, slot: Slot, instead: Any) -> bool:
    why = form.cleaned_data["why"]
    try:
        new = withdrawing.withdraw_now(slot, why, request.user, timezone.now(), instead)
    except turns.Refused as refused:
        form.add_error(None, str(refused))
        return False
    said = {"recipe": slot.card.recipe, "station": slot.station, "new": new and new.version}
    messages.success(
        request,
        (
            _("%(recipe)s is off %(station)s. Brewed instead: %(new)s.")
            if new
            else _("%(recipe)s is off %(station)s.")
        )
        % said,
    )
    return True


@head_baristas("GET", "POST")
def publish(request: Any) -> HttpResponse:
    """Shows what the crew is going to see, and does it on one confirmation."""
    board = publishing.board_as_it_stands(request.member.cafe, timezone.now())
    if request.method == "POST":
        try:
            publishing.publish(board, request.user, timezone.now(), seen=request.POST.get("seen", ""))
        except turns.Refused as refused:
            # Nothing was typed here that could be lost: what is shown next is how things stand now.
            messages.warning(request, str(refused))
            return redirect("recipes:board_publish")
        messages.success(request, _("Published. The crew sees this board now."))
        return redirect("recipes:board")
    return render_form(request, "recipes/board_publish.html", _plan(board))


@head_baristas("GET", "POST")
def board_due(request: Any) -> HttpResponse:
    """Has the plan go live by itself."""
    now = timezone.now()
    board = publishing.board_as_it_stands(request.member.cafe, now)
    form = DueForm(request.POST or None, cafe=board.cafe, now=now)
    if request.method == "POST" and form.is_valid():
        try:
            due.set_due(board, form.cleaned_data["at"], request.user, now)
        except turns.Refused as refused:
            form.add_error("at", str(refused))
        else:
            board.refresh_from_db()
            messages.success(request, _("The plan goes live %(when)s.") % {"when": due.said(board, now)})
            return redirect("recipes:board_plan")
    return render_form(request, "recipes/board_due.html", _plan(board) | {"form": form})


@head_baristas("POST")
def board_due_clear(request: Any) -> HttpResponse:
    """The plan waits for somebody to publish it."""
    board = publishing.board_as_it_stands(request.member.cafe, timezone.now())
    due.clear_due(board, request.user, timezone.now())
    return redirect("recipes:board_plan")
