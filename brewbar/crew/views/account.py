"""What people set for themselves."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _

from brewbar.crew import accounts, how_named
from brewbar.crew.access import crew_by_password
from brewbar.crew.models import User
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
