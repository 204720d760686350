"""Coffees and their roast batches: read by everybody, written by head baristas."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.contrib import messages
from django.db.models import Count, Prefetch, Q, QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import Member, crew, head_baristas
from brewbar.web.forms import render_form
from recipes import catalogue
from recipes.forms.catalogue import BatchForm, CoffeeForm
from recipes.likeness import most_alike
from recipes.models import Coffee, Recipe, RoastBatch, Slot


@crew("GET")
def coffees(request: Any) -> HttpResponse:
    member, wanted, with_retired = request.member, request.GET.get("q", "").strip(), "retired" in request.GET
    rows = Coffee.objects.for_member(member)
    if wanted:
        rows = rows.filter(
            Q(name__icontains=wanted) | Q(origin__icontains=wanted) | Q(process__icontains=wanted)
        )
    if not with_retired:
        rows = rows.in_use()
    in_use = Prefetch("batches", RoastBatch.objects.in_use().order_by("roasted_on"), to_attr="in_use")
    recipes = Count("recipes", Q(recipes__retired_at=None))
    found: list[Any] = list(rows.annotate(recipe_count=recipes).prefetch_related(in_use))
    live = _live(member)
    for coffee in found:
        coffee.live = [slot for slot in live if slot.card.recipe.coffee_id == coffee.pk]
        _count_days(coffee.in_use, member)
    context = {"coffees": found, "wanted": wanted, "with_retired": with_retired}
    return render(request, "recipes/coffees.html", context)


@crew("GET")
def coffee(request: Any, pk: int) -> HttpResponse:
    coffee = _coffee(request.member, pk)
    # The oldest first, as it should be used; of those that are gone, the newest.
    batches: list[Any] = list(coffee.batches.order_by("roasted_on", "label"))
    live = _live(request.member)
    _count_days(batches, request.member)
    for batch in batches:
        batch.live = [slot for slot in live if slot.setting and slot.setting.roast_batch_id == batch.pk]
        batch.next = [(what, catalogue.MARKS[what]) for what in catalogue.next_marks(batch)]
    recipes: list[Any] = list(Recipe.objects.for_member(request.member).filter(coffee=coffee))
    for recipe in recipes:
        recipe.live = [slot for slot in live if slot.card.recipe_id == recipe.pk]
    context = {
        "coffee": coffee,
        "batches": [batch for batch in batches if not (batch.retired_at or batch.used_up_on)],
        "past": [batch for batch in reversed(batches) if batch.retired_at or batch.used_up_on],
        "finished": [batch for batch in batches if batch.used_up_on and batch.live],
        "recipes": recipes,
        "alike": [] if recipes or not request.member.is_head else most_alike(request.member, coffee),
    }
    return render(request, "recipes/coffee.html", context)


@head_baristas("GET", "POST")
def coffee_new(request: Any) -> HttpResponse:
    return _write(request, CoffeeForm(request.POST or None, instance=Coffee(company=request.member.company)))


@head_baristas("GET", "POST")
def coffee_edit(request: Any, pk: int) -> HttpResponse:
    coffee = _coffee(request.member, pk)
    return _write(request, CoffeeForm(request.POST or None, instance=coffee), name=coffee.name)


@head_baristas("POST")
def coffee_retire(request: Any, pk: int) -> HttpResponse:
    coffee = _coffee(request.member, pk)
    _retire_or_bring_back(request, coffee)
    return redirect("recipes:coffee", pk)


@head_baristas("GET", "POST")
def batch_new(request: Any, pk: int) -> HttpResponse:
    batch = RoastBatch(coffee=_coffee(request.member, pk))
    return _write(request, BatchForm(request.POST or None, instance=batch, today=_today(request.member)))


@head_baristas("GET", "POST")
def batch(request: Any, pk: int) -> HttpResponse:
    batch = _batch(request.member, pk)
    form = BatchForm(request.POST or None, instance=batch, today=_today(request.member))
    return _write(request, form, name=batch.label)


@head_baristas("POST")
def batch_mark(request: Any, pk: int) -> HttpResponse:
    batch, what = _batch(request.member, pk), request.POST.get("what", "")
    try:
        if what in catalogue.MARKS:
            catalogue.mark(batch, what, _today(request.member), request.user)
            said = _("%(label)s is marked %(what)s today. Open it to put another day, or none.")
            messages.success(request, said % {"label": batch.label, "what": catalogue.MARKS[what]})
    except catalogue.NotDone as reason:
        messages.error(request, str(reason))
    return redirect("recipes:coffee", batch.coffee_id)


@head_baristas("POST")
def batch_retire(request: Any, pk: int) -> HttpResponse:
    batch = _batch(request.member, pk)
    _retire_or_bring_back(request, batch)
    return redirect("recipes:coffee", batch.coffee_id)


def _write(request: Any, form: CoffeeForm | BatchForm, name: str = "") -> HttpResponse:
    """Show the form of a coffee or a batch, or save it. ``name`` is what it was called until now."""
    row = form.instance
    coffee = row if isinstance(row, Coffee) else row.coffee
    if request.method == "POST" and form.is_valid():
        try:
            catalogue.save(row, request.user)
        except catalogue.NameTaken as taken:
            form.add_error(form.named, str(taken))
        else:
            messages.success(request, _("%(name)s is saved.") % {"name": catalogue.name_of(row)})
            return redirect("recipes:coffee", coffee.pk)
    template = "recipes/coffee_form.html" if row is coffee else "recipes/coffee_batch.html"
    return render_form(request, template, {"form": form, "coffee": coffee, "row": row, "name": name})


def _retire_or_bring_back(request: Any, row: Coffee | RoastBatch) -> None:
    words = {"name": catalogue.name_of(row)}
    try:
        if "bring_back" in request.POST:
            catalogue.bring_back(row, request.user)
            messages.success(request, _("%(name)s is in use again.") % words)
        else:
            catalogue.retire(row, request.user)
            messages.success(request, _("%(name)s is retired. What was brewed with it stays.") % words)
    except catalogue.OnABoard as reason:
        messages.error(request, str(reason))


def _coffee(member: Member, pk: int) -> Coffee:
    found: Coffee = get_object_or_404(Coffee.objects.for_member(member), pk=pk)
    return found


def _batch(member: Member, pk: int) -> RoastBatch:
    found: RoastBatch = get_object_or_404(
        RoastBatch.objects.for_member(member).select_related("coffee"), pk=pk
    )
    return found


def _today(member: Member) -> date:
    """The day on the café's wall, which a bag's dates are read against."""
    return timezone.localdate(timezone=member.cafe.zone)


def _count_days(batches: list[Any], member: Member) -> None:
    """Days off roast as the board counts them: by the café's business day."""
    day = member.cafe.business_day(timezone.now())
    for batch in batches:
        batch.days = max(0, batch.days_off_roast(day))


def _live(member: Member) -> QuerySet[Slot]:
    rows: QuerySet[Slot] = Slot.objects.for_member(member).live()
    return rows.select_related("card__station__cafe", "card__recipe", "setting")
