"""Shared tablets, seen by a head barista: enrol this device, revoke one, let somebody try their PIN again."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew import kept, locks, presence
from brewbar.crew import tablets as job
from brewbar.crew.access import head_baristas
from brewbar.crew.models import Membership, Tablet
from brewbar.crew.pin_forms import EnrolForm
from brewbar.web.forms import render_form


@head_baristas("GET", "POST")
def tablets(request: Any) -> HttpResponse:
    """The list; what is sent makes the device it is sent from a tablet, and signs its head barista out."""
    member, now = request.member, timezone.now()
    form = EnrolForm(member, request.POST if request.method == "POST" else None)
    if form.is_valid():
        tablet, key = job.enrol(
            form.cleaned_data["station"],
            form.cleaned_data["label"],
            by=request.user,
            now=now,
            instead_of=request.tablet,
        )
        kept.sign_out(request)
        said = _("This device is now the tablet of %(station)s, and you are signed out on it.")
        messages.success(request, said % {"station": tablet.station})
        response = redirect("web:home")
        presence.remember(response, key)
        return response
    rows = Tablet.objects.for_member(member).select_related("station", "enrolled_by").enrolled()
    context = {
        "form": form,
        "tablets": rows,
        "locked": locks.locked_in(member.cafe, now),
        "cafe": member.cafe,
        "idle_minutes": Tablet.SIGNED_OUT_AFTER_S // 60,
    }
    return render_form(request, "crew/tablets.html", context)


@head_baristas("GET", "POST")
def tablet_revoke(request: Any, pk: int) -> HttpResponse:
    rows = Tablet.objects.for_member(request.member).select_related("station__cafe__company")
    tablet = get_object_or_404(rows, pk=pk)
    if request.method == "GET" and tablet.revoked_at is None:
        return render(request, "crew/tablet_revoke.html", {"tablet": tablet, "cafe": request.member.cafe})
    job.revoke(tablet, request.user, timezone.now())
    messages.success(request, _("%(tablet)s is revoked: it opens nothing any more.") % {"tablet": tablet})
    return redirect("crew:tablets")


@head_baristas("POST")
def unlock(request: Any, pk: int) -> HttpResponse:
    crew = (
        Membership.objects.active().filter(cafe=request.member.cafe).select_related("user", "cafe__company")
    )
    membership = get_object_or_404(crew, pk=pk)
    if locks.unlock(membership, request.user):
        messages.success(request, _("%(name)s may try the PIN again.") % {"name": membership.user})
    else:
        messages.info(request, _("%(name)s's PIN was not locked any more.") % {"name": membership.user})
    return redirect("crew:tablets")
