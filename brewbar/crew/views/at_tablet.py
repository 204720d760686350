"""On a shared tablet: who is brewing, the PIN, and what was typed before somebody was signed out."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.debug import sensitive_post_parameters

from brewbar.crew import kept, locks, pins, presence
from brewbar.crew.access import brewers_by_password, crew, unattended
from brewbar.crew.models import Membership
from brewbar.crew.pin_forms import NewPinForm, PinForm
from brewbar.web.answers import next_page
from brewbar.web.forms import render_form

SAY_HOW_MANY_ARE_LEFT = 3


def _crew(request: Any) -> Any:
    crew = Membership.objects.active().filter(cafe=request.member.cafe)
    return crew.select_related("user", "cafe__company", "company").order_by("user__name", "pk")


@unattended("GET")
def names(request: Any) -> HttpResponse:
    """Who is brewing?"""
    people, now, station = list(_crew(request)), timezone.now(), request.tablet.station
    context = {
        "people": people,
        "station": station,
        "next": next_page(request),
        "locked": {one.membership.pk for one in locks.locked(people, [station], now)},
        "waiting": kept.waiting(request.session, now),
    }
    return render(request, "crew/pin_names.html", context)


@sensitive_post_parameters("pin")
@unattended("GET", "POST")
def pin(request: Any, pk: int) -> HttpResponse:
    membership = get_object_or_404(_crew(request), pk=pk)
    context = {"person": membership.user, "membership": membership, "next": next_page(request)}
    if _is_locked(request, membership):
        return _locked(request, context)
    if not membership.pin_hash:
        return render(request, "crew/pin_none.html", context)
    form = PinForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        tried = pins.try_pin(request, request.tablet, membership, form.cleaned_data["pin"])
        if tried.user is not None:
            return _signed_in(request, membership)
        if tried.is_locked:
            return _locked(request, context)
        form.add_error("pin", _not_the_pin(membership, tried.left))
    return render_form(request, "crew/pin.html", context | {"form": form})


@sensitive_post_parameters("pin", "pin_again", "password")
@unattended("GET", "POST")
def pin_new(request: Any, pk: int) -> HttpResponse:
    """A first PIN, or another one, chosen at the tablet itself with the password: it opens no more than a PIN does."""
    membership = get_object_or_404(_crew(request), pk=pk)
    context = {"person": membership.user, "membership": membership, "next": next_page(request)}
    if _is_locked(request, membership):
        return _locked(request, context)
    form = NewPinForm(request, membership)
    if form.is_valid():
        pins.set_pin(membership, form.cleaned_data["pin"], membership.user)
        messages.success(request, _("Your PIN is set, and you are signed in."))
        return _signed_in(request, membership)
    return render_form(request, "crew/pin_new.html", context | {"form": form})


@sensitive_post_parameters("pin", "pin_again", "password")
@brewers_by_password("GET", "POST")
def my_pin(request: Any) -> HttpResponse:
    """One's own PIN for the tablets of the café one is in."""
    membership = request.member.membership
    form = NewPinForm(request, membership)
    if form.is_valid():
        pins.set_pin(membership, form.cleaned_data["pin"], request.user)
        said = _("Your PIN for the tablets at %(cafe)s is set.") % {"cafe": request.member.cafe}
        messages.success(request, said)
        return redirect("web:home")
    context = {"form": form, "membership": membership, "cafe": request.member.cafe}
    return render_form(request, "crew/my_pin.html", context)


@crew("POST")
def touch(request: Any) -> HttpResponse:
    """Somebody is there. That it was asked at all is what counts: see `presence`."""
    return HttpResponse(status=204)


@crew("GET", "POST")
def waiting(request: Any) -> HttpResponse:
    """What this person typed before they were signed out: to be sent after all, or thrown away."""
    if request.kept is None:
        return redirect("web:home")
    if request.method == "POST":
        kept.forget(request.session, request.user.pk)
        messages.info(request, _("What you had typed is thrown away."))
        return redirect("web:home")
    return render(request, "crew/kept.html", {"kept": request.kept, "cafe": request.member.cafe})


def _signed_in(request: Any, membership: Membership) -> HttpResponse:
    presence.sign_in_by_pin(request, membership)
    if kept.of(request.session, membership.user.pk, timezone.now()):
        return redirect("crew:kept")
    return redirect(next_page(request) or "web:home")


def _is_locked(request: Any, membership: Membership) -> bool:
    return bool(locks.locked([membership], [request.tablet.station], timezone.now()))


def _locked(request: Any, context: dict[str, Any]) -> HttpResponse:
    return render(request, "crew/pin_locked.html", context, status=429 if request.method == "POST" else 200)


def _not_the_pin(membership: Membership, left: int) -> str:
    said = _("That is not the PIN of %(name)s.") % {"name": membership.user}
    if left > SAY_HOW_MANY_ARE_LEFT:
        return said
    more = ngettext(
        "%(left)d more try before it is locked.", "%(left)d more tries before it is locked.", left
    )
    return f"{said} {more % {'left': left}}"
