"""A saved reading, with what can be said of it, and voiding one."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import Member, brewers, head_baristas
from brewbar.web.answers import conflict
from brewbar.web.forms import render_form
from calibration import conventions, feedback, instrument_spans, judging, recording, strength, strip
from calibration.forms.checks import StartForm
from calibration.forms.readings import VoidForm
from calibration.models import Reading
from calibration.statistics.uncertainty import COVERAGE_K
from recipes.models import Slot

LAST = 10
CHART_SPAN = timedelta(days=27)
"""Before the day of the reading, on the chart that its page leads to."""


@brewers("GET")
def reading(request: Any, uuid: UUID) -> HttpResponse:
    member, now = request.member, timezone.now()
    shown = _found(member, uuid)
    last = list(
        recording.seen_by(member)
        .standing()
        .filter(barista=shown.barista, version__recipe=shown.version.recipe_id)
        .select_related("version")[:LAST]
    )
    stands = recording.stands(shown)
    known = instrument_spans.spans_of_cafes([member.cafe], now)
    instrument, *of_last = instrument_spans.states_of([shown, *last], known)
    aims = judging.aims_of(shown)
    told = feedback.of(shown, now, aims) if stands else None
    context = {
        "reading": shown,
        "drops": list(shown.drops.all()),
        "verdicts": judging.against_recipe(shown, aims),
        "own_target": aims.own,
        "ey_U_absolute": COVERAGE_K * shown.u_ey_absolute,
        "chart_first": shown.business_day - CHART_SPAN,
        "lies": strength.lies(shown, conventions.chosen(member), aims),
        "rule": _("median") if shown.tds_rule == "median" else _("mean"),
        "correction": getattr(shown, "correction", None),
        "marks": judging.marks(shown, getattr(shown, "correction", None), instrument),
        "last": [
            (row, judging.marks(row, instrument=state)) for row, state in zip(last, of_last, strict=True)
        ],
        "strip": strip.draw(last or [shown], shown, aims),
        "may_correct": stands and recording.may_correct(member, shown, now),
        "minutes_left": recording.minutes_to_correct(shown, now),
        "may_void": stands and member.is_head,
        "feedback": told,
        "start": StartForm(slots=Slot.objects.none()) if told and told.once_more else None,
    }
    return render_form(request, "calibration/reading.html", context)


def _found(member: Member, uuid: UUID) -> Reading:
    rows = recording.seen_by(member).select_related(
        *(
            "barista",
            "entered_by",
            "voided_by",
            "refractometer",
            "server",
            "kettle",
            "grinder",
            "roast_batch",
            "brew_water",
        ),
        *("version__recipe", "slot__card__station", "corrects__corrects__corrects", "correction"),
    )
    found: Reading = get_object_or_404(rows, uuid=uuid)
    return found


@head_baristas("GET", "POST")
def void(request: Any, uuid: UUID) -> HttpResponse:
    """The reading stays where it is, marked, and counts nowhere."""
    shown = _found(request.member, uuid)
    address = reverse("calibration:reading", args=[shown.uuid])
    if not recording.stands(shown):
        return conflict(request, _("This reading was corrected or voided already."), address)
    form = VoidForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            recording.void(shown, request.member.user, form.cleaned_data["reason"], timezone.now())
        except recording.NotStanding as gone:
            return conflict(request, str(gone), address)
        messages.success(request, _("The reading is voided. It stays to be seen, and counts nowhere."))
        return redirect(address)
    return render_form(request, "calibration/reading_void.html", {"form": form, "reading": shown})
