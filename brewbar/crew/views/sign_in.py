"""Signing in and out, changing the password, and moving between the places where one has a role."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth import login, update_session_auth_hash
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters

from brewbar.crew import accounts, first_start, kept
from brewbar.crew.access import PLACE_KEY, crew, crew_by_password, public
from brewbar.crew.forms import PasswordForm, SignInForm
from brewbar.web.answers import next_page


def _next_page(request: HttpRequest) -> str:
    return next_page(request) or reverse("web:home")


@sensitive_post_parameters("password")
@public("GET", "POST")
def sign_in(request: Any) -> HttpResponse:
    if request.user.is_authenticated:
        return HttpResponseRedirect(_next_page(request))
    if request.method == "GET" and first_start.is_open():
        return HttpResponseRedirect(reverse("crew:set_up"))
    form = SignInForm(request, data=request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        login(request, form.get_user())
        return HttpResponseRedirect(_next_page(request))
    context = {"form": form, "next": _next_page(request)}
    return render(request, "crew/sign_in.html", context, status=422 if form.is_bound else 200)


@public("POST")
def sign_out(request: Any) -> HttpResponse:
    kept.sign_out(request)
    return HttpResponseRedirect(reverse("web:home" if request.tablet else "crew:sign_in"))


@crew("POST")
def switch_place(request: Any) -> HttpResponse:
    wanted = request.POST.get("place", "")
    place = next((p for p in request.places if p.key == wanted), None)
    if place is None:
        messages.error(request, _("You have no role there any more."))
    else:
        request.session[PLACE_KEY] = place.key
        messages.success(request, _("You are at %(place)s now.") % {"place": place.label})
    return HttpResponseRedirect(_next_page(request))


@sensitive_post_parameters()
@crew_by_password("GET", "POST")
def password(request: Any) -> HttpResponse:
    form = PasswordForm(request.user, data=request.POST or None)
    if request.method == "POST" and form.is_valid():
        accounts.change_password(request.user, form.cleaned_data["new_password1"])
        update_session_auth_hash(request, request.user)
        messages.success(request, accounts.said_of_new_password(request.user, timezone.now()))
        return HttpResponseRedirect(reverse("web:home"))
    return render(request, "crew/password.html", {"form": form}, status=422 if form.is_bound else 200)
