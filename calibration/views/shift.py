"""Today for a head barista, and one's own results for whoever brews."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from brewbar.crew.access import brewers, head_baristas
from calibration import instrument_spans, shift, signal_lists, signal_words

PER_PAGE = 25


@head_baristas("GET")
def today(request: Any) -> HttpResponse:
    cafe, now = request.member.cafe, timezone.now()
    this_day = cafe.business_day(now)
    day = min(_day(request.GET.get("day", "")) or this_day, this_day)
    lines = shift.day_at(cafe, day, now)
    context = {
        "cafe": cafe,
        "day": day,
        "is_today": day == this_day,
        "day_before": day - timedelta(days=1),
        "day_after": None if day == this_day else day + timedelta(days=1),
        "lines": lines,
        "signals": signal_words.told(signal_lists.live(request.member), request.member),
        "outside": [line for line in lines if line.is_outside],
        "checked": [line for line in lines if line.has_checked],
        "waiting": [line for line in lines if line.is_waiting],
        "there": [line for line in lines if line.is_there],
        "away": [line for line in lines if not (line.is_there or line.checks or line.served)],
    }
    return render(request, "calibration/today.html", context)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


@brewers("GET")
def mine(request: Any) -> HttpResponse:
    page = Paginator(shift.own(request.member), PER_PAGE).get_page(request.GET.get("page"))
    known = instrument_spans.spans_of_cafes([request.member.cafe], timezone.now())
    rows = shift.judged(page.object_list, known)
    own = signal_words.told(
        signal_lists.live(request.member).filter(person=request.member.user), request.member
    )
    context = {"page": page, "rows": rows, "cafe": request.member.cafe, "signals": own}
    context["elsewhere"] = shift.elsewhere(request.places, request.member)
    return render(request, "calibration/mine.html", context)
