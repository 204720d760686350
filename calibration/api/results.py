"""Results: what the chart pages say, as numbers, and as much of it as whoever made the key may see."""

from __future__ import annotations

from math import isfinite
from typing import Any

from django.forms import Form
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from brewbar.crew.api.view import ApiView
from brewbar.crew.models import Scope
from brewbar.web.problems import Problem, Wrong
from calibration import days, drift, staff
from calibration.api import shapes
from calibration.drift import Measure
from calibration.forms.filters import ChartFilter
from calibration.spread import Beside
from recipes.api.answers import named

PARAMETER = {"first": "from", "last": "to"}
TO_THE_FORM = {word: name for name, word in PARAMETER.items()}


class Results(ApiView):
    scopes, query = {"GET": Scope.RESULTS}, shapes.ResultQuery

    def question(self) -> drift.Asked:
        """What is asked for, by the rules of the chart pages. Raises Problem."""
        said = {
            TO_THE_FORM.get(name, name): value.isoformat() if hasattr(value, "isoformat") else str(value)
            for name, value in self.asked.items()
        }
        form = ChartFilter(said, self.member, self.member.cafe.business_day(timezone.now()))
        if not form.has_recipes:
            raise Problem(422, "not-possible", _("There are no readings at this café yet."))
        if not form.is_valid():
            raise told_errors(form)
        return form.asked()


def told_errors(form: Form) -> Problem:
    """What a form of the pages has against a question, by the parameters of the address."""
    errors = [
        Wrong(str(message), parameter=PARAMETER.get(name, name))
        for name, messages in form.errors.items()
        for message in messages
    ]
    return Problem(422, "not-possible", errors=errors)


def _shared(asked: drift.Asked, seen: Any, notes: tuple[str, ...]) -> dict[str, Any]:
    beside: Beside = seen.beside
    return {
        "cafe": asked.cafe.pk,
        "recipe": named(asked.recipe),
        "measure": asked.measure.key,
        "first": asked.first.isoformat(),
        "last": asked.last.isoformat(),
        "brews": seen.brews,
        "answer": seen.answer,
        "how_sure": seen.how_sure,
        "smallest_that_matters": seen.smallest,
        "left_out": [{"why": why, "readings": n} for why, n in beside.left_out],
        "notes": [*notes, *filter(None, [seen.sight.why_not])],
    }


def _number(value: float | None, measure: Measure) -> float | None:
    """With two decimals more than a page shows."""
    return None if value is None or not isfinite(value) else round(float(value), measure.decimals + 2)


class Days(Results):
    @extend_schema(
        operation_id="days",
        summary="Has the cup moved? Each day, whoever was on",
        parameters=[shapes.ResultQuery],
        responses=shapes.DaysShape,
    )
    def get(self, request: Any) -> Response:
        asked = self.question()
        seen = days.look(self.member, asked)
        told = [
            {
                "day": row.day.isoformat(),
                **{
                    name: _number(getattr(row, name), asked.measure)
                    for name in ("value", "low", "high", "usual_low", "usual_high")
                },
                "is_outside": row.is_outside,
                "brews": row.brews,
                "people": row.people,
            }
            for row in seen.days
        ]
        return Response(_shared(asked, seen, seen.notes) | {"is_own": seen.is_own, "days": told})


class Staff(Results):
    @extend_schema(
        operation_id="staff",
        summary="Who is off? Each person against the others of the same days, as this key may see them",
        parameters=[shapes.ResultQuery],
        responses=shapes.StaffShape,
    )
    def get(self, request: Any) -> Response:
        asked = self.question()
        seen = staff.look(self.member, asked)
        people = []
        for one in seen.people:
            low, high = one.standing.limits
            people.append(
                {
                    "name": one.name,
                    "is_me": one.is_me,
                    "state": one.state,
                    "brews": one.standing.brews,
                    "days": one.standing.days,
                    "estimate": _number(one.standing.best, asked.measure),
                    "low": _number(low, asked.measure),
                    "high": _number(high, asked.measure),
                }
            )
        band = None
        if seen.band is not None:
            band = {
                name: _number(value, asked.measure)
                for name, value in zip(("low", "high"), seen.band, strict=True)
            }
        return Response(_shared(asked, seen, (*seen.notes, *seen.tied)) | {"people": people, "band": band})
