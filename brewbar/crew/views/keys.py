"""Keys for other programs: whoever makes one sees it once, and revokes it where it is no longer needed."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from brewbar.crew import keys as job
from brewbar.crew.access import crew_by_password
from brewbar.crew.key_forms import KeyForm, RevokeForm
from brewbar.crew.models import Key
from brewbar.web.forms import render_form

ENDED_SHOWN = 20


@crew_by_password("GET")
def keys(request: Any) -> HttpResponse:
    member, now = request.member, timezone.now()
    rows = Key.objects.for_member(member).select_related("membership__user", "membership__cafe", "revoked_by")
    working = list(rows.working_at(now))
    ended = list(rows.exclude(pk__in=[key.pk for key in working])[:ENDED_SHOWN])
    context = {"working": working, "ended": ended, "cafe": member.cafe, "now": now}
    return render(request, "crew/keys.html", context)


@never_cache
@crew_by_password("GET", "POST")
def key_new(request: Any) -> HttpResponse:
    """The answer to what was sent is the only page that ever shows the key."""
    member = request.member
    form = KeyForm(member, request.POST if request.method == "POST" else None)
    if form.is_valid():
        key, secret = job.make(member, now=timezone.now(), **form.cleaned_data)
        context = {"key": key, "secret": secret, "cafe": member.cafe}
        return render(request, "crew/key.html", context)
    return render_form(request, "crew/key_new.html", {"form": form, "member": member})


@crew_by_password("GET", "POST")
def key_revoke(request: Any, pk: int) -> HttpResponse:
    key = get_object_or_404(Key.objects.for_member(request.member).select_related("membership"), pk=pk)
    form = RevokeForm(request.POST if request.method == "POST" else None)
    if key.revoked_at is None and not form.is_valid():
        return render_form(request, "crew/key_revoke.html", {"key": key, "form": form})
    if key.revoked_at is None:
        job.revoke(key, request.user, timezone.now(), form.cleaned_data["why"])
    messages.success(request, _("%(key)s is revoked: it opens nothing any more.") % {"key": key})
    return redirect("crew:keys")
