"""In which style somebody reads: a decimal mark, a unit of temperature, an order of dates."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse

from brewbar.crew.models import Company, User
from brewbar.units import PLAIN, Style, written_as


def company_style(company: Company) -> Style:
    """What stands on cards, whoever prints them, and for whoever has chosen nothing."""
    return Style(company.decimal_mark, company.temperature_unit, company.date_order)


def style_of(user: User, company: Company) -> Style:
    return Style(
        user.decimal_mark or company.decimal_mark,
        user.temperature_unit or company.temperature_unit,
        user.date_order or company.date_order,
    )


class StyleMiddleware:
    """Writes every answer as its reader likes it. Needs ``request.member``; a tablet reads as its company does."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: Any) -> HttpResponse:
        with written_as(_style_for(request.member)):
            return self.get_response(request)


def _style_for(member: Any) -> Style:
    if member is None:
        return PLAIN
    if member.is_station:
        return company_style(member.company)
    return style_of(member.user, member.company)
