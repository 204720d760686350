"""Readings, instrument checks and equipment. A reading goes the way that the entry page sends it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from brewbar import units
from brewbar.crew.access import BREWERS
from brewbar.crew.api.answered import once
from brewbar.crew.api.fields import CafeQuery, plain
from brewbar.crew.api.pages import page, page_of
from brewbar.crew.api.view import ApiView, body_of, key_of
from brewbar.crew.models import Scope, Station
from brewbar.glyphs import unprintable
from brewbar.web.printable import CANNOT_PRINT
from brewbar.web.problems import Problem, Wrong
from calibration import choosing, instruments, recording
from calibration.api import entering, shapes, telling
from calibration.models import InstrumentCheck, Reading, Refractometer
from calibration.statistics.known_strength import Word
from recipes.api.answers import named
from recipes.models import Grinder, Kettle, Server
from recipes.seen import mark_seen

NOT_FOR_OWNERS = {
    "GET": gettext_lazy("Owners read results as statistics, never the readings of single people."),
    "POST": gettext_lazy("Owners see the card; readings are entered by those who brew."),
}


class Readings(ApiView):
    scopes = {"GET": Scope.RESULTS, "POST": Scope.READINGS}
    roles = {"GET": BREWERS, "POST": BREWERS}
    why_not = NOT_FOR_OWNERS
    query = shapes.ReadingQuery

    @extend_schema(
        operation_id="readings",
        summary="Readings: of a barista their own, of a head barista the café's",
        parameters=[shapes.ReadingQuery],
        responses=page_of(shapes.ReadingShape),
    )
    def get(self, request: Any) -> Response:
        asked, rows = self.asked, recording.seen_by(self.member)
        wanted = {
            "business_day__gte": asked.get("from"),
            "business_day__lte": asked.get("to"),
            "version__recipe": asked.get("recipe"),
            "barista": asked.get("barista"),
            "kind": asked.get("kind"),
        }
        rows = rows.filter(**{name: value for name, value in wanted.items() if value is not None})
        found, following = page(request, telling.with_all(rows), asked)
        return Response({"items": telling.readings(found, request, self.member), "next": following})

    @extend_schema(
        operation_id="enter_reading",
        summary="Enter a reading",
        request=shapes.ReadingInput,
        responses={201: shapes.ReadingShape, 200: shapes.ReadingShape},
    )
    def post(self, request: Any) -> Any:
        body = body_of(request, shapes.ReadingInput)
        return once(request, lambda: self._enter(request, body))

    def _enter(self, request: Any, body: dict[str, Any]) -> Response:
        member, now = self.member, timezone.now()
        entry = entering.entry_of(member, body, now)
        try:
            saved = recording.record(entry, member.user, now, key=key_of(request))
        except recording.Impossible as refusal:
            raise entering.impossible(refusal) from None
        except recording.Unsure as unsure:
            raise entering.question(unsure.question) from None
        except recording.Taken:
            raise Problem(409, "taken", errors=[Wrong(_("Make another UUID."), pointer="/uuid")]) from None
        mark_seen(saved.reading.slot, saved.reading.barista, now)
        row = telling.with_all(Reading.objects.filter(pk=saved.reading.pk)).get()
        [told] = telling.readings([row], request, member)
        return Response(told, status=201 if saved.is_new else 200, headers={"Location": told["url"]})


class OneReading(ApiView):
    scopes = {"GET": Scope.RESULTS}
    roles = {"GET": BREWERS}
    why_not = NOT_FOR_OWNERS

    @extend_schema(operation_id="reading", summary="One reading", responses=shapes.ReadingShape)
    def get(self, request: Any, uuid: UUID) -> Response:
        row = get_object_or_404(telling.with_all(recording.seen_by(self.member)), uuid=uuid)
        return Response(telling.readings([row], request, self.member)[0])


class InstrumentChecks(ApiView):
    scopes = {"GET": Scope.RESULTS, "POST": Scope.READINGS}
    roles = {"POST": BREWERS}
    why_not = NOT_FOR_OWNERS
    query = shapes.CheckQuery

    @extend_schema(
        operation_id="instrument_checks",
        summary="Checks of refractometers",
        parameters=[shapes.CheckQuery],
        responses=page_of(shapes.CheckShape),
    )
    def get(self, request: Any) -> Response:
        rows = InstrumentCheck.objects.for_member(self.member).select_related("refractometer", "checked_by")
        if "cafe" in self.asked:
            rows = rows.filter(refractometer__cafe=self.member.cafe)
        if "refractometer" in self.asked:
            rows = rows.filter(refractometer=self.asked["refractometer"])
        found, following = page(request, rows, self.asked)
        return Response({"items": [telling.check(row, self.member) for row in found], "next": following})

    @extend_schema(
        operation_id="check_instrument",
        summary="Say what a refractometer showed",
        request=shapes.CheckInput,
        responses={201: shapes.CheckShape},
    )
    def post(self, request: Any) -> Any:
        body = body_of(request, shapes.CheckInput)
        return once(request, lambda: self._check(body))

    def _check(self, body: dict[str, Any]) -> Response:
        member, rows = self.member, Refractometer.objects.for_member(self.member).in_use()
        row = rows.select_related("cafe").filter(pk=body["refractometer"]).first()
        if row is None:
            raise entering.not_possible(
                "refractometer", _("There is none of this number in use at this café.")
            )
        if lost := unprintable(body.get("note", "")):
            raise entering.not_possible("note", CANNOT_PRINT % {"lost": " ".join(lost)})
        measured = _measured(body)
        expected, found = instruments.judged(row, **measured)
        key = f"failed:{body['read_tds']}:{expected}"
        if found.word is Word.FAILED and key not in body.get("sure", ()):
            said = _("It should read %(expected)s %% and reads %(read)s %%: it does not read right.")
            words = {"expected": units.fixed(expected, 2), "read": units.fixed(body["read_tds"], 2)}
            detail = _("Look at it again. If it is so, send it with the answers.")
            raise Problem(422, "question", detail, doubts=[{"key": key, "detail": said % words}])
        made = instruments.check(
            row,
            **measured,
            by=member.user,
            now=timezone.now(),
            note=body.get("note", ""),
            as_found=not body.get("was_zeroed", False),
        )
        return Response(telling.check(made, member), status=201)


STANDARD_ONLY = ("sucrose_g", "solution_g", "scale_g", "expected_tds", "starts_over")


def _measured(body: dict[str, Any]) -> dict[str, Any]:
    """What ``instruments.judged`` wants to know. Raises Problem."""
    for name, decimals in {"read_tds": 2, "sucrose_g": 2, "solution_g": 2, "expected_tds": 3}.items():
        if name in body and body[name] != round(body[name], decimals):
            raise entering.not_possible(name, _("At most %(n)d decimals.") % {"n": decimals})
    if body["kind"] == InstrumentCheck.Kind.ZERO:
        if told := [name for name in STANDARD_ONLY if name in body]:
            raise entering.not_possible(told[0], _("This is said of a check standard, not of water."))
        return {"kind": body["kind"], "expected_tds": None, "read_tds": body["read_tds"]}
    sucrose, solution, bottle = (body.get(name) for name in ("sucrose_g", "solution_g", "expected_tds"))
    if wrong := instruments.wrong_with_standard(sucrose, solution, bottle):
        raise entering.not_possible(*wrong)
    scale = body.get("scale_g", instruments.COARSE_SCALE_G)
    if scale not in instruments.SCALES_G:
        raise entering.not_possible("scale_g", _("The scale reads to 0.1 or 0.01 g."))
    return {
        "kind": body["kind"],
        "expected_tds": bottle,
        "read_tds": body["read_tds"],
        "mixed": instruments.Mixed(sucrose, solution, scale) if sucrose and solution else None,
        "starts_over": body.get("starts_over", False),
    }


class Equipment(ApiView):
    scopes, query = {"GET": Scope.RECIPES}, CafeQuery

    @extend_schema(
        operation_id="equipment",
        summary="What a reading is made with, and whose brews this key may enter",
        parameters=[CafeQuery],
        responses=shapes.EquipmentShape,
    )
    def get(self, request: Any) -> Response:
        member = self.member

        def of(model: Any) -> list[Any]:
            return list(model.objects.for_member(member).filter(cafe=member.cafe).in_use())

        return Response(
            {
                "stations": [named(row) for row in of(Station)],
                "kettles": [named(row) for row in of(Kettle)],
                "grinders": [named(row) for row in of(Grinder)],
                "servers": [
                    {"id": row.pk, "name": row.name, "tare_g": plain(row.tare_g, 1)} for row in of(Server)
                ],
                "refractometers": [named(row) for row in of(Refractometer)],
                "crew": [named(row) for row in choosing.crew_of(member).order_by("name", "pk")],
            }
        )
