"""What happened at the bar: read by everybody, written down and taken back by head baristas."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import crew, head_baristas
from brewbar.web.forms import render_form
from recipes import happenings
from recipes.catalogue import NotDone
from recipes.forms.happenings import EventFilter, EventForm
from recipes.models import BarEvent, BrewWater

A_PAGE = 50


@crew("GET")
def events(request: Any) -> HttpResponse:
    form = EventFilter(request.GET, request.member)
    asked = form.asked()
    page = Paginator(happenings.seen_by(request.member, **asked), A_PAGE).get_page(request.GET.get("page"))
    context = {"filter": form, "page": page, "is_filtered": any(asked.values())}
    return render(request, "recipes/events.html", context)


@head_baristas("GET", "POST")
def event_new(request: Any) -> HttpResponse:
    now, member = timezone.now(), request.member
    asked = {name: request.GET[name] for name in ("kind", "thing") if name in request.GET}
    form = EventForm(request.POST or None, initial=asked, member=member, now=now)
    if request.method == "POST" and form.is_valid():
        try:
            happenings.add(member.cafe, by=request.user, now=now, **form.cleaned_data)
        except NotDone as reason:
            form.add_error(None, str(reason))
        else:
            messages.success(request, _("It is written down."))
            return redirect("recipes:events")
    return render_form(request, "recipes/event_new.html", {"form": form})


@head_baristas("POST")
def event_take_back(request: Any, pk: int) -> HttpResponse:
    event = get_object_or_404(BarEvent.objects.for_member(request.member).select_related("cafe"), pk=pk)
    try:
        happenings.take_back(event, request.user, timezone.now())
    except NotDone as reason:
        messages.warning(request, str(reason))
    else:
        messages.success(request, _("It is taken back. It stays to be seen, and counts nowhere."))
    return redirect("recipes:events")


@head_baristas("POST")
def water_use(request: Any, pk: int) -> HttpResponse:
    water = get_object_or_404(BrewWater.objects.for_member(request.member).select_related("cafe"), pk=pk)
    try:
        happenings.brew_with(water, request.user, timezone.now())
    except NotDone as reason:
        messages.error(request, str(reason))
    else:
        messages.success(request, _("The bar brews with %(name)s now.") % {"name": water})
    return redirect("recipes:water", pk)
