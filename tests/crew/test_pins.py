"""Choosing a PIN, and trying one: what is refused, what is counted, what is written down.

What an easy PIN is follows NIST SP 800-63B (2017), 5.1.1.2: repetitive or sequential characters, and words of the
context such as the name of the service or the user. Years and lines on the keys: common practice, no source.
"""

from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from brewbar.crew import locks, pins
from brewbar.crew.models import Change, Role
from tests import factories as make

PIN, PASSWORD = "4071", "four plain words here"


@pytest.fixture
def bar(db):
    return Bar()


class Bar:
    """A café with a tablet, a head barista, and somebody who has a PIN."""

    def __init__(self) -> None:
        self.cafe = make.cafe(name="Bar 5803")
        self.station = make.station(self.cafe)
        self.head = make.person(Role.HEAD, self.cafe)
        self.person = make.person(Role.BARISTA, self.cafe, name="Ana Prova")
        self.person.set_password(PASSWORD)
        self.person.save()
        self.membership = self.person.memberships.get()
        self.tablet, self.key = make.tablet(self.station, self.head)
        self.client = make.at_tablet(self.key)

    def choose(self, pin: str = PIN) -> None:
        pins.set_pin(self.membership, pin, self.person)

    def type(self, pin: str, client=None, membership=None, **more: str):
        address = reverse("crew:pin", args=[(membership or self.membership).pk])
        return (client or self.client).post(address, {"pin": pin, **more})

    def lock(self, client=None) -> None:
        for _try in range(6):
            self.type("9155", client)

    @property
    def told(self) -> list[tuple[str, str, str]]:
        return [(c.by_name, c.what, c.subject) for c in Change.objects.order_by("pk")]


@pytest.mark.parametrize("pin", ["4071", "80392", "190771", "40718263"])
def test_a_pin_nobody_would_guess_is_taken(pin):
    pins.check_pin(pin)


@pytest.mark.parametrize(
    ("pin", "why"),
    [
        ("123", "4 to 8 digits"),
        ("123456789", "4 to 8 digits"),
        ("40 71", "4 to 8 digits"),
        ("４０７１", "4 to 8 digits"),
        ("4o71", "4 to 8 digits"),
        ("7777", "same digit"),
        ("3456", "up or down"),
        ("8901", "up or down"),
        ("6543", "up or down"),
        ("2109", "up or down"),
        ("1212", "over again"),
        ("407407", "over again"),
        ("1155", "Doubled"),
        ("1987", "year"),
        ("2031", "year"),
        ("2580", "keys"),
        ("5803", "Others at the bar"),
    ],
)
def test_an_easy_pin_is_refused_and_told_why(pin, why):
    with pytest.raises(ValidationError, match=why):
        pins.check_pin(pin, ["Bar 5803"])


def test_only_its_owner_chooses_a_pin(bar):
    with pytest.raises(ValueError, match="owner"):
        pins.set_pin(bar.membership, PIN, bar.head)


def test_a_pin_is_kept_hashed_and_never_written_down(bar):
    client = make.signed_in(bar.person)
    form = {"pin": PIN, "pin_again": PIN, "password": PASSWORD}
    assert client.post(reverse("crew:my_pin"), form).status_code == 302
    bar.membership.refresh_from_db()
    assert bar.membership.pin_hash.startswith("argon2$")
    bar.type("4072")
    assert ("Ana Prova", "PIN chosen", "Ana Prova") in bar.told
    everything = [str(list(model.objects.values())) for model in (Change, AccessAttempt)]
    assert not any(pin in text for pin in (PIN, "4072") for text in everything)
    assert "pin=***" in AccessAttempt.objects.get().post_data


def test_choosing_asks_for_the_password_and_for_the_same_pin_twice(bar):
    client, address = make.signed_in(bar.person), reverse("crew:my_pin")
    for wrong, said in (
        ({"pin": "1234"}, "up or down"),
        ({"pin_again": "4072"}, "two PINs differ"),
        ({"password": "something else"}, "not the password"),
    ):
        answer = client.post(address, {"pin": PIN, "pin_again": PIN, "password": PASSWORD} | wrong)
        assert answer.status_code == 422
        assert said in answer.content.decode()
        assert "something else" not in answer.content.decode()
    bar.membership.refresh_from_db()
    assert bar.membership.pin_hash == ""


def test_the_password_of_the_pin_page_cannot_be_guessed_for_long(bar):
    address = reverse("crew:pin_new", args=[bar.membership.pk])
    form = {"pin": PIN, "pin_again": PIN}
    codes = [bar.client.post(address, form | {"password": f"guess {n}"}).status_code for n in range(6)]
    assert codes == [422] * 5 + [429]
    assert bar.client.post(address, form | {"password": PASSWORD}).status_code == 429
    assert "guess" not in str(AccessAttempt.objects.values())
    assert PIN not in str(AccessAttempt.objects.values())


def test_wrong_pins_lock_that_person_on_that_station_and_nobody_else(bar):
    bar.choose()
    colleague = make.person(Role.HEAD, bar.cafe)
    pins.set_pin(colleague.memberships.get(), PIN, colleague)
    answers = [bar.type("9155") for _try in range(6)]
    assert [answer.status_code for answer in answers] == [422] * 5 + [429]
    assert "1 more try" in answers[4].content.decode()
    assert "Ana Prova is locked here" in answers[5].content.decode()
    assert bar.type(PIN).status_code == 429
    _elsewhere, key = make.tablet(make.station(bar.cafe))
    assert bar.type(PIN, make.at_tablet(key)).status_code == 302
    assert bar.type(PIN, membership=colleague.memberships.get()).status_code == 302


def test_a_lock_is_the_persons_wherever_the_guesses_come_from(bar):
    bar.choose()
    _tablet, key = make.tablet(bar.station)
    for number in range(6):
        client = make.at_tablet(key if number % 2 else bar.key)
        client.defaults["REMOTE_ADDR"] = f"10.0.0.{number}"
        client.defaults["HTTP_USER_AGENT"] = f"browser {number}"
        bar.type("9155", client)
    assert bar.type(PIN).status_code == 429


def test_a_right_pin_forgets_the_wrong_ones_but_not_the_wrong_passwords(bar):
    bar.choose()
    for _try in range(5):
        bar.type("9155")
        bar.client.post(reverse("crew:sign_in"), {"username": bar.person.username, "password": "no"})
    assert bar.type(PIN).status_code == 302
    bar.client.post(reverse("crew:sign_out"))
    assert bar.type("9155").status_code == 422
    guess = {"username": bar.person.username, "password": "no"}
    assert bar.client.post(reverse("crew:sign_in"), guess).status_code == 429


def test_nobody_locks_a_pin_from_where_passwords_are_asked(bar, client):
    bar.choose()
    name = locks.name_of(bar.station.pk, bar.membership.pk)
    for _try in range(8):
        client.post(reverse("crew:sign_in"), {"username": name, "password": "no"})
    assert bar.type(PIN).status_code == 302


def test_a_lock_outlasts_other_peoples_mistakes_and_ends_after_half_a_day(bar, client):
    bar.choose()
    bar.lock()

    def move(hours: float) -> None:
        at = timezone.now() - timedelta(hours=hours)
        for attempt in AccessAttempt.objects.filter(username__startswith="pin:"):
            attempt.attempt_time = at
            attempt.save()
            attempt.expiration.expires_at = at + locks.PIN_LOCKED_FOR
            attempt.expiration.save()

    move(hours=11)
    client.post(reverse("crew:sign_in"), {"username": "somebody", "password": "no"})
    assert bar.type(PIN).status_code == 429
    move(hours=12.1)
    assert bar.type(PIN).status_code == 302


def test_a_head_barista_unlocks(bar):
    bar.choose()
    bar.lock()
    head = make.signed_in(bar.head)
    assert "Unlock Ana Prova" in head.get(reverse("crew:tablets")).content.decode()
    head.post(reverse("crew:unlock", args=[bar.membership.pk]))
    assert "Unlock Ana Prova" not in head.get(reverse("crew:tablets")).content.decode()
    assert bar.type(PIN).status_code == 302
    station = str(bar.station)
    assert bar.told[-3:] == [
        ("Ana Prova", "PIN refused", station),
        ("Ana Prova", "PIN refused, and locked", station),
        (bar.head.name, f"PIN unlocked at {station}", "Ana Prova"),
    ]
    refused = Change.objects.filter(what__startswith="PIN refused")
    assert {change.through for change in refused} == {station}
    assert refused.count() == 6


def test_a_slip_of_the_finger_is_no_try(bar):
    bar.choose()
    for typed in ("", "40a1", "pass"):
        assert bar.type(typed).status_code == 422
    assert not AccessAttempt.objects.exists()


def test_without_a_pin_the_page_says_how_to_get_one_and_gives_one_for_the_password(bar):
    page = bar.client.get(reverse("crew:pin", args=[bar.membership.pk]))
    address = reverse("crew:pin_new", args=[bar.membership.pk])
    assert address in page.content.decode()
    answer = bar.client.post(address, {"pin": PIN, "pin_again": PIN, "password": PASSWORD, "next": "/c/"})
    assert answer["Location"] == "/c/"
    member = bar.client.get("/c/").wsgi_request.member
    assert (member.user, member.by_pin) == (bar.person, True)
