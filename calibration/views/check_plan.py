"""What the café asks of its crew, what that costs, and how little would do."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar import units
from brewbar.crew.access import head_baristas
from brewbar.web.forms import render_form
from calibration import check_plans, schedule
from calibration.forms.check_plan import CheckPlanForm
from calibration.models import CheckPlan


@head_baristas("GET", "POST")
def check_plan(request: Any) -> HttpResponse:
    member, now = request.member, timezone.now()
    # Read anew for the page's sums, since a form changes the row that it is given.
    plan, edited = check_plans.of(member.cafe), check_plans.of(member.cafe)
    half = check_plans.smallest(CheckPlan(cafe=member.cafe, recipe=plan.recipe))
    form = CheckPlanForm(
        request.POST if request.method == "POST" else None,
        instance=edited,
        member=member,
        half_tds=units.percent(half.tds_pct, 3) if half.tds_pct is not None else "",
        half_time=f"{units.trimmed(half.time_s, 1)} s" if half.time_s is not None else "",
    )
    if form.is_valid():
        try:
            check_plans.save(member.cafe, form.said(), request.user, now)
        except check_plans.Refused as refused:
            form.add_error(refused.field, str(refused))
        else:
            messages.success(request, _("The shift check is saved."))
            return redirect("calibration:check_plan")
    context: dict[str, Any] = {"form": form, "plan": plan, "cafe": member.cafe}
    return render_form(request, "calibration/check_plan.html", context | _reckoned(plan, now))


def _reckoned(plan: CheckPlan, now: Any) -> dict[str, Any]:
    there = schedule.presence(plan, now)
    version = check_plans.standing_version(plan.cafe, plan.recipe)
    if version is None:
        return {"there": there}
    served = schedule.share_served(plan, now)
    return {
        "there": there,
        "version": version,
        "is_on_the_board": bool(check_plans.live_slots(plan.cafe, version.recipe)),
        "trouble": check_plans.trouble_with(plan.cafe, plan.recipe),
        "cost": schedule.cost(plan, there, float(version.dose_g or 0), served) if there.is_enough else None,
        "schedule": schedule.smallest_schedule(there, schedule.needed(plan, now)),
        "weeks_back": schedule.DAYS_BACK // 7,
    }
