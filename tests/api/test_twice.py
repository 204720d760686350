"""A request that comes twice changes nothing twice.

Jena, Dalal 2024, The Idempotency-Key HTTP Header Field, draft-ietf-httpapi-idempotency-key-header-06, sections 2.6 and
2.7: the same key and body gives the same answer; another body under the same key is an error, here 409.
"""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Barrier

import pytest
from django.db import connection
from django.utils import timezone

from brewbar.crew import forgetting
from brewbar.crew.models import Answered, Role
from calibration.models import InstrumentCheck, Reading
from tests import factories as make
from tests.api.bar import Bar, send

REPLAYED = "Idempotency-Replayed"


def check(bar: Bar, **other) -> dict:
    return {"refractometer": bar.refractometer.pk, "kind": "zero", "read_tds": 0.01} | other


def test_the_same_request_gives_the_same_answer_and_says_that_it_did(bar):
    program = bar.program()
    first = send(program, "/instrument-checks/", check(bar), Idempotency_Key="a-1")
    again = send(program, "/instrument-checks/", check(bar), Idempotency_Key="a-1")
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert again["Content-Type"] == "application/json"
    assert REPLAYED not in first
    assert again[REPLAYED] == "true"
    assert InstrumentCheck.objects.count() == 1


def test_the_order_of_members_and_blanks_say_nothing(bar):
    program, body = bar.program(), check(bar)
    send(program, "/instrument-checks/", body, Idempotency_Key="a-1")
    turned = json.dumps(dict(reversed(body.items())), indent=4)
    assert send(program, "/instrument-checks/", turned, Idempotency_Key="a-1")[REPLAYED] == "true"


def test_another_body_or_address_under_the_same_key_is_409(bar):
    program = bar.program()
    send(program, "/instrument-checks/", check(bar), Idempotency_Key="a-1")
    for path, body in (("/instrument-checks/", check(bar, read_tds=0.02)), ("/readings/", bar.body())):
        answer = send(program, path, body, Idempotency_Key="a-1")
        assert answer.status_code == 409
        assert answer.json()["type"].endswith("#key-reused")
    assert (InstrumentCheck.objects.count(), Reading.objects.count()) == (1, 0)


def test_each_key_has_its_own(bar):
    for role in (Role.BARISTA, Role.HEAD):
        answer = send(bar.program(role), "/instrument-checks/", check(bar), Idempotency_Key="a-1")
        assert REPLAYED not in answer
    assert InstrumentCheck.objects.count() == 2


def test_what_was_refused_may_be_put_right_under_the_same_key(bar):
    program, body = bar.program(), bar.body(weight_g=0)
    assert send(program, "/readings/", body, Idempotency_Key="b-1").status_code == 422
    assert not Answered.objects.exists()
    assert send(program, "/readings/", body | {"weight_g": 220}, Idempotency_Key="b-1").status_code == 201


def test_a_reading_sent_twice_leads_to_the_same_address(bar):
    program, body = bar.program(), bar.body()
    first = send(program, "/readings/", body, Idempotency_Key="c-1")
    again = send(program, "/readings/", body, Idempotency_Key="c-1")
    assert again.content == first.content
    assert again["Location"] == first["Location"] == first.json()["url"]
    assert Reading.objects.count() == 1


def test_after_a_week_it_is_forgotten(bar):
    program = bar.program()
    send(program, "/instrument-checks/", check(bar), Idempotency_Key="d-1")
    Answered.objects.update(at=timezone.now() - timedelta(days=7, seconds=1))
    answer = send(program, "/instrument-checks/", check(bar, read_tds=0), Idempotency_Key="d-1")
    assert (answer.status_code, REPLAYED in answer) == (201, False)
    assert Answered.objects.count() == 1


def test_whoever_is_forgotten_is_in_no_answer_any_more(bar):
    send(bar.program(), "/readings/", bar.body(), Idempotency_Key="g-1")
    assert bar.barista.name in Answered.objects.get().body
    bar.barista.memberships.update(ended_at=timezone.now())
    assert forgetting.forget(bar.barista, timezone.now() + timedelta(days=40))
    assert not Answered.objects.exists()


@pytest.mark.parametrize("said", ["", "two words", "é", "x" * 256])
def test_a_key_that_is_none(bar, said):
    answer = send(bar.program(), "/instrument-checks/", check(bar), Idempotency_Key=said)
    assert (answer.status_code, answer.json()["errors"][0]["header"]) == (400, "Idempotency-Key")


@pytest.mark.parametrize("stopped", ["JSONRenderer.render", "Answered.save"])
def test_what_broke_off_before_it_was_answered_is_done_once_when_it_comes_again(bar, monkeypatch, stopped):
    """The answer stands in the same transaction as what was done: there is nothing in between."""
    program, body = bar.program(), bar.body()
    program.raise_request_exception = False
    with monkeypatch.context() as broken:
        broken.setattr(f"brewbar.crew.api.answered.{stopped}", lambda *_, **__: 1 / 0)
        assert send(program, "/readings/", body, Idempotency_Key="f-1").status_code == 500
    assert not Reading.objects.exists()
    assert not Answered.objects.exists()
    done = send(program, "/readings/", body, Idempotency_Key="f-1")
    again = send(program, "/readings/", body, Idempotency_Key="f-1")
    assert (done.status_code, again.status_code, again.content) == (201, 201, done.content)
    assert Reading.objects.count() == 1


def test_two_readings_of_one_uuid_at_once_are_one(transactional_db):
    """Without an Idempotency-Key; two keys of one person, since a gateway may have been set up twice."""
    bar = Bar.build()
    body, secrets = bar.body(), [make.access_key(bar.barista)[1] for _each in range(2)]
    gate = Barrier(4)

    def hand(number: int):
        try:
            gate.wait(timeout=30)
            return send(make.with_key(secrets[number % 2]), "/readings/", body)
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as hands:
        answers = list(hands.map(hand, range(4)))
    assert sorted(answer.status_code for answer in answers) == [200, 200, 200, 201]
    assert len({answer.content for answer in answers}) == 1
    assert Reading.objects.count() == 1


@pytest.mark.parametrize("bodies", [1, 2])
def test_two_at_once_do_it_once(transactional_db, bodies):
    """On a file of SQLite and on PostgreSQL alike."""
    bar = Bar.build()
    secret = make.access_key(bar.barista)[1]
    gate = Barrier(4)

    def hand(number: int):
        try:
            gate.wait(timeout=30)
            body = check(bar, read_tds=0.01 * (number % bodies))
            return send(make.with_key(secret), "/instrument-checks/", body, Idempotency_Key="e-1")
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as hands:
        answers = list(hands.map(hand, range(4)))
    done = [answer for answer in answers if answer.status_code == 201]
    assert len(done) == 4 // bodies
    assert [REPLAYED in answer for answer in done].count(False) == 1
    assert {answer.status_code for answer in answers} == ({201} if bodies == 1 else {201, 409})
    assert InstrumentCheck.objects.count() == 1
