"""The first start: the company is opened once, and its owner is told what comes next."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth import login
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from brewbar.crew import first_start
from brewbar.crew.access import owners, public
from brewbar.crew.set_up_form import SetUpForm
from brewbar.web.forms import render_form

BACKEND = "django.contrib.auth.backends.ModelBackend"


@sensitive_post_parameters()
@never_cache
@public("GET", "POST")
def set_up(request: Any) -> HttpResponse:
    if not first_start.is_open():
        raise Http404
    form = SetUpForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            owner = first_start.open_with(**form.answers)
        except (first_start.WrongCode, first_start.Closed):
            messages.warning(
                request, _("Somebody else was just opening the company. Nothing of yours was saved.")
            )
            return redirect("crew:sign_in")
        except ValidationError as refused:
            form.add_error(None, ValidationError(refused.messages))
        else:
            login(request, owner.user, backend=BACKEND)
            messages.success(
                request, _("%(company)s is open, and you are signed in.") % {"company": owner.company}
            )
            return redirect("crew:first_steps")
    return render_form(request, "crew/set_up.html", {"form": form})


@owners("GET")
def first_steps(request: Any) -> HttpResponse:
    """What an owner does next, and what the head barista does then."""
    context = {"member": request.member, "company": request.member.company, "cafe": request.member.cafe}
    return render(request, "crew/first_steps.html", context)
