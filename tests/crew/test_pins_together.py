"""Guesses sent all at once are counted one by one, on a file of SQLite and on PostgreSQL alike."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from django.conf import settings
from django.db import connection
from django.urls import reverse

from brewbar.crew import pins
from brewbar.crew.models import Change
from tests import factories as make

GUESSES = 9


def test_guesses_sent_at_once_get_no_more_tries_than_one_after_the_other(transactional_db):
    cafe = make.cafe()
    person = make.person(cafe=cafe)
    membership = person.memberships.get()
    pins.set_pin(membership, "4071", person)
    _tablet, key = make.tablet(make.station(cafe))
    gate, address = Barrier(GUESSES), reverse("crew:pin", args=[membership.pk])

    def guess(number: int) -> int:
        try:
            gate.wait(timeout=30)
            return make.at_tablet(key).post(address, {"pin": f"91{number}5"}).status_code
        finally:
            connection.close()

    with ThreadPoolExecutor(GUESSES) as hands:
        answers = list(hands.map(guess, range(GUESSES)))
    tries = settings.AXES_FAILURE_LIMIT
    assert sorted(answers) == [422] * (tries - 1) + [429] * (GUESSES - tries + 1)
    assert Change.objects.filter(what__startswith="PIN refused").count() == tries
