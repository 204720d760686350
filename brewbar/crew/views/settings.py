"""What an owner sets for the company and its cafés."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from brewbar.crew import how_named, premises
from brewbar.crew.access import owners
from brewbar.crew.models import Cafe, Company
from brewbar.crew.settings_forms import CafeForm, CompanyForm
from brewbar.web.forms import render_form


@owners("GET", "POST")
def company(request: Any) -> HttpResponse:
    # A row of its own: a refused name must not stand at the head of the page.
    row = Company.objects.get(pk=request.member.company.pk)
    form = CompanyForm(request.POST if request.method == "POST" else None, row)
    if form.is_valid():
        try:
            premises.save_company(row, request.user)
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            messages.success(request, _("The settings of %(company)s are saved.") % {"company": row})
            return redirect("crew:company")
    company, cafe = request.member.company, request.member.cafe
    context = {"form": form, "company": company, "cafe": cafe, "named": how_named.told(company)}
    return render_form(
        request, "crew/company.html", context | {"cafes": Cafe.objects.for_member(request.member)}
    )


@owners("GET", "POST")
def cafe_new(request: Any) -> HttpResponse:
    return _cafe(request, Cafe(company=request.member.company))


@owners("GET", "POST")
def cafe(request: Any, pk: int) -> HttpResponse:
    return _cafe(request, get_object_or_404(Cafe.objects.for_member(request.member), pk=pk))


def _cafe(request: Any, cafe: Cafe) -> HttpResponse:
    is_new, name = cafe.pk is None, cafe.name
    form = CafeForm(request.POST if request.method == "POST" else None, cafe)
    context = {"form": form, "name": name}
    if form.is_valid():
        if form.consequences and "understood" not in request.POST:
            return render_form(request, "crew/cafe.html", context | {"consequences": form.consequences})
        try:
            premises.save_cafe(cafe, request.user)
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            said = _("%(cafe)s is added. Give it a crew.") if is_new else _("%(cafe)s is saved.")
            messages.success(request, said % {"cafe": cafe})
            return redirect("crew:people" if is_new else "crew:company")
    return render_form(request, "crew/cafe.html", context)
