"""The shift check: who is due, what is under way, its timer, and what somebody says of a check that is not brewed."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import Member, behind_the_bar, brewers, head_baristas
from brewbar.crew.models import Membership, Role, User
from brewbar.web.answers import conflict
from brewbar.web.forms import render_form
from calibration import check_plans, duty, instrument_standing, runs, schedule, timing
from calibration.forms.checks import STARTS, BusyForm, DropForm, DutyForm, StartForm, TapForm, TimeForm
from calibration.models import CheckRun, Refractometer
from recipes.aims import aims_at
from recipes.models import Slot
from recipes.timeline import plan_rows


@behind_the_bar("GET")
def check(request: Any) -> HttpResponse:
    """A tablet with nobody signed in shows what is under way; a barista's own check, and for heads the crew's."""
    place, now = request.member, timezone.now()
    runs.close_stale(place.cafe, now)
    plan = check_plans.of(place.cafe)
    context: dict[str, Any] = {"plan": plan, "cafe": place.cafe, "running": runs.open_at(place), "now": now}
    if place.is_station:
        return render(request, "calibration/check.html", context)
    row = duty.here(place, now)
    slots = _in_order(check_plans.live_slots(place.cafe, plan.recipe), place) if plan.recipe else []
    context |= {
        "turn": duty.turn_of(row, now, plan) if row else None,
        "starts": [(slot, StartForm(slots=Slot.objects.none())) for slot in slots],
        "trouble": check_plans.trouble_with(place.cafe, plan.recipe),
        "busy": BusyForm(),
        "left": runs.left_lately(place, now),
        "instruments": _instruments(place, now),
    }
    return render(request, "calibration/check.html", context | (_crew(place, now) if place.is_head else {}))


@behind_the_bar("GET")
def check_under_way(request: Any) -> HttpResponse:
    """For the board, which knows nothing of checks: what is under way, or nothing."""
    context = {"running": runs.open_at(request.member), "cafe": request.member.cafe}
    return render(request, "calibration/_check_under_way.html", context)


def _in_order(slots: list[Slot], place: Any) -> list[Slot]:
    """On a tablet its own station comes first."""
    own = place.tablet.station_id if place.tablet else None
    return sorted(slots, key=lambda slot: slot.card.station_id != own)


def _instruments(member: Member, now: Any) -> list[tuple[Refractometer, Any]]:
    rows = list(Refractometer.objects.for_member(member).in_use().select_related("cafe"))
    known = instrument_standing.standings(rows, now)
    return [(row, known[row.pk]) for row in rows]


def _crew(member: Member, now: Any) -> dict[str, Any]:
    day = member.cafe.business_day(now)
    weeks = duty.last_weeks(member.cafe, now)
    others = duty.not_on(member.cafe, day)
    return {
        "turns": duty.day_at(member.cafe, day, now),
        "mark": DutyForm(crew=User.objects.filter(pk__in=[user.pk for user in others])),
        "tally": duty.tally(member.cafe, *weeks, now),
        "weeks": schedule.DAYS_BACK // 7,
    }


@head_baristas("POST")
def check_duty(request: Any) -> HttpResponse:
    """Somebody is on today, or is not after all."""
    member, now = request.member, timezone.now()
    crew = Membership.objects.active().filter(cafe=member.cafe).exclude(role=Role.OWNER)
    form = DutyForm(request.POST, crew=User.objects.filter(pk__in=crew.values("user")))
    if not form.is_valid():
        messages.warning(request, _("Choose somebody of this café's crew."))
    elif "off" in request.POST:
        duty.take_off(member.cafe, form.cleaned_data["user"], now)
        messages.success(request, _("%(name)s is not due today.") % {"name": form.cleaned_data["user"]})
    else:
        duty.mark_on(member.cafe, form.cleaned_data["user"], member.user, now)
        messages.success(request, _("%(name)s is on today.") % {"name": form.cleaned_data["user"]})
    return redirect("calibration:check")


@brewers("POST")
def check_busy(request: Any) -> HttpResponse:
    """Allowed, and counted. It holds up nothing."""
    member, now = request.member, timezone.now()
    if "undo" in request.POST:
        duty.not_too_busy(member.cafe, member.user, now)
        return redirect("calibration:check")
    form = BusyForm(request.POST)
    if not form.is_valid():
        for said in form.errors.get("note", []):
            messages.warning(request, str(said))
        return redirect("calibration:check")
    duty.too_busy(member.cafe, member.user, now, form.cleaned_data["note"])
    messages.success(request, _("Noted. If there is time after all, just brew it."))
    return redirect("calibration:check")


# --- one check


@brewers("GET", "POST")
def check_start(request: Any) -> HttpResponse:
    """Declared before it is brewed: a check, a guest's cup as the check, or practice."""
    member, now = request.member, timezone.now()
    slots = Slot.objects.for_member(member).filter(published_at__isnull=False)
    if request.method == "GET":
        slot = _asked_for(request, slots)
        if slot is None or not slot.is_live:
            return redirect("calibration:check")
        plan = check_plans.of(member.cafe)
        context = {
            "slot": slot,
            "plan": plan,
            "is_check": check_plans.is_check(plan, slot.card.recipe_id),
            "start": StartForm(slots=slots),
            "plan_rows": plan_rows(slot.version.plan()),
            "version": slot.version,
        }
        return render(request, "calibration/check_start.html", context)
    form = StartForm(request.POST, slots=slots)
    if not form.is_valid():
        return conflict(request, _("That tap got lost: nothing was started."), reverse("calibration:check"))
    kind, was_served = STARTS[form.cleaned_data["what"]]
    try:
        run = runs.open_run(
            slots.for_card().get(pk=form.cleaned_data["slot"].pk),
            member.user,
            form.cleaned_data["uuid"],
            now,
            kind,
            was_served,
        )
    except runs.NotDone as refused:
        messages.warning(request, str(refused))
        return redirect("calibration:check")
    return redirect("calibration:check_run", uuid=run.uuid)


def _asked_for(request: Any, slots: Any) -> Slot | None:
    asked = request.GET.get("slot", "")
    if not (asked.isascii() and asked.isdecimal() and len(asked) < 19):
        return None
    found: Slot | None = slots.for_card().filter(pk=asked).first()
    return found


@behind_the_bar("GET")
def check_run(request: Any, uuid: UUID) -> HttpResponse:
    """Its plan and its timer, then the sample. Anybody at the bar may stop a timer."""
    return _show(request, _run(request, uuid))


def _run(request: Any, uuid: UUID) -> CheckRun:
    found: CheckRun = get_object_or_404(runs.seen_at(request.member), uuid=uuid)
    return found


def _show(request: Any, run: CheckRun, time: TimeForm | None = None) -> HttpResponse:
    place, now = request.member, timezone.now()
    slot = Slot.objects.for_card().get(pk=run.slot_id)
    plan = aims_at(run.cafe, slot.version, run.poured_at or now).onto(slot.version.plan())
    elapsed_s = (now - run.poured_at).total_seconds() if run.poured_at else None
    context = {
        "run": run,
        "slot": slot,
        "version": slot.version,
        "steps": timing.steps(plan),
        "plan_rows": plan_rows(plan),
        "elapsed_ms": round(elapsed_s * 1000) if elapsed_s is not None else None,
        "elapsed_s": elapsed_s,
        "time_form": time or TimeForm(),
        "may_enter": runs.may_enter(place, run),
        "membership": runs.membership_of(run) if place.is_station else None,
        "cafe": run.cafe,
        "drops_wanted": check_plans.drops_wanted(check_plans.of(run.cafe), slot.card.recipe_id, run.kind),
    }
    return render_form(request, "calibration/check_run.html", context)


@behind_the_bar("POST")
def check_timer(request: Any, uuid: UUID) -> HttpResponse:
    """A tap of the timer. A page with a script asks for no page in answer."""
    run, now, form = _run(request, uuid), timezone.now(), TapForm(request.POST)
    time = TimeForm(request.POST) if request.POST.get("do") == "typed" else None
    try:
        if not form.is_valid():
            raise runs.NotDone(_("That tap got lost. Please tap again."))
        if time is not None:
            if not time.is_valid():
                return _show(request, run, time)
            runs.set_time(run, time.cleaned_data["brew_time"])
        else:
            _tapped(run, form, now)
    except runs.NotDone as refused:
        if "X-Tap" in request.headers:
            return HttpResponse(str(refused), status=409, content_type="text/plain")
        messages.warning(request, str(refused))
    if "X-Tap" in request.headers:
        return HttpResponse(status=204)
    return redirect("calibration:check_run", uuid=run.uuid)


def _tapped(run: CheckRun, form: TapForm, now: Any) -> None:
    match form.cleaned_data["do"]:
        case "start":
            runs.pour(run, now, form.ago)
        case "finish":
            runs.finish(run, now, form.ago)
        case "back":
            runs.step_back(run)


@brewers("GET", "POST")
def check_drop(request: Any, uuid: UUID) -> HttpResponse:
    """Given up, for a reason that the head barista can read."""
    run = _run(request, uuid)
    if not runs.may_enter(request.member, run):
        messages.info(request, _("This is %(name)s's check. You can stop its timer.") % {"name": run.barista})
        return redirect("calibration:check_run", uuid=run.uuid)
    if run.closed_at is not None:
        return redirect("calibration:check_run", uuid=run.uuid)
    form = DropForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            runs.drop(run, form.cleaned_data["why"], timezone.now())
        except runs.NotDone as refused:
            return conflict(request, str(refused), reverse("calibration:check"))
        messages.success(request, _("Given up. It is counted, and the check is still due."))
        return redirect("calibration:check")
    return render_form(request, "calibration/check_drop.html", {"form": form, "run": run})
