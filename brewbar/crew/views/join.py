"""What a link that opens once leads to: joining, or a new password."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.forms import SetPasswordForm
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from brewbar.crew import accounts, joining
from brewbar.crew.access import PLACE_KEY, places_of, public
from brewbar.crew.models import Membership, OneTimeLink, Role
from brewbar.crew.people_forms import AccountForm, JoinForm
from brewbar.web.forms import render_form

BACKEND = "django.contrib.auth.backends.ModelBackend"


@sensitive_post_parameters()
@never_cache
@public("GET", "POST")
def join(request: Any, key: str) -> HttpResponse:
    return _behind(request, key, _accept if request.user.is_authenticated else _newcomer)


@sensitive_post_parameters()
@never_cache
@public("GET", "POST")
def join_known(request: Any, key: str) -> HttpResponse:
    """For whoever has an account and is not signed in: signing in and joining are one step."""
    return _behind(request, key, _accept if request.user.is_authenticated else _account)


def _behind(request: Any, key: str, view: Any) -> HttpResponse:
    """The page behind the link, or one that says no more than that there is none."""
    try:
        link = joining.opened(key, timezone.now())
        if request.member is not None and request.member.by_pin:
            return render(request, "crew/join_by_pin.html")
        if link.kind == OneTimeLink.Kind.PASSWORD:
            view = _new_password
        return view(request, key, link)
    except joining.Gone:
        return render(request, "crew/join_gone.html", status=410)
    except joining.AlreadyHere as found:
        return render(request, "crew/join_already.html", {"membership": found.membership})


def _newcomer(request: Any, key: str, link: OneTimeLink) -> HttpResponse:
    form = JoinForm(request.POST if request.method == "POST" else None, initial={"name": link.name})
    if form.is_valid():
        typed = {name: form.cleaned_data[name] for name in ("name", "username", "password")}
        try:
            return _welcome(request, joining.join_as_new(key, **typed, now=timezone.now()))
        except ValidationError as refused:
            form.add_error(None, refused)
    return render_form(request, "crew/join.html", {"form": form, "link": link, "key": key})


def _account(request: Any, key: str, link: OneTimeLink) -> HttpResponse:
    form = AccountForm(request, data=request.POST if request.method == "POST" else None)
    if form.is_valid():
        user = form.get_user()
        try:
            return _welcome(request, joining.join(key, user, timezone.now()))
        except joining.AlreadyHere:
            login(request, user, backend=BACKEND)
            raise
    return render_form(request, "crew/join_known.html", {"form": form, "link": link, "key": key})


def _accept(request: Any, key: str, link: OneTimeLink) -> HttpResponse:
    if request.method == "POST":
        return _welcome(request, joining.join(key, request.user, timezone.now()))
    here = request.user.memberships.filter(company=link.company, cafe=link.cafe, ended_at=None).first()
    if here is not None:
        raise joining.AlreadyHere(here)
    return render(request, "crew/join_accept.html", {"link": link, "key": key})


def _new_password(request: Any, key: str, link: OneTimeLink) -> HttpResponse:
    person = link.for_user
    assert person is not None, "held by the database"
    form = SetPasswordForm(person, request.POST if request.method == "POST" else None)
    if form.is_valid():
        user = joining.renew_password(key, form.cleaned_data["new_password1"], timezone.now())
        login(request, user, backend=BACKEND)
        messages.success(request, accounts.said_of_new_password(user, timezone.now()))
        return redirect("web:home")
    return render_form(request, "crew/join_password.html", {"form": form, "person": person})


def _welcome(request: Any, membership: Membership) -> HttpResponse:
    """Signed in at the place just joined; whoever brews is led on to a PIN for the tablets."""
    user = membership.user
    if request.user != user:
        login(request, user, backend=BACKEND)
    place = next(one for one in places_of(user) if one.membership == membership)
    request.session[PLACE_KEY] = place.key
    words = {"role": membership.get_role_display(), "place": membership.cafe or membership.company}
    messages.success(request, _("You have joined %(place)s as %(role)s.") % words)
    return redirect("web:home" if membership.role == Role.OWNER else "crew:my_pin")
