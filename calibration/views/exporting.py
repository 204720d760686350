"""Everything the company owns as one file, for its owners."""

from __future__ import annotations

from typing import Any

from django.http import FileResponse, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.cache import cache_control

from brewbar.crew.access import owners_by_password
from calibration.belongings import COMPANY
from calibration.exporting import handing_over, writing
from calibration.exporting.counting import counted


@owners_by_password("GET")
def your_data(request: Any) -> HttpResponse:
    company = request.member.company
    context = {"company": company, "rooms": counted(company)}
    return render(request, "calibration/your_data.html", context)


@cache_control(no_store=True)
@owners_by_password("POST")
def your_data_download(request: Any) -> Any:
    now, company = timezone.now(), request.member.company
    file = writing.written(company, now)
    handing_over.note(company, by=request.user)
    name = f"brewbar-{slugify(company.name) or COMPANY.name}-{now.date()}.zip"
    return FileResponse(file, as_attachment=True, filename=name)
