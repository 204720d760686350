"""Brewers, papers, kettles, waters, grinders, servers: one page for all, and one pair of views that KINDS drives."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _

from brewbar.crew.access import Member, crew, head_baristas
from brewbar.crew.models import Cafe
from brewbar.web.forms import render_form
from recipes import catalogue, happenings, matches, measuring
from recipes.brewing import kettle_words
from recipes.forms.equipment import KINDS, Column, Kind
from recipes.models import BarEvent, Coffee, Grinder, GrinderMatch, InstrumentReach, Kettle, Slot


@dataclass(frozen=True)
class Row:
    thing: Any
    cells: list[tuple[Column, str]]
    places: list[str]
    """Where a board shows it now."""
    last: BarEvent | None
    """What happened to it last."""
    key: str
    """What the page of events calls it."""
    points: int
    """Of a kettle, how many measurements of its stream stand."""


@dataclass(frozen=True)
class Section:
    kind: Kind
    shown: list[Row]
    retired: list[Any]


@dataclass(frozen=True)
class Place:
    """A café with what stands in it, or the company (``cafe`` is None) with its kinds."""

    cafe: Cafe | None
    sections: list[Section]
    instruments: list[InstrumentReach]


@crew("GET")
def equipment(request: Any) -> HttpResponse:
    member: Member = request.member
    live = list(
        Slot.objects.for_member(member).live().select_related("version", "setting", "card__station__cafe")
    )
    last, instruments = happenings.last_events(member), list(InstrumentReach.objects.for_member(member))
    points = measuring.counted(member)
    rows = {
        kind: [_row(kind, row, live, last, points, member) for row in kind.rows(member)] for kind in KINDS
    }
    shared = [_section(kind, rows[kind]) for kind in KINDS if kind.is_company_wide]
    places = [Place(None, shared, [])]
    for cafe in Cafe.objects.for_member(member):
        own = [
            _section(kind, [row for row in rows[kind] if row.thing.cafe_id == cafe.pk])
            for kind in KINDS
            if not kind.is_company_wide
        ]
        places.append(Place(cafe, own, [one for one in instruments if one.cafe_id == cafe.pk]))
    missing = list(_missing(member, places)) if member.is_head else []
    return render(request, "recipes/equipment.html", {"places": places, "missing": missing})


@head_baristas("GET", "POST")
def thing_new(request: Any, kind: Kind) -> HttpResponse:
    return _write(request, kind, kind.new(request.member))


@head_baristas("GET", "POST")
def thing(request: Any, kind: Kind, pk: int) -> HttpResponse:
    return _write(request, kind, get_object_or_404(kind.rows(request.member), pk=pk))


@head_baristas("POST")
def thing_retire(request: Any, kind: Kind, pk: int) -> HttpResponse:
    row = get_object_or_404(kind.rows(request.member), pk=pk)
    try:
        if "bring_back" in request.POST:
            catalogue.bring_back(row, request.user)
            messages.success(request, _("%(name)s is in use again.") % {"name": row})
        else:
            catalogue.retire(row, request.user)
            messages.success(
                request, _("%(name)s is retired. What was brewed with it stays.") % {"name": row}
            )
    except catalogue.NotDone as reason:
        messages.error(request, str(reason))
        return redirect(kind.address, pk)
    return redirect(_address(kind))


def paths() -> list[URLPattern]:
    """The addresses of every kind, each under a name of its own: recipes:kettle_new, recipes:kettle, …"""
    return [
        path(f"equipment/{kind.key}s/{rest}", view, {"kind": kind}, name=f"{kind.key}{ending}")
        for kind in KINDS
        for rest, view, ending in (
            ("new/", thing_new, "_new"),
            ("<int:pk>/", thing, ""),
            ("<int:pk>/retire/", thing_retire, "_retire"),
        )
    ]


def _write(request: Any, kind: Kind, row: Any) -> HttpResponse:
    name = str(row) if row.pk else ""
    form = kind.form(request.POST or None, instance=row)
    if request.method == "POST" and form.is_valid():
        try:
            catalogue.save(row, request.user)
        except catalogue.NameTaken as taken:
            form.add_error(form.named, str(taken))
        else:
            messages.success(request, _("%(name)s is saved.") % {"name": row})
            return redirect(_address(kind))
    context: dict[str, Any] = {"form": form, "kind": kind, "row": row, "name": name}
    if row.pk:
        context["history"] = happenings.history_of(request.member, row)
        context["key"] = happenings.key_of(row)
    if row.pk and kind.model is Grinder:
        found = matches.found_in(GrinderMatch.objects.for_member(request.member))
        context["matches"] = found.filter(Q(grinder=row) | Q(other=row), taken_back_at=None)
    if row.pk and kind.model is Kettle:
        # As it is kept, whatever was typed into the form.
        kept = measuring.with_points(kind.rows(request.member)).get(pk=row.pk)
        context["said"] = kettle_words.say(measuring.known(kept))
    return render_form(request, "recipes/equipment_thing.html", context)


def _address(kind: Kind) -> str:
    return f"{reverse('recipes:equipment')}#{kind.key}s"


def _row(
    kind: Kind,
    row: Any,
    live: list[Slot],
    last: dict[str, BarEvent],
    points: dict[int, int],
    member: Member,
) -> Row:
    cells = [(column, column.text(row)) for column in kind.columns]
    key = happenings.key_of(row)
    measured = points.get(row.pk, 0) if kind.model is Kettle else 0
    return Row(row, cells, _where(kind, row, live, member), last.get(key), key, measured)


def _section(kind: Kind, rows: list[Row]) -> Section:
    return Section(
        kind,
        [row for row in rows if not row.thing.retired_at],
        [row.thing for row in rows if row.thing.retired_at],
    )


def _where(kind: Kind, row: Any, live: list[Slot], member: Member) -> list[str]:
    """The stations that show it; to an owner, who sees all cafés, the cafés that share it."""
    by_cafe = member.is_owner and kind.is_company_wide
    stations = (slot.card.station for slot in live if catalogue.shows(slot, row))
    return list(dict.fromkeys(str(station.cafe if by_cafe else station) for station in stations))


def _missing(member: Member, places: list[Place]) -> Iterator[tuple[Any, str]]:
    """(what, address) of what a café still needs before its first check brew, in the order to add it."""
    if not Coffee.objects.for_member(member).in_use().exists():
        yield _("A coffee, and the batch that is open"), reverse("recipes:coffees")
    for section in (section for place in places for section in place.sections):
        if section.kind.first and not section.shown:
            yield section.kind.first, reverse(section.kind.adding)
    if not any(place.instruments for place in places):
        yield _("A refractometer"), reverse("calibration:instruments")
