"""From 'Start the check' to the reading, by pages: timer, what is kept, who may do what, and what goes wrong."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from calibration import duty, runs
from calibration.models import CheckPlan, CheckRun, OnDuty, Reading
from tests import factories as make


@pytest.fixture
def slot(db):
    slot = make.live_slot(make.cafe(), at=timezone.now() - timedelta(days=5))
    make.refractometer(slot.board.cafe)
    make.server(slot.board.cafe, tare_g="312.4")
    return slot


@pytest.fixture
def cafe(slot):
    return slot.board.cafe


@pytest.fixture
def plan(slot, cafe):
    return CheckPlan.objects.create(cafe=cafe, recipe=slot.card.recipe, twice_share=0)


@pytest.fixture
def ana(cafe):
    return make.person(cafe=cafe, name="Ana")


@pytest.fixture
def client(ana, plan):
    return make.signed_in(ana)


def start(client, slot, what="check", uuid=None):
    sent = {"uuid": uuid or uuid4(), "slot": slot.pk, "what": what}
    return client.post(reverse("calibration:check_start"), sent)


def tap(client, run, do, **more):
    return client.post(reverse("calibration:check_timer", args=[run.uuid]), {"do": do, **more})


def brewed(client, slot, what="check", seconds=168):
    """A run that was poured and timed."""
    start(client, slot, what)
    run = CheckRun.objects.order_by("-pk").first()
    CheckRun.objects.filter(pk=run.pk).update(
        poured_at=run.opened_at, brew_time_s=seconds, opened_at=run.opened_at
    )
    run.refresh_from_db()
    return run


def path_of(run):
    return reverse("calibration:check_enter", args=[run.uuid])


def typed(client, run, **change):
    form = client.get(path_of(run)).context["form"]
    said = {name: form[name].value() for name in form.fields if form[name].value() not in (None, False)}
    said.setdefault("refractometer", run.cafe.refractometers.get().pk)
    return said | {"slot": run.slot_id, "weight_g": "532,4", "drop_1": "1,40", "drop_2": "1.41"} | change


def test_time_and_masses_come_by_themselves_and_the_run_becomes_the_reading(client, slot, ana):
    run = brewed(client, slot)
    form = client.get(path_of(run)).context["form"]
    assert (form["minutes"].value(), form["seconds"].value()) == ("2", "48")
    assert form["dose_g"].value() == "15"
    answer = client.post(path_of(run), typed(client, run))
    reading = Reading.objects.get()
    run.refresh_from_db()
    assert answer["Location"] == reverse("calibration:reading", args=[run.uuid])
    assert (run.reading, run.closed_at is not None) == (reading, True)
    assert (reading.uuid, reading.brew_time_s, reading.kind, reading.attempt) == (
        run.uuid,
        168,
        "check",
        "first",
    )
    assert reading.brewed_at == run.poured_at
    page = client.get(answer["Location"]).content.decode()
    assert page.count('class="reading-feedback"') == 1


def test_the_timer_can_be_put_right_in_the_form(client, slot):
    run = brewed(client, slot)
    client.post(path_of(run), typed(client, run, minutes="2", seconds="40"))
    assert Reading.objects.get().brew_time_s == 160


def test_sending_it_twice_saves_it_once(client, slot):
    run = brewed(client, slot)
    said = typed(client, run)
    client.post(path_of(run), said)
    again = client.post(path_of(run), said)
    assert (again.status_code, Reading.objects.count()) == (302, 1)


# --- the start


def test_a_double_tap_and_two_tabs_open_one_run(client, slot):
    uuid = uuid4()
    first, second = start(client, slot, uuid=uuid), start(client, slot, uuid=uuid)
    other_tab = start(client, slot)
    assert first["Location"] == second["Location"] == other_tab["Location"]
    assert CheckRun.objects.count() == 1


def test_saying_otherwise_before_the_first_water_is_no_brew_given_up(client, slot, cafe):
    uuid = uuid4()
    start(client, slot, "check", uuid)
    start(client, slot, "practice", uuid)
    assert [run.kind for run in CheckRun.objects.open()] == ["practice"]
    day = cafe.business_day(timezone.now())
    told = duty.tally(cafe, day, day, timezone.now())
    assert (told.dropped, told.left) == (0, 0)


def test_a_card_that_left_the_board_starts_nothing(client, slot):
    slot.withdrawn_at, slot.withdrawn_by, slot.withdrawn_why = timezone.now(), slot.planned_by, "out"
    slot.save()
    answer = start(client, slot)
    assert (answer["Location"], CheckRun.objects.count()) == ("/check/", 0)
    assert client.get("/check/start/", {"slot": slot.pk})["Location"] == "/check/"


def test_a_run_whose_card_left_the_board_is_finished_as_it_was(client, slot):
    run = brewed(client, slot)
    slot.withdrawn_at, slot.withdrawn_by, slot.withdrawn_why = timezone.now(), slot.planned_by, "out"
    slot.save()
    assert (
        "has left the board" in client.get(reverse("calibration:check_run", args=[run.uuid])).content.decode()
    )
    client.post(path_of(run), typed(client, run))
    assert Reading.objects.get().slot == slot


# --- the timer


def test_a_tap_counts_from_when_it_was_tapped(client, slot):
    start(client, slot)
    run = CheckRun.objects.get()
    CheckRun.objects.update(opened_at=timezone.now() - timedelta(minutes=10))
    tap(client, run, "start", ago_ms=200_000)
    tap(client, run, "start")
    tap(client, run, "finish", ago_ms=30_000)
    tap(client, run, "finish")
    run.refresh_from_db()
    assert abs(run.brew_time_s - 170) <= 1


def test_the_last_tap_can_be_undone(client, slot):
    run = brewed(client, slot)
    runs.keep(run, {"minutes": "2", "seconds": "48", "drop_1": "1.40"})
    tap(client, run, "back")
    run.refresh_from_db()
    assert (run.brew_time_s, run.poured_at is None, run.typed) == (None, False, {"drop_1": "1.40"})
    tap(client, run, "back")
    run.refresh_from_db()
    assert run.poured_at is None


@pytest.mark.parametrize("ago", ["-5", "x", "1e3", "99999999999999"])
def test_a_tap_that_cannot_be_read_changes_nothing(client, slot, ago):
    start(client, slot)
    run = CheckRun.objects.get()
    assert tap(client, run, "start", ago_ms=ago).status_code == 302
    run.refresh_from_db()
    assert run.poured_at is None


def test_a_time_by_another_clock(client, slot):
    start(client, slot)
    run = CheckRun.objects.get()
    refused = tap(client, run, "typed", brew_time="0:05")
    assert refused.status_code == 422
    assert "0:10 and 60:00" in refused.content.decode()
    tap(client, run, "typed", brew_time="2:51")
    run.refresh_from_db()
    assert run.brew_time_s == 171
    client.post(path_of(run), typed(client, run))
    assert Reading.objects.get().brew_time_s == 171


def test_finishing_at_once_is_no_brew_time(client, slot):
    start(client, slot)
    run = CheckRun.objects.get()
    tap(client, run, "start")
    page = client.post(reverse("calibration:check_timer", args=[run.uuid]), {"do": "finish"}, follow=True)
    assert "0:10 and 60:00" in page.content.decode()
    scripted = client.post(
        reverse("calibration:check_timer", args=[run.uuid]), {"do": "finish"}, headers={"X-Tap": "yes"}
    )
    assert scripted.status_code == 409


# --- what is kept


def test_what_is_typed_waits_on_the_server(client, slot, ana):
    run = brewed(client, slot, "served")
    said = {"weight_g": "532,4", "drop_1": "1,40", "kind": "practice", "uuid": str(uuid4())}
    assert client.post(reverse("calibration:check_keep", args=[run.uuid]), said).status_code == 204
    form = make.signed_in(ana).get(path_of(run)).context["form"]
    assert (form["weight_g"].value(), form["drop_1"].value()) == ("532,4", "1,40")
    assert form["uuid"].value() == str(run.uuid)
    assert (form["kind"].value(), form["was_served"].value()) == ("check", False)
    client.post(path_of(run), {"later": "yes", "drop_2": "1.41", "was_served": "on"})
    form = client.get(path_of(run)).context["form"]
    assert (form["drop_2"].value(), form["was_served"].value()) == ("1.41", True)


def test_what_no_database_holds_and_what_no_page_sends_is_not_kept(client, slot):
    run = brewed(client, slot)
    said = {"taste": "a\0b" + "x" * 10_000} | {f"made_up_{n}": "1" for n in range(500)}
    assert client.post(reverse("calibration:check_keep", args=[run.uuid]), said).status_code == 204
    run.refresh_from_db()
    assert run.typed["taste"].startswith("abx")
    assert len(run.typed["taste"]) == runs.LONGEST_KEPT
    assert len(run.typed) <= runs.MOST_KEPT


def test_a_refused_form_is_kept_too(client, slot):
    run = brewed(client, slot)
    assert client.post(path_of(run), typed(client, run, drop_1="1.4.0")).status_code == 422
    run.refresh_from_db()
    assert run.typed["drop_1"] == "1.4.0"


def test_what_was_declared_cannot_be_typed_otherwise(client, slot):
    run = brewed(client, slot, "practice")
    assert client.post(path_of(run), typed(client, run, kind="check")).status_code == 422
    client.post(path_of(run), typed(client, run))
    reading = Reading.objects.get()
    assert reading.kind == "practice"
    assert not Reading.objects.counted().exists()
    assert "counts nowhere" in client.get(reverse("calibration:reading", args=[run.uuid])).content.decode()


def test_a_barista_does_not_call_it_practice_afterwards_and_a_head_may(client, slot, cafe):
    path = reverse("calibration:code", args=[slot.card.code])
    kinds = [value for value, _word in client.get(path).context["form"].fields["kind"].choices]
    assert kinds == ["check", "served"]
    head = make.signed_in(make.person(Role.HEAD, cafe))
    kinds = [value for value, _word in head.get(path).context["form"].fields["kind"].choices]
    assert "practice" in kinds


def test_a_guests_cup_may_be_the_check(client, slot):
    run = brewed(client, slot, "served")
    client.post(path_of(run), typed(client, run))
    reading = Reading.objects.counted().get()
    assert (reading.kind, reading.was_served) == ("check", True)
    assert "Went to a guest" in client.get(reverse("calibration:reading", args=[run.uuid])).content.decode()


# --- which brew it is


def test_the_first_brew_counts_whichever_is_entered_first(client, slot):
    first = brewed(client, slot)
    second = brewed(client, slot)
    client.post(path_of(second), typed(client, second))
    client.post(path_of(first), typed(client, first))
    attempts = {reading.uuid: reading.attempt for reading in Reading.objects.all()}
    assert attempts == {first.uuid: "first", second.uuid: "rebrew"}


def test_a_brew_entered_from_its_card_before_was_the_first(client, slot, ana):
    make.reading(slot, ana, brewed_at=timezone.now() - timedelta(minutes=5))
    run = brewed(client, slot)
    assert run.attempt == "rebrew"
    client.post(path_of(run), typed(client, run, beverage_source="alone", weight_g="220"))
    assert Reading.objects.get(uuid=run.uuid).attempt == "rebrew"


def test_a_card_that_was_opened_and_not_brewed_from_is_no_brew(client, slot, ana):
    start(client, slot)
    elsewhere = make.live_slot(slot.board.cafe, slot.version)
    run = brewed(client, elsewhere)
    client.post(path_of(run), typed(client, run))
    assert Reading.objects.get().attempt == "first"


def test_the_bars_board_shows_what_is_under_way(client, slot, ana):
    _tablet, key = make.tablet(slot.station)
    station, path = make.at_tablet(key), reverse("calibration:check_under_way")
    assert station.get(path).content.strip() == b""
    run = brewed(client, slot)
    assert path in station.get("/board/").content.decode()
    assert str(run.uuid) in station.get(path).content.decode()
    owner = make.signed_in(make.person(Role.OWNER, slot.board.cafe))
    assert path not in owner.get("/board/").content.decode()


def test_a_drawn_repeat_counts_and_is_asked_for_at_once(client, slot, ana):
    OnDuty.objects.filter(user=ana).update(asked_twice=True)
    first = brewed(client, slot)
    saved = client.post(path_of(first), typed(client, first), follow=True).content.decode()
    assert "Brew it once more now" in saved
    second = brewed(client, slot)
    saved = client.post(path_of(second), typed(client, second), follow=True).content.decode()
    assert "Brew it once more now" not in saved
    third = brewed(client, slot)
    client.post(path_of(third), typed(client, third))
    assert list(Reading.objects.order_by("pk").values_list("attempt", flat=True)) == [
        "first",
        "repeat",
        "rebrew",
    ]
    assert Reading.objects.counted().count() == 2


def test_the_card_points_to_a_check_under_way(client, slot):
    run = brewed(client, slot)
    page = client.get(reverse("calibration:code", args=[slot.card.code])).content.decode()
    assert path_of(run) in page


def test_more_drops_are_asked_for_where_the_cafe_takes_three(client, slot, plan):
    plan.drops = 3
    plan.save()
    run = brewed(client, slot)
    assert len(client.get(path_of(run)).context["form"].drops()) == 3
    asked = client.post(path_of(run), typed(client, run))
    assert "3 drops are read here" in asked.content.decode()
    client.post(path_of(run), typed(client, run, no_more_drops="no"))
    assert Reading.objects.get().drops.count() == 2


# --- somebody else's


def test_anybody_at_the_bar_stops_a_timer_and_only_its_brewer_enters(client, slot, cafe):
    start(client, slot)
    run = CheckRun.objects.get()
    CheckRun.objects.update(poured_at=timezone.now() - timedelta(seconds=170))
    _tablet, key = make.tablet(slot.station)
    station = make.at_tablet(key)
    assert "Ana" in station.get("/check/").content.decode()
    assert tap(station, run, "finish").status_code == 302
    run.refresh_from_db()
    assert abs(run.brew_time_s - 170) <= 1
    page = station.get(reverse("calibration:check_run", args=[run.uuid])).content.decode()
    assert "Enter it, Ana" in page
    assert station.get(path_of(run))["Location"].startswith(reverse("crew:names"))
    colleague = make.signed_in(make.person(cafe=cafe))
    assert colleague.get(path_of(run))["Location"] == reverse("calibration:check_run", args=[run.uuid])
    assert colleague.post(reverse("calibration:check_keep", args=[run.uuid])).status_code == 404
    elsewhere = make.signed_in(make.person())
    assert elsewhere.get(reverse("calibration:check_run", args=[run.uuid])).status_code == 404


def test_a_head_enters_for_the_one_who_brewed(client, slot, cafe, ana):
    run = brewed(client, slot)
    head = make.person(Role.HEAD, cafe)
    by_head = make.signed_in(head)
    by_head.post(path_of(run), typed(by_head, run))
    reading = Reading.objects.get()
    assert (reading.barista, reading.entered_by) == (ana, head)


# --- given up, left, too busy


def test_a_brew_is_given_up_for_a_reason_and_counted(client, slot, cafe):
    run = brewed(client, slot)
    path = reverse("calibration:check_drop", args=[run.uuid])
    assert client.post(path, {"why": ""}).status_code == 422
    client.post(path, {"why": "the server broke"})
    run.refresh_from_db()
    day = cafe.business_day(timezone.now())
    assert (run.dropped_why, duty.tally(cafe, day, day, timezone.now()).dropped) == ("the server broke", 1)
    assert (
        "the server broke" in client.get(reverse("calibration:check_run", args=[run.uuid])).content.decode()
    )
    assert tap(client, run, "back").status_code == 302
    run.refresh_from_db()
    assert run.brew_time_s == 168


def test_what_nobody_came_back_to_closes_itself_and_says_so(client, slot, cafe, ana):
    run = brewed(client, slot)
    said = typed(client, run)
    CheckRun.objects.update(
        business_day=cafe.business_day(timezone.now()) - timedelta(days=1),
        opened_at=timezone.now() - timedelta(hours=20),
    )
    page = client.get("/check/").content.decode()
    run.refresh_from_db()
    assert (run.closed_at is not None, run.reading) == (True, None)
    assert "Never entered" in page
    assert "Never entered" not in make.signed_in(make.person(cafe=cafe)).get("/check/").content.decode()
    assert "missed check" in client.get(reverse("calibration:check_run", args=[run.uuid])).content.decode()
    client.post(path_of(run), said)
    assert Reading.objects.count() == 1, "what somebody had typed is not lost"


def test_the_turn_of_the_day_closes_no_brew_that_is_going_on(slot, cafe, ana):
    now = timezone.now()
    run = make.run(slot, ana, opened_at=now - timedelta(minutes=10))
    CheckRun.objects.update(business_day=cafe.business_day(now) - timedelta(days=1))
    assert (runs.close_stale(cafe, now), CheckRun.objects.get(pk=run.pk).closed_at) == (0, None)


def test_too_busy_is_said_and_taken_back(client, cafe, ana):
    client.post(reverse("calibration:check_busy"), {"note": "a coach party"})
    assert "a coach party" in client.get("/check/").content.decode()
    client.post(reverse("calibration:check_busy"), {"undo": "yes"})
    assert OnDuty.objects.get(user=ana).too_busy_at is None
    client.post(reverse("calibration:check_busy"), {"note": "x" * 500})
    assert OnDuty.objects.get(user=ana).too_busy_at is None


def test_a_head_marks_on_and_off(client, cafe, ana):
    head = make.signed_in(make.person(Role.HEAD, cafe))
    bea = make.person(cafe=cafe, name="Bea")
    head.post(reverse("calibration:check_duty"), {"user": bea.pk})
    assert OnDuty.objects.get(user=bea).how == OnDuty.How.MARKED
    head.post(reverse("calibration:check_duty"), {"user": ana.pk, "off": "yes"})
    assert OnDuty.objects.get(user=ana).off_since is not None
    head.post(reverse("calibration:check_duty"), {"user": make.person().pk})
    assert OnDuty.objects.filter(cafe=cafe).count() == 3


# --- without


def test_without_a_check_recipe_the_page_says_so(slot, ana):
    assert "No check recipe is named" in make.signed_in(ana).get("/check/").content.decode()


def test_without_an_instrument_the_brew_waits(client, slot, cafe):
    cafe.refractometers.update(retired_at=timezone.now())
    run = brewed(client, slot)
    assert "waits until there is one" in client.get(path_of(run)).content.decode()


def test_the_page_does_not_query_by_person(client, slot, cafe, plan, django_assert_max_num_queries):
    head = make.signed_in(make.person(Role.HEAD, cafe))
    plan.twice_share = Decimal("0.2")
    plan.save()
    with django_assert_max_num_queries(40) as few:
        head.get("/check/")
    for _n in range(8):
        person = make.person(cafe=cafe)
        duty.come(cafe, person, timezone.now())
        make.reading(slot, person)
        make.run(slot, person)
    with django_assert_max_num_queries(len(few.captured_queries) + 1):
        head.get("/check/")
