"""The rules of the trade, for whoever wants to know what a finding goes by."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from brewbar.crew.access import crew
from recipes.brewing.rules import PHYSICS, RULES


@crew("GET")
def rules(request: Any) -> HttpResponse:
    told = [
        {"name": name, "says": _(says), "physics": _(PHYSICS[name]) if name in PHYSICS else ""}
        for name, says in RULES.items()
    ]
    return render(request, "recipes/rules.html", {"rules": told})
