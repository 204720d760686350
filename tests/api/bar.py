"""A bar and the programs that speak to it: for tests of the interface."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.core.cache import cache
from django.test import Client
from django.utils import timezone

from brewbar.crew.models import Cafe, Role, User
from calibration.models import Refractometer
from recipes.models import Server, Slot
from tests import factories as make

V1 = "/api/v1"
N_DAYS = 8


@dataclass(frozen=True)
class Bar:
    cafe: Cafe
    slot: Slot
    barista: User
    head: User
    owner: User
    refractometer: Refractometer
    server: Server

    @classmethod
    def build(cls) -> Bar:
        cache.clear()
        cafe = make.cafe(time_zone="Europe/Lisbon")
        head = make.person(Role.HEAD, cafe)
        return cls(
            cafe=cafe,
            slot=make.live_slot(cafe, by=head, at=timezone.now() - timedelta(days=3)),
            barista=make.person(Role.BARISTA, cafe),
            head=head,
            owner=make.person(Role.OWNER, cafe),
            refractometer=make.refractometer(cafe),
            server=make.server(cafe),
        )

    def program(self, role: str = Role.BARISTA, *scopes: str) -> Client:
        person = {Role.BARISTA: self.barista, Role.HEAD: self.head, Role.OWNER: self.owner}[Role(role)]
        return make.with_key(make.access_key(person, *scopes)[1])

    def body(self, **other: Any) -> dict[str, Any]:
        """A brew as a gateway sends it: 220 g by itself in 2:45, two drops of 1.40 %."""
        said: dict[str, Any] = {
            "uuid": str(uuid.uuid4()),
            "code": self.slot.card.code,
            "drops": [1.4, 1.4],
            "brew_time_s": 165,
            "beverage_source": "alone",
            "weight_g": 220,
        }
        return {name: value for name, value in (said | other).items() if value is not None}


def send(client: Client, path: str, body: Any, **headers: str) -> Any:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return client.post(f"{V1}{path}", body, content_type="application/json", headers=named)


def pointers(answer: Any) -> list[str]:
    return [one["pointer"] for one in answer.json()["errors"]]
