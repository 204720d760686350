"""What people set for themselves, and what is held about them."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from django.contrib import messages
from django.http import FileResponse, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from brewbar.crew import accounts, held_file, how_named
from brewbar.crew import held as holdings
from brewbar.crew.access import crew, crew_by_password
from brewbar.crew.models import Company, User
from brewbar.crew.settings_forms import MineForm
from brewbar.web.forms import render_form


@crew_by_password("GET", "POST")
def account(request: Any) -> HttpResponse:
    member = request.member
    # A row of its own: a refused name must not stand at the head of the page.
    row = User.objects.get(pk=request.user.pk)
    form = MineForm(request.POST if request.method == "POST" else None, row, member.company)
    if form.is_valid():
        accounts.save(row)
        messages.success(request, _("Saved."))
        return redirect("crew:account")
    named = how_named.told(member.company)
    return render_form(request, "crew/account.html", {"form": form, "member": member, "named": named})


@crew("GET")
def held(request: Any) -> HttpResponse:
    found = holdings.about(request.member.user)
    shown = groupby((one for one in found if one.number), key=lambda one: one.kind.room)
    context = {
        "rooms": [(room, list(ones)) for room, ones in shown],
        "nothing_of": [one.kind.title for one in found if not one.number],
        "besides": held_file.besides(),
        "companies": Company.objects.filter(memberships__user=request.member.user)
        .distinct()
        .order_by("name"),
    }
    return render(request, "crew/held.html", context)


@never_cache
@crew_by_password("GET")
def held_download(request: Any) -> Any:
    now = timezone.now()
    name = f"brewbar-held-about-{request.member.user.username}-{now.date()}.zip"
    return FileResponse(held_file.written(request.member.user, now), as_attachment=True, filename=name)
