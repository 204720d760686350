"""A link opened by two people at once lets in one of them, on a file of SQLite and on PostgreSQL alike."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from django.db import connection
from django.test import Client
from django.urls import reverse

from brewbar.crew.models import Membership, OneTimeLink, User
from tests import factories as make

AT_ONCE = 5


def test_a_link_lets_in_one_of_many(transactional_db):
    cafe = make.cafe()
    _link, key = make.link(cafe)
    gate, address = Barrier(AT_ONCE), reverse("crew:join", args=[key])

    def come(number: int) -> int:
        typed = {"name": f"Person {number}", "username": f"at-once-{number}"}
        words = {"password": "quite long enough", "password_again": "quite long enough"}
        try:
            gate.wait(timeout=30)
            return Client().post(address, typed | words).status_code
        finally:
            connection.close()

    with ThreadPoolExecutor(AT_ONCE) as hands:
        answers = list(hands.map(come, range(AT_ONCE)))
    assert sorted(answers) == [302] + [410] * (AT_ONCE - 1)
    assert User.objects.get() == Membership.objects.get().user == OneTimeLink.objects.get().used_by
