"""The whole schema, tried with whatever it allows and with much that it does not, as each role and as an outsider.

What may be told to a request of the right shape is said once here: 422, since that a weight is less than its server's
tare, or that a span ends before it begins, no schema can say. Everything else that is found is a failure.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from itertools import cycle
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from django.utils import timezone
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.validation import validate_schema
from hypothesis import HealthCheck, settings
from schemathesis.config import PositiveDataAcceptanceConfig, SchemathesisConfig

from brewbar.crew.api.authentication import PerKey, Refused
from brewbar.crew.api.schema import schema
from brewbar.crew.models import Role
from brewbar.wsgi import application
from tests import factories as make
from tests.api.bar import Bar

EXAMPLES = 8
"""Of each operation and role, beside the boundaries that are always tried."""
CONFIG = SchemathesisConfig.from_dict(
    {
        "seed": 8,
        "generation": {"deterministic": True, "max-examples": EXAMPLES, "no-shrink": True},
        "checks": {
            "positive_data_acceptance": {
                "expected-statuses": [*PositiveDataAcceptanceConfig().expected_statuses, 422]
            }
        },
    }
)
SCHEMA: Any = schemathesis.openapi.from_wsgi("/api/v1/schema/", application, config=CONFIG)


@pytest.fixture(autouse=True)
def as_a_test_client(monkeypatch) -> Iterator[None]:
    """No waiting; and like Django's own client, the end of a request leaves the test's connection open."""
    for throttle in (PerKey, Refused):
        monkeypatch.setattr(throttle, "THROTTLE_RATES", {"key": None, "refused": None})
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def keys_of(bar: Bar) -> Iterator[str]:
    """A key of each role without end; the outsider is the head barista of another company."""
    for ago in range(3):
        make.reading(bar.slot, bar.barista, brewed_at=timezone.now() - timedelta(days=ago))
    make.unclear_check(bar.refractometer, by=bar.head)
    everybody = (bar.barista, bar.head, bar.owner, make.person(Role.HEAD))
    return cycle([make.access_key(person)[1] for person in everybody])


@SCHEMA.parametrize()
@settings(deadline=None, database=None, suppress_health_check=list(HealthCheck))
def test_nothing_is_found(case, keys_of):
    # In turns, which bounds the time: of each operation every role and the outsider have a fourth of the cases.
    case.call_and_validate(headers={"Authorization": f"Bearer {next(keys_of)}"})


def test_the_schema_was_made_without_a_guess():
    assert schema()["openapi"].startswith("3.1")
    assert not GENERATOR_STATS


def test_the_schema_is_one_by_the_published_schema_of_schemas():
    """OpenAPI Initiative, OpenAPI Specification 3.1, schema of 2022-10-07, as drf-spectacular ships it."""
    validate_schema(schema())


def test_the_schema_is_json_or_yaml(client):
    assert client.get("/api/v1/schema/").json() == schema()
    yaml = client.get("/api/v1/schema/", headers={"Accept": "application/vnd.oai.openapi"})
    assert yaml.content.startswith(b"openapi: 3.1")
