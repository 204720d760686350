"""From a card's code, or from a check under way, to a saved reading."""

from __future__ import annotations

import re
from typing import Any, cast
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import Member, brewers, crew
from brewbar.web.answers import conflict
from calibration import recording, runs
from calibration.forms.readings import EntryForm
from calibration.models import CheckRun, Reading
from recipes import codes
from recipes.aims import aims_at
from recipes.models import Slot
from recipes.seen import mark_seen
from recipes.timeline import plan_rows

READINGS_TO_KNOW_THE_STEPS = 5
"""After so many of one's own, the sample's steps are folded away."""
IN_AN_ADDRESS = re.compile(r"/c/(?P<code>[^/\s]+)(?:/(?P<printed>\d{1,5}))?")


@crew("GET")
def find_code(request: Any) -> HttpResponse:
    """Where a code is typed. An address copied from a card does as well."""
    typed = request.GET.get("code", "").strip()
    if not typed:
        return render(request, "calibration/code.html", {"asked": "code" in request.GET})
    address = IN_AN_ADDRESS.search(typed)
    wanted = address["code"] if address else typed
    found = codes.resolve(request.member, wanted, timezone.now())
    if found is None:
        return _unknown(request, typed, wanted)
    printed = [int(address["printed"])] if address and address["printed"] else []
    return redirect("calibration:code", found.card.code, *printed)


def _unknown(request: Any, typed: str, code: str) -> HttpResponse:
    """404, but kindly: perhaps the card stands in another café where this person has a role."""
    others = (place for place in request.places if place.cafe != request.member.cafe)
    place = next((place for place in others if codes.resolve(place, code, timezone.now())), None)
    context = {"typed": typed, "place": place, "next": request.get_full_path(), "unknown": True}
    return render(request, "calibration/code.html", context, status=404)


@crew("GET", "POST")
def code(request: Any, code: str, printed: int | None = None) -> HttpResponse:
    """Where a card leads: how to take the sample, and the entry of a reading."""
    member: Member = request.member
    found = codes.resolve(member, code, timezone.now(), printed)
    if found is None:
        return _unknown(request, code, code)
    if request.method == "POST" and not member.may_brew:
        raise PermissionDenied(_("Owners see the card; readings are entered by those who brew."))
    slot = _meant(request, found)
    if slot is None:
        return render(
            request, "calibration/code_gone.html", {"found": found, "cafe": found.card.station.cafe}
        )
    waiting = runs.waiting_for(member, slot) if member.may_brew else None
    return _enter(request, "calibration/entry.html", slot, {"found": found, "waiting": waiting})


def _meant(request: Any, found: codes.Resolved) -> Slot | None:
    """What is live, unless the page was opened for what was live then, or for an old card brewed by."""
    ever_live = Slot.objects.for_member(request.member).for_card()
    ever_live = ever_live.filter(card=found.card, published_at__isnull=False).order_by("-pk")
    asked = request.POST.get("slot", "")
    slot: Slot | None = None
    if re.fullmatch(r"[0-9]{1,18}", asked):
        slot = ever_live.filter(pk=asked).first()
    elif request.GET.get("as") == "printed" and found.printed_number is not None:
        slot = ever_live.filter(version__number=found.printed_number).first()
    if slot is not None and found.slot is not None:
        # An old card is brewed from today's batch, and ground as today's board says.
        slot.setting = found.slot.setting
    return slot or found.slot


@brewers("GET", "POST")
def correct(request: Any, uuid: UUID) -> HttpResponse:
    """A typo is put right by a new reading that names the old one."""
    member: Member = request.member
    rows = recording.seen_by(member).select_related("barista", "corrects__corrects__corrects", "correction")
    reading: Reading = get_object_or_404(rows, uuid=uuid)
    if request.method == "GET" and not recording.stands(reading):
        reason = _("This reading was corrected or voided already, so it is left as it is.")
        return conflict(request, reason, reverse("calibration:reading", args=[reading.uuid]))
    if not recording.may_correct(member, reading, timezone.now()):
        raise PermissionDenied(
            _("The ten minutes for correcting a typo are over. A head barista can still do it.")
        )
    slot = Slot.objects.for_member(member).for_card().get(pk=reading.slot_id)
    return _enter(request, "calibration/reading_correct.html", slot, {"reading": reading}, original=reading)


@brewers("GET", "POST")
def check_enter(request: Any, uuid: UUID) -> HttpResponse:
    """The reading of a check under way. What was typed of it waits on the server until it is saved."""
    member: Member = request.member
    run: CheckRun = get_object_or_404(runs.seen_at(member), uuid=uuid)
    if not runs.may_enter(member, run):
        messages.info(request, _("This is %(name)s's check. You can stop its timer.") % {"name": run.barista})
        return redirect("calibration:check_run", uuid=run.uuid)
    if run.reading is not None:
        return redirect("calibration:reading", uuid=run.reading.uuid)
    if request.method == "GET" and run.closed_at is not None:
        return redirect("calibration:check_run", uuid=run.uuid)
    if "later" in request.POST:
        runs.keep(run, request.POST.dict())
        messages.success(request, _("Kept. Come back to it under Check."))
        return redirect("calibration:check")
    slot = Slot.objects.for_member(member).for_card().get(pk=run.slot_id)
    return _enter(request, "calibration/check_enter.html", slot, {"run": run}, run=run)


@brewers("POST")
def check_keep(request: Any, uuid: UUID) -> HttpResponse:
    """The page itself sends what is typed, a moment after."""
    run: CheckRun = get_object_or_404(runs.seen_at(request.member), uuid=uuid)
    if not runs.may_enter(request.member, run):
        raise Http404
    runs.keep(run, request.POST.dict())
    return HttpResponse(status=204)


def _enter(
    request: Any,
    template: str,
    slot: Slot,
    context: dict[str, Any],
    original: Reading | None = None,
    run: CheckRun | None = None,
) -> HttpResponse:
    """Show the form, or take what it holds; a saved reading is shown under its own address."""
    member, sent = request.member, request.POST
    brewed_at = original.brewed_at if original else timezone.now()
    context |= {
        "slot": slot,
        "version": slot.version,
        "plan_rows": plan_rows(slot.version.plan()),
        "aims": aims_at(slot.board.cafe, slot.version, brewed_at),
    }
    if not member.may_brew:
        return render(request, template, context)
    own = Reading.objects.for_member(member).filter(barista=member.user)
    context["knows_the_steps"] = own.count() >= READINGS_TO_KNOW_THE_STEPS
    if request.method == "GET":
        return render(
            request, template, context | {"form": EntryForm(member, slot, original=original, run=run)}
        )
    if "more" in sent:
        form = EntryForm(member, slot, typed=sent.dict(), original=original, run=run)
        form.adds_drop = True
        return render(request, template, context | {"form": form})
    return _save(request, template, context, EntryForm(member, slot, sent, original=original, run=run))


def _save(request: Any, template: str, context: dict[str, Any], form: EntryForm) -> HttpResponse:
    """Save what a filled form says, or say on the same page why that cannot be, or ask first."""
    member, status = request.member, 422
    if form.is_valid():
        try:
            saved = recording.record(form.entry(), member.user, timezone.now(), form.run)
            # Who has brewed a version knows what changed with it.
            mark_seen(saved.reading.slot, saved.reading.barista, timezone.now())
            messages.success(request, _("Saved."))
            return redirect("calibration:reading", uuid=saved.reading.uuid)
        except recording.Impossible as refusal:
            form.add_problems(refusal.problems)
        except recording.Unsure as unsure:
            context["question"] = unsure.question
            if unsure.question.rinse_water and "rinse_asked" in request.POST:
                form.add_error("rinse_left_in", _("Choose yes or no."))
        except recording.NotStanding as gone:
            status = 409
            form.add_error(None, str(gone))
        except recording.Taken as taken:
            status = 409
            context |= {"was_taken": True, "before": _visible(member, taken.reading)}
            form = _as_another(form)
    if form.run is not None:
        runs.keep(form.run, request.POST.dict())
    return render(request, template, context | {"form": form}, status=status)


def _visible(member: Member, reading: Reading) -> Reading | None:
    visible: Reading | None = recording.seen_by(member).filter(pk=reading.pk).first()
    return visible


def _as_another(form: EntryForm) -> EntryForm:
    """The same page with a UUID of its own: sent again, it is another brew."""
    said = cast(QueryDict, form.data).copy()
    said["uuid"] = str(uuid4())
    return EntryForm(form.member, form.slot, said, original=form.original)
