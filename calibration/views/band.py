"""Which published band the company compares its cups with."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _

from brewbar.crew.access import head_or_owner
from brewbar.web.forms import render_form
from calibration import conventions
from calibration.forms.band import BandForm


@head_or_owner("GET", "POST")
def band(request: Any) -> HttpResponse:
    member = request.member
    chosen = conventions.chosen(member)
    form = BandForm(
        request.POST if request.method == "POST" else None, initial={"key": chosen.key if chosen else ""}
    )
    if form.is_valid():
        conventions.choose(member.company, form.band(), request.user)
        messages.success(request, _("The choice is kept. Charts and readings go by it from now on."))
        return redirect("calibration:strength")
    return render_form(request, "calibration/band.html", {"form": form})
