"""What is there, and who the key is."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from brewbar.crew.api.fields import Choice, Id, Instant, Text, at
from brewbar.crew.api.view import ApiView, key_of
from brewbar.crew.models import Cafe, Role, Scope

SAID = {
    "board": "recipes:api_board",
    "recipes": "recipes:api_recipes",
    "coffees": "recipes:api_coffees",
    "equipment": "calibration:api_equipment",
    "readings": "calibration:api_readings",
    "instrument_checks": "calibration:api_instrument_checks",
    "days": "calibration:api_days",
    "staff": "calibration:api_staff",
    "report": "calibration:api_report",
    "schema": "crew:api_schema",
}


class CafeShape(serializers.Serializer):
    id = Id()
    name = Text()
    time_zone = Text()


class RootShape(serializers.Serializer):
    person = Id(help_text="Of whoever made the key.")
    role = Choice(choices=Role.choices)
    cafes = CafeShape(many=True)
    scopes = serializers.ListField(child=Choice(choices=Scope.choices))
    expires_at = Instant()
    addresses = serializers.DictField(child=serializers.URLField())


class Root(ApiView):
    scopes = {"GET": None}

    @extend_schema(operation_id="root", summary="What is there, and who the key is", responses=RootShape)
    def get(self, request: Any) -> Response:
        key, member = key_of(request), self.member
        return Response(
            {
                "person": member.user.pk,
                "role": member.role,
                "cafes": [
                    {"id": cafe.pk, "name": cafe.name, "time_zone": cafe.time_zone}
                    for cafe in Cafe.objects.for_member(member)
                ],
                "scopes": key.scopes,
                "expires_at": at(key.expires_at, member),
                "addresses": {
                    name: request.build_absolute_uri(reverse(address)) for name, address in SAID.items()
                },
            }
        )
