"""The crew: who has which role, inviting, and letting go."""

from __future__ import annotations

from typing import Any

import segno
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from brewbar.crew import forgetting, joining, roles
from brewbar.crew.access import Member, head_or_owner, owners
from brewbar.crew.models import Cafe, Membership, OneTimeLink, Role
from brewbar.crew.people_forms import InviteForm, RoleForm
from brewbar.web.answers import conflict
from brewbar.web.forms import render_form


@head_or_owner("GET")
def people(request: Any) -> HttpResponse:
    member, now = request.member, timezone.now()
    rows = list(_crew(member).order_by("user__name", "pk"))
    crew = [one for one in rows if one.ended_at is None and one.user.is_active]
    cafes = Cafe.objects.for_member(member)
    context = {
        "owners": [one for one in crew if one.role == Role.OWNER],
        "cafes": [(cafe, [one for one in crew if one.cafe_id == cafe.pk]) for cafe in cafes],
        "left": sorted((one for one in rows if one.ended_at), key=lambda one: one.ended_at, reverse=True),
        "links": _links(member).open_at(now).select_related("cafe", "for_user", "made_by"),
        "cafe": member.cafe,
        "leavers": forgetting.leavers(member.company) if member.is_owner else (),
        "now": now,
    }
    return render(request, "crew/people.html", context)


@head_or_owner("GET")
def person(request: Any, pk: int) -> HttpResponse:
    member = request.member
    membership = get_object_or_404(_crew(member), pk=pk)
    others = _crew(member).filter(user=membership.user).exclude(pk=pk)
    may_change = membership.ended_at is None and roles.may_change(member, membership)
    context = {
        "membership": membership,
        "others": others,
        "cafe": member.cafe,
        "may_change": may_change,
        "why_no_new_password": roles.why_no_new_password(member, membership) if may_change else "",
    }
    return render(request, "crew/person.html", context)


@never_cache
@head_or_owner("GET", "POST")
def invite(request: Any) -> HttpResponse:
    member = request.member
    form = InviteForm(member, request.POST if request.method == "POST" else None)
    if form.is_valid():
        link, key = joining.invite(
            company=member.company, by=request.user, now=timezone.now(), **form.cleaned_data
        )
        return _shown_once(request, link, key)
    return render_form(request, "crew/invite.html", {"form": form, "cafe": member.cafe})


@never_cache
@head_or_owner("POST")
def new_password(request: Any, pk: int) -> HttpResponse:
    membership = _to_change(request, pk)
    if membership.ended_at:
        return _ended(request)
    if refused := roles.why_no_new_password(request.member, membership):
        raise PermissionDenied(refused)
    link, key = joining.offer_new_password(membership, request.user, timezone.now())
    return _shown_once(request, link, key)


@head_or_owner("POST")
def withdraw(request: Any, pk: int) -> HttpResponse:
    link = get_object_or_404(_links(request.member), pk=pk)
    if joining.withdraw(link, request.user, timezone.now()):
        messages.success(request, _("The link is withdrawn: it opens nothing any more."))
    else:
        messages.info(request, _("The link did not open anything any more."))
    return redirect("crew:people")


@head_or_owner("POST")
def training(request: Any, pk: int) -> HttpResponse:
    membership = _to_change(request, pk)
    roles.set_in_training(membership, request.POST.get("in_training") == "yes", request.user)
    return redirect("crew:person", pk)


@owners("GET", "POST")
def role(request: Any, pk: int) -> HttpResponse:
    membership = _to_change(request, pk)
    if membership.ended_at:
        return _ended(request)
    initial = {"role": membership.role, "in_training": membership.in_training}
    if membership.cafe_id:
        initial["cafe"] = membership.cafe_id
    data = request.POST if request.method == "POST" else None
    form = RoleForm(request.member, data, initial=initial)
    if form.is_valid():
        try:
            new = roles.change(membership, by=request.user, now=timezone.now(), **form.cleaned_data)
        except joining.AlreadyHere as found:
            form.add_error("cafe" if found.membership.cafe else "role", _has_already(found.membership))
        except ValidationError as refused:
            form.add_error("role", refused)
        else:
            messages.success(request, _("Changed: %(who)s.") % {"who": new})
            return redirect("crew:person", new.pk)
    return render_form(request, "crew/role.html", {"form": form, "membership": membership})


@owners("GET", "POST")
def further(request: Any, pk: int) -> HttpResponse:
    """A further role for the same person, oneself included: an owner may well brew."""
    membership = get_object_or_404(_crew(request.member), pk=pk)
    if membership.ended_at:
        return _ended(request)
    form = RoleForm(request.member, request.POST if request.method == "POST" else None)
    if form.is_valid():
        given = form.cleaned_data | {"company": request.member.company}
        try:
            new = roles.add(membership.user, by=request.user, now=timezone.now(), **given)
        except joining.AlreadyHere as found:
            form.add_error("cafe" if found.membership.cafe else "role", _has_already(found.membership))
        else:
            messages.success(request, _("Added: %(who)s.") % {"who": new})
            return redirect("crew:person", new.pk)
    return render_form(request, "crew/further.html", {"form": form, "membership": membership})


@head_or_owner("GET", "POST")
def end(request: Any, pk: int) -> HttpResponse:
    membership = _to_change(request, pk)
    if membership.ended_at:
        return _ended(request)
    if request.method == "GET":
        return render(request, "crew/end.html", {"membership": membership})
    try:
        roles.end(membership, request.user, timezone.now())
    except ValidationError as refused:
        return conflict(request, refused.messages[0], reverse("crew:people"))
    words = {"name": membership.user, "place": membership.cafe or membership.company}
    messages.success(request, _("%(name)s is no longer at %(place)s.") % words)
    return redirect("crew:people")


def _crew(member: Member) -> Any:
    return Membership.objects.for_member(member).select_related("user", "company", "cafe")


def _links(member: Member) -> Any:
    return OneTimeLink.objects.for_member(member).filter(role__in=roles.given_by(member))


def _to_change(request: Any, pk: int) -> Membership:
    membership = get_object_or_404(_crew(request.member), pk=pk)
    if roles.may_change(request.member, membership):
        return membership
    if membership.user == request.user:
        raise PermissionDenied(_("Your own role is for somebody else to change: another owner."))
    raise PermissionDenied(_("A head barista changes the roles of baristas; an owner those of all others."))


def _ended(request: Any) -> HttpResponse:
    return conflict(request, _("This membership has ended in the meantime."), reverse("crew:people"))


def _has_already(membership: Membership) -> str:
    words = {
        "name": membership.user,
        "role": membership.get_role_display(),
        "place": membership.cafe or membership.company,
    }
    return _("%(name)s is at %(place)s already, as %(role)s.") % words


def _shown_once(request: Any, link: OneTimeLink, key: str) -> HttpResponse:
    """The only time that the link is seen: what is kept of it opens nothing."""
    address = joining.address_of(key)
    # The drawing carries its own white margin, four squares wide, as ISO/IEC 18004 asks.
    code = segno.make_qr(address, error="m").svg_data_uri(border=4, dark="#000", light="#fff")
    context = {"link": link, "address": address, "code": code, "cafe": request.member.cafe}
    return render(request, "crew/link.html", context)
