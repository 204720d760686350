"""The report of the house, as numbers and words: what its page and its files say, to whoever may read those."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from math import isfinite
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from brewbar.crew.api.fields import Choice, Day, IdInAddress, Instant, Query, Text, Whole, at
from brewbar.crew.api.view import ApiView
from brewbar.crew.models import Role, Scope
from calibration.api.results import told_errors
from calibration.forms.report import ReportFilter
from calibration.reporting.build import build
from calibration.reporting.result import Sure
from recipes.api.answers import named
from recipes.api.shapes import Named


class ReportQuery(Query):
    cafe = IdInAddress(required=False, help_text="Of an owner's cafés; the whole company, unless sent.")


ReportQuery._declared_fields.update(
    {
        "from": Day(required=False, help_text="First day; with `to`. Last month, unless sent."),
        "to": Day(required=False, help_text="Last day; with `from`."),
    }
)


@extend_schema_field({"type": ["string", "number", "boolean", "null"]})
class Cell(serializers.Field):
    """Whatever may stand in a table; null where there is no such number."""

    def to_representation(self, value: Any) -> Any:
        if isinstance(value, date):
            return value.isoformat()
        if value is None or isinstance(value, str | bool | int):
            return value
        if isinstance(value, Decimal | float):
            return float(value) if isfinite(value) else None
        return str(value)


class SpanShape(serializers.Serializer):
    first = Day()
    last = Day()


class SentenceShape(serializers.Serializer):
    key = Text()
    says = Text()
    how_sure = Text()
    sure = Choice(choices=tuple(Sure))


class TableShape(serializers.Serializer):
    """head: what the columns are called; rows: their numbers, not rounded."""

    key = Text()
    title = Text()
    head = serializers.ListField(child=Text(), source="csv_head")
    rows = serializers.ListField(child=serializers.ListField(child=Cell()), source="numbers")


class SectionShape(serializers.Serializer):
    key = Text()
    title = Text()
    says = serializers.ListField(child=Text())
    notes = serializers.ListField(child=Text())
    table = TableShape(allow_null=True)


class CutShape(serializers.Serializer):
    """Which readings the numbers rest on."""

    readings = Whole()
    counted = Whole()
    voided = Whole()
    corrected = Whole()
    rebrewed = Whole()
    last_entered = Instant(allow_null=True)
    digest = Text(help_text="SHA-256 of all numbers.")


class ReportShape(serializers.Serializer):
    title = Text()
    cafes = Named(many=True)
    first = Day()
    last = Day()
    before = SpanShape(help_text="What it is compared with.")
    sentences = SentenceShape(many=True)
    next = serializers.ListField(child=Text(), help_text="What to look at, most pressing first.")
    sections = SectionShape(many=True)
    cut = CutShape()
    people_note = Text(help_text="How people appear in it.")
    notes = serializers.ListField(child=Text())


class ReportAsked(ApiView):
    scopes, query = {"GET": Scope.RESULTS}, ReportQuery
    roles = {"GET": frozenset({Role.HEAD, Role.OWNER})}

    @extend_schema(
        operation_id="report",
        summary="Is the cup consistent, has it moved, what is its spread made of? The report, table by table",
        parameters=[ReportQuery],
        responses=ReportShape,
    )
    def get(self, request: Any) -> Response:
        said = {name: str(value) for name, value in self.asked.items()}
        form = ReportFilter(said, self.member, self.member.cafe.business_day(timezone.now()))
        if not form.is_valid():
            raise told_errors(form)
        report = build(form.asked(), timezone.now())
        first, last = report.asked.before
        told = ReportShape(
            {
                "title": report.title,
                "cafes": [named(cafe) for cafe in report.asked.cafes],
                "first": report.asked.first,
                "last": report.asked.last,
                "before": {"first": first, "last": last},
                **{name: getattr(report, name) for name in ("sentences", "next", "sections")},
                **{name: getattr(report, name) for name in ("cut", "people_note", "notes")},
            }
        ).data
        entered = report.cut.last_entered
        told["cut"]["last_entered"] = at(entered, self.member) if entered else None
        return Response(told)
