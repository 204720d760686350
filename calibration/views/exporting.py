"""What a company has in brewbar, for its owners: what the bar works with as a file, and how all of it is had."""

from __future__ import annotations

from typing import Any

from django.http import FileResponse, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.cache import cache_control

from brewbar.crew.access import owners_by_password
from calibration.belongings import COMPANY
from calibration.exporting import writing
from calibration.exporting.counting import counted


@owners_by_password("GET")
def your_data(request: Any) -> HttpResponse:
    company = request.member.company
    context = {"company": company, "counted": counted(company)}
    return render(request, "calibration/your_data.html", context)


@cache_control(no_store=True)
@owners_by_password("POST")
def your_data_download(request: Any) -> Any:
    """Never the whole: brew by brew it would open what owners are not shown. The server's keeper writes that."""
    now, company = timezone.now(), request.member.company
    file = writing.written(company, now, whole=False)
    name = f"brewbar-{slugify(company.name) or COMPANY.name}-{now.date()}.zip"
    return FileResponse(file, as_attachment=True, filename=name)
