"""A reading whose instrument was not known to read right says so wherever it is listed."""

import csv
import io
from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from calibration import instruments, judging
from tests import factories as make

pytestmark = pytest.mark.django_db
NOT_CHECKED, WRONG = "Instrument not checked", "Instrument did not read right"


@pytest.fixture
def slot():
    return make.live_slot(make.cafe())


@pytest.fixture
def head(slot):
    return make.person(Role.HEAD, slot.board.cafe)


@pytest.fixture
def glass(slot):
    return make.refractometer(slot.board.cafe, name="Glass one")


def checked(glass, head, hours_ago, read="0.00", kind="zero", expected="0"):
    at = timezone.now() - timedelta(hours=hours_ago)
    return instruments.check(glass, kind, Decimal(expected), Decimal(read), head, at)


def page(client, address):
    return " ".join(client.get(address).content.decode().split())


def lists_of(reading):
    recipe = reading.version.recipe_id
    return {
        "its own page": reverse("calibration:reading", args=[reading.uuid]),
        "my results": reverse("calibration:mine"),
        "today": reverse("calibration:today"),
        "strength": f"{reverse('calibration:strength')}?recipe={recipe}&instrument=any",
        "every brew as CSV": f"{reverse('calibration:scatter_csv')}?recipe={recipe}&instrument=any",
        "strength as CSV": f"{reverse('calibration:strength_csv')}?recipe={recipe}&instrument=any",
    }


@pytest.mark.parametrize(
    ("state", "word"), [("never", NOT_CHECKED), ("stale", NOT_CHECKED), ("passed", None), ("failed", WRONG)]
)
def test_it_is_marked_on_every_list(slot, head, glass, state, word):
    if state != "never":
        checked(glass, head, 100 if state == "stale" else 10)
    reading = make.reading(slot, head, refractometer=glass, brewed_at=timezone.now() - timedelta(seconds=9))
    if state == "failed":
        checked(glass, head, 0, "0.10")
    client = make.signed_in(head)
    for name, address in lists_of(reading).items():
        html = page(client, address)
        assert [other for other in (NOT_CHECKED, WRONG) if other in html] == ([word] if word else []), name


@pytest.mark.parametrize(("kind", "right"), [("zero", "0"), ("standard", "1.50")])
def test_a_failure_marks_back_to_the_last_pass_of_its_kind(slot, head, glass, kind, right):
    checked(glass, head, 12, right, kind, right)
    checked(glass, head, 11)
    for hours in (11.5, 2):
        make.reading(slot, head, refractometer=glass, brewed_at=timezone.now() - timedelta(hours=hours))
    reading = make.reading(
        slot, make.person(cafe=slot.board.cafe), refractometer=make.refractometer(slot.board.cafe)
    )
    checked(glass, head, 1, "1.70", kind, right)
    client = make.signed_in(head)
    first = timezone.localdate() - timedelta(days=3)
    answer = client.get(
        f"{lists_of(reading)['every brew as CSV']}&first={first}&last={first + timedelta(days=3)}"
    )
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    both = kind == "standard"
    rows.sort(key=lambda row: row["brewed at"])
    assert [row["marks"] for row in rows] == [WRONG if both else "", WRONG, NOT_CHECKED]
    html = page(client, reverse("calibration:instrument_checks", args=[glass.pk]))
    assert ("2 readings since its last pass" if both else "1 reading since its last pass") in html
    assert html.count('href="/readings/') == (2 if both else 1)
    assert ("2 readings marked" if both else "1 reading marked") in html
    barista = page(make.signed_in(reading.barista), reverse("calibration:instrument_checks", args=[glass.pk]))
    assert "since its last pass" in barista
    assert head.name not in barista.split("Checks over time")[0], (
        "whose readings they are is no barista's business"
    )


def test_a_mark_says_why():
    for state in ("failing", "unchecked"):
        (mark,) = judging.instrument_marks(state)
        assert mark.word
        assert mark.says
    assert judging.instrument_marks("checked") == []
