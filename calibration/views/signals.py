"""Signals: the list, one of them with its chart, the steps of its life."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.decorators import api_view
from rest_framework.response import Response

from brewbar.crew.access import Member, brewers, crew
from brewbar.web.answers import conflict
from brewbar.web.forms import render_form
from calibration import recording, signal_figure, signal_life, signal_line, signal_lists, signal_words, trying
from calibration.forms.signals import forms_for
from calibration.models import Signal
from calibration.models.signals import LIVE

PER_PAGE = 25


@crew("GET")
def signals(request: Any) -> HttpResponse:
    member = request.member
    if member.is_owner:
        context: dict[str, Any] = {
            "months": signal_lists.months(member, member.cafe.business_day(timezone.now()))
        }
        return render(request, "calibration/signals_counted.html", context)
    page = Paginator(signal_lists.ended(member), PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "live": signal_words.told(signal_lists.live(member), member),
        "page": page,
        "ended": signal_words.told(page.object_list, member),
        "months": signal_lists.months(member, member.cafe.business_day(timezone.now()))
        if member.is_head
        else [],
        "budget": signal_lists.false_alarms_a_month(member.cafe) if member.is_head else None,
    }
    return render(request, "calibration/signals.html", context)


@brewers("GET", "POST")
def signal(request: Any, pk: int) -> HttpResponse:
    shown = _found(request.member, pk)
    sent = request.POST if request.method == "POST" else None
    own = signal_life.steps_for(request.member, shown) + trying.steps_for(request.member, shown)
    steps = forms_for(own, sent)
    if sent is not None:
        step = sent.get("step", "")
        if step not in steps:
            return conflict(request, _("This can't be done (any more)."), _address(shown))
        if steps[step].is_valid():
            return _take(request, shown, step, steps[step].cleaned_data)
    return render_form(request, "calibration/signal.html", _context(request, shown) | steps)


def _address(shown: Signal) -> str:
    return reverse("calibration:signal", args=[shown.pk])


def _take(request: Any, shown: Signal, step: str, said: dict[str, Any]) -> HttpResponse:
    by, now = request.member.user, timezone.now()
    try:
        if step == trying.ENDED:
            trying.end(shown, by, now, **said)
        else:
            signal_life.take(shown, step, by, now, **said)
    except (signal_life.NotNow, trying.NotTried) as refused:
        return conflict(request, str(refused), _address(shown))
    done = {
        "looked": _("Marked as looked at."),
        "replied": _("Your reply is with the signal."),
        "explained": _("Explained. Close it once nothing is left to do."),
        "closed": _("Closed. Only brews after today can raise it again."),
        "reopened": _("Open again."),
        "ended": _("Ended."),
    }
    messages.success(request, done[step])
    return redirect(_address(shown))


def _found(member: Member, pk: int) -> Signal:
    row: Signal = get_object_or_404(signal_life.seen_by(member), pk=pk)
    return row


def _context(request: Any, shown: Signal) -> dict[str, Any]:
    member = request.member
    keys = shown.evidence.get("readings", [])
    readings = (
        recording.seen_by(member).filter(pk__in=keys).select_related("barista", "version", "correction")
    )
    return {
        "signal": shown,
        "title": signal_words.short(shown, member),
        "sentence": signal_words.sentence(shown, member),
        "shape": signal_words.SHAPES[Signal.State(shown.state)],
        "facts": signal_words.facts(shown),
        "line": _line(shown),
        "readings": readings.order_by("-brewed_at"),
        "notes": shown.notes.select_related("by"),
        "tried": trying.tried(shown),
        "is_live": shown.state in LIVE,
    }


def _line(shown: Signal) -> signal_line.Line | None:
    return signal_line.line_of(shown, shown.cafe.business_day(timezone.now()))


@brewers("GET")
@api_view(["GET"])
def signal_chart(request: Any, pk: int) -> Response:
    line = _line(_found(request.member, pk))
    return Response({"data": [], "layout": {}} if line is None else signal_figure.of_line(line))
