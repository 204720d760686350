"""Who changed what, to be searched by those who answer for it."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from brewbar.crew import record
from brewbar.crew.access import head_or_owner
from brewbar.crew.record_filter import RecordFilter

A_PAGE = 50


@head_or_owner("GET")
def changes(request: Any) -> HttpResponse:
    member = request.member
    form = RecordFilter(request.GET, zone=member.cafe.zone)
    found = record.looked_up(member, **form.asked()) if form.is_valid() else record.looked_up(member).none()
    page = Paginator(found, A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "noted": record.as_read_by(member, page),
        "cafe": member.cafe,
        "year": member.cafe.business_day(timezone.now()).year,
        "is_filtered": any(form.asked().values()) if form.is_valid() else True,
    }
    return render(request, "crew/record.html", context, status=200 if form.is_valid() else 422)
