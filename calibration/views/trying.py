"""What to try because of a signal: the advice, and the start of a trial. It ends on the page of the signal."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import head_baristas
from brewbar.web.answers import conflict
from brewbar.web.forms import render_form
from calibration import signal_life, signal_words, trying
from calibration.models import Signal
from calibration.models.signals import LIVE


@head_baristas("GET", "POST")
def signal_try(request: Any, pk: int) -> HttpResponse:
    shown: Signal = get_object_or_404(signal_life.seen_by(request.member), pk=pk)
    if request.method == "POST":
        return _start(request, shown)
    context = {
        "signal": shown,
        "title": signal_words.short(shown, request.member),
        "advice": trying.advice_on(shown),
        "may_try": shown.state in LIVE and not shown.follow_ups.filter(ended_at=None).exists(),
        "not_tried": [code.value for code in trying.NOT_TRIED],
    }
    return render_form(request, "calibration/signal_try.html", context, "calibration/_signal_try.html")


def _address(shown: Signal) -> str:
    return reverse("calibration:signal", args=[shown.pk])


def _start(request: Any, shown: Signal) -> HttpResponse:
    try:
        trying.start(shown, request.POST.get("cause", ""), request.member.user, timezone.now())
    except trying.NotTried as refused:
        return conflict(request, str(refused), _address(shown))
    messages.success(request, _("Tried from now on. Only brews after this moment will say whether it held."))
    return redirect(f"{_address(shown)}#tried")
