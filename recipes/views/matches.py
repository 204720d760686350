"""Grinders beside one another: read by everybody, written by head baristas."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import crew, head_baristas
from brewbar.web.forms import render_form
from recipes import matches as job
from recipes.catalogue import NotDone
from recipes.forms.matches import MatchForm
from recipes.models import GrinderMatch


@crew("GET")
def matches(request: Any) -> HttpResponse:
    rows = list(job.found_in(GrinderMatch.objects.for_member(request.member)))
    context = {
        "standing": [row for row in rows if not row.taken_back_at],
        "taken_back": [row for row in rows if row.taken_back_at],
    }
    return render(request, "recipes/matches.html", context)


@head_baristas("GET", "POST")
def match_new(request: Any) -> HttpResponse:
    asked = {name: request.GET[name] for name in ("grinder", "other", "setting") if name in request.GET}
    form = MatchForm(request.POST or None, initial=asked, member=request.member)
    if request.method == "POST" and form.is_valid():
        try:
            job.add(**form.cleaned_data, by=request.user, now=timezone.now())
        except NotDone as reason:
            form.add_error(None, str(reason))
        else:
            messages.success(request, _("It is written down, and settings are carried over by it."))
            return redirect("recipes:matches")
    return render_form(request, "recipes/match_new.html", {"form": form})


@head_baristas("POST")
def match_take_back(request: Any, pk: int) -> HttpResponse:
    match = get_object_or_404(GrinderMatch.objects.for_member(request.member), pk=pk)
    try:
        job.take_back(match, request.user, timezone.now())
    except NotDone as reason:
        messages.warning(request, str(reason))
    else:
        messages.success(request, _("It is taken back. It stays to be seen, and counts nowhere."))
    return redirect("recipes:matches")
