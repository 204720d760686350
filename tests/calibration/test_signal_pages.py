"""Pages of signals: who sees which, what a form refuses, how many queries they take."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Naming, Role
from calibration import signal_life
from calibration.models import FollowUp, Signal
from tests import factories as make
from tests.calibration.signal_crews import crew

LIST = "/signals/"


@pytest.fixture
def cafe(db):
    return make.cafe()


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe)


@pytest.fixture
def barista(cafe):
    return make.person(cafe=cafe, name="Somebody Brewing")


@pytest.fixture
def signal(cafe, barista):
    return make.signal(cafe, barista)


def page(user, path=LIST):
    return make.signed_in(user).get(path).content.decode()


def address(signal, name="signal"):
    return reverse(f"calibration:{name}", args=[signal.pk])


def test_the_instrument_comes_first_then_the_bar_then_people(cafe, head, signal):
    recipe = make.recipe(cafe.company, name="House filter")
    make.signal(cafe, recipe=recipe)
    instrument = make.refractometer(cafe, name="The Prism")
    evidence = {"estimate": 0.1, "read": 3.1, "expected": 3.0, "kind": "standard"}
    make.signal(cafe, question="instrument", measure="standard", refractometer=instrument, evidence=evidence)
    shown = page(head)
    assert shown.index("The Prism") < shown.index("The whole bar") < shown.index("Somebody Brewing")


def test_a_barista_sees_their_own_and_nobody_elses(cafe, signal, barista):
    other = make.person(cafe=cafe, name="Another Brewer")
    theirs = make.signal(cafe, other)
    make.signal(cafe, recipe=make.recipe(cafe.company, name="House filter"))
    shown = page(barista)
    assert "You: about" in shown
    assert "Another Brewer" not in shown
    assert "whole bar" not in shown.replace("the whole bar, then people", "")
    assert make.signed_in(barista).get(address(theirs)).status_code == 404
    assert make.signed_in(other).get(address(signal, "signal_chart")).status_code == 404
    assert make.signed_in(barista).get(address(signal, "signal_try")).status_code == 403


@pytest.mark.parametrize("naming", Naming.values)
def test_an_owner_reads_counts_and_no_name_whatever_is_set(cafe, signal, head, naming):
    cafe.company.people_shown_to_owners = naming
    cafe.company.save()
    signal_life.take(
        signal, "explained", head, timezone.now(), cause="pour", says="Somebody Brewing pours high"
    )
    signal_life.take(signal, "closed", head, timezone.now())
    owner = make.person(Role.OWNER, company=cafe.company)
    shown = page(owner)
    assert "pour technique 1" in shown
    assert "Somebody" not in shown
    assert make.signed_in(owner).get(address(signal)).status_code == 403
    assert "Somebody" not in page(owner, "/record/")


def test_counts_by_month_and_how_fast(cafe, head, signal):
    signal_life.take(signal, "explained", head, timezone.now(), cause="chance")
    signal_life.take(signal, "closed", head, timezone.now())
    shown = page(head)
    assert "chance 1" in shown
    assert "chance alone raises about 1 a month here" in shown


def test_other_cafes_and_companies_find_nothing(signal, cafe):
    for elsewhere in (make.cafe(cafe.company), make.cafe()):
        stranger = make.person(Role.HEAD, elsewhere)
        assert make.signed_in(stranger).get(address(signal)).status_code == 404
        assert "Somebody" not in page(stranger)


def test_the_head_explains_and_closes_without_javascript(signal, head):
    client, where = make.signed_in(head), address(signal)
    said = {"step": "explained", "explained-cause": "pour", "explained-says": "Spout too high"}
    assert client.post(where, said | {"explained-restarts_baseline": "on"}).status_code == 302
    assert client.post(where, {"step": "closed"}).status_code == 302
    signal.refresh_from_db()
    assert signal.state == Signal.State.CLOSED
    note = signal.notes.get(what="explained")
    assert (note.says, note.restarts_baseline) == ("Spout too high", True)


def test_a_refused_explanation_keeps_what_was_typed(signal, head):
    answer = make.signed_in(head).post(
        address(signal), {"step": "explained", "explained-says": "Spout too high"}
    )
    assert answer.status_code == 422
    assert "Say what the cause was" in answer.content.decode()
    assert "Spout too high" in answer.content.decode()
    assert signal.notes.count() == 1


def test_a_reply_that_no_card_could_print_is_refused_kindly(signal, barista):
    answer = make.signed_in(barista).post(address(signal), {"step": "replied", "replied-says": "fine 🙂"})
    assert answer.status_code == 422
    assert "fine" in answer.content.decode()


@pytest.mark.parametrize("step", ["explained", "closed", "reopened", "looked", "ended", "nonsense", ""])
def test_a_barista_takes_no_step_of_a_head(signal, barista, step):
    answer = make.signed_in(barista).post(address(signal), {"step": step, f"{step}-cause": "pour"})
    assert answer.status_code == 409
    signal.refresh_from_db()
    assert signal.state == Signal.State.OPEN


def test_the_reply_is_read_by_the_head(signal, barista, head):
    make.signed_in(barista).post(address(signal), {"step": "replied", "replied-says": "My kettle was new."})
    assert "My kettle was new." in page(head, address(signal))


def test_today_and_my_results_say_so_in_one_line(signal, barista, head, cafe):
    assert page(head, "/today/").count("Somebody Brewing: about") == 1
    assert page(barista, "/my-results/").count("You: about") == 1
    assert "You: about" not in page(make.person(cafe=cafe), "/my-results/")


def test_a_head_sees_of_themselves_on_their_own_results_alone(cafe, head, signal):
    assert "Somebody Brewing" not in page(head, "/my-results/")


# --- one with its chart, and what to try


@pytest.fixture
def found(db):
    made = crew(shift=lambda person, day: 0.15 if person == 0 and day >= 28 else 0.0)
    made.catch_up()
    # Only now, so that nothing but the strength is signalled; longer brews are a second sign.
    made.cafe.check_plan.smallest_time_s = 10
    made.cafe.check_plan.save()
    return made


def test_the_page_shows_chart_numbers_and_readings(found):
    signal = found.signals()[0]
    client = make.signed_in(found.head)
    shown = client.get(address(signal)).content.decode()
    assert "data-figure" in shown
    assert "(signalled)" in shown
    assert str(found.of(found.people[0], signal.day).uuid) in shown
    figure = client.get(address(signal, "signal_chart")).json()
    names = [trace["name"] for trace in figure["data"]]
    assert {"limits of the average", "moving average", "signalled"} <= set(names)


def test_a_baristas_chart_has_nobody_else_in_it(found):
    signal = found.signals()[0]
    client = make.signed_in(signal.person)
    shown = (
        client.get(address(signal)).content.decode()
        + client.get(address(signal, "signal_chart")).content.decode()
    )
    assert "data-figure" in shown
    assert not any(person.name in shown for person in found.people[1:])


def test_what_to_try_is_advised_and_started_and_ended(found):
    signal = found.signals()[0]
    client, where = make.signed_in(found.head), address(signal, "signal_try")
    shown = client.get(where).content.decode()
    assert "Try first:" in shown
    fragment = client.get(where, headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in fragment
    key = shown.split('name="cause" value="')[1].split('"')[0]
    assert client.post(where, {"cause": key}).status_code == 302
    assert client.post(where, {"cause": key}).status_code == 409, "one change at a time"
    follow_up = FollowUp.objects.get(signal=signal)
    assert follow_up.smallest == pytest.approx(0.05)
    assert follow_up.change in client.get(address(signal)).content.decode()
    assert "0 fresh pairs" in client.get(address(signal)).content.decode()
    assert client.post(address(signal), {"step": "ended", "ended-says": "shift over"}).status_code == 302
    follow_up.refresh_from_db()
    assert (follow_up.outcome, follow_up.note, follow_up.ended_by) == ("stopped", "shift over", found.head)


@pytest.mark.parametrize("cause", ["", "nonsense", "chance", "instrument"])
def test_what_is_not_advised_or_no_change_is_not_tried(found, cause):
    answer = make.signed_in(found.head).post(address(found.signals()[0], "signal_try"), {"cause": cause})
    assert answer.status_code == 409
    assert not FollowUp.objects.exists()


def test_queries_stay_as_they_are_however_many_there_are(found, django_assert_max_num_queries):
    client = make.signed_in(found.head)
    signal = found.signals()[0]
    for _number in range(12):
        made = make.signal(found.cafe, make.person(cafe=found.cafe))
        signal_life.take(made, "looked", found.head, timezone.now())
    with django_assert_max_num_queries(13):
        client.get(LIST)
    with django_assert_max_num_queries(24):
        client.get(address(signal))
    with django_assert_max_num_queries(20):
        client.get("/today/")
