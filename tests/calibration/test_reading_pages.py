"""A saved reading: its verdicts, its marks, who sees it, and how it is put right or voided."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Naming, Role
from calibration import conventions, judging, recording
from calibration.models import Reading
from recipes.brewing.bands import PUBLISHED_BANDS
from tests import factories as make

NOW = timezone.now()
STANDARD = next(band for band in PUBLISHED_BANDS if band.key == "scaa-2015")


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(), at=NOW - timedelta(days=5))


@pytest.fixture
def barista(slot):
    return make.person(cafe=slot.board.cafe, name="Ada Example")


def record(slot, barista, drops=("1.40", "1.40"), **fields):
    entry = make.entry(slot, barista, drops, **fields)
    sure = {doubt.key for doubt in recording.ask(entry, NOW).doubts}
    entry = make.entry(slot, barista, drops, **fields, sure=frozenset(sure), no_more_drops=True)
    return recording.record(entry, barista, timezone.now()).reading


def page_of(user, reading):
    return make.signed_in(user).get(reverse("calibration:reading", args=[reading.uuid]))


def test_the_verdict_is_said_with_its_numbers(slot, barista):
    text = page_of(barista, record(slot, barista)).content.decode()
    for words in ("1.40 %", "20.5", "0.8", "2:45", "Inside", "Ada Example"):
        assert words in text


@pytest.mark.parametrize(
    ("drops", "state"),
    [
        (("1.40", "1.40"), "inside"),
        (("1.49", "1.49"), "close"),
        (("1.60", "1.60"), "high"),
        (("1.20", "1.20"), "low"),
    ],
)
def test_strength_against_target_by_80_and_20_percent(slot, barista, drops, state):
    # u is about 0.02 % TDS, so 0.09 from a target of ±0.10 is half a u inside: 70 % (JCGM 106:2012, 7.4).
    (tds, _ey, _time) = judging.against_recipe(record(slot, barista, drops))
    assert tds.state == state
    assert tds.says


def test_a_tolerance_finer_than_the_instrument_is_never_called_inside(slot, barista):
    fine = make.version(slot.version.recipe, published=True, tds_tolerance=Decimal("0.03"))
    slot.withdrawn_at, slot.withdrawn_by = timezone.now(), slot.published_by
    slot.save()
    live = make.live_slot(slot.board.cafe, fine, slot.station)
    (tds, _ey, _time) = judging.against_recipe(record(live, barista))
    assert tds.state == "close"
    assert "no wider than the uncertainty" in tds.says


def test_without_a_target_nothing_is_judged(slot, barista):
    free = make.version(
        slot.version.recipe, published=True, tds_target=None, ey_target=None, brew_time_s=None
    )
    live = make.live_slot(slot.board.cafe, free, make.station(slot.board.cafe))
    assert {verdict.state for verdict in judging.against_recipe(record(live, barista))} == {"none"}


def test_rinse_water_keeps_the_yield_and_not_the_strength(slot, barista):
    reading = record(slot, barista, ("1.27", "1.27"), weight_g=Decimal(243), rinse_left_in=True)
    tds, ey, _time = judging.against_recipe(reading)
    assert tds.state == "none"
    assert ey.state == "inside"


def test_who_sees_a_reading(slot, barista):
    reading = record(slot, barista)
    cafe = slot.board.cafe
    assert page_of(barista, reading).status_code == 200
    assert page_of(make.person(Role.HEAD, cafe), reading).status_code == 200
    assert page_of(make.person(cafe=cafe), reading).status_code == 404
    assert page_of(make.person(Role.HEAD, make.cafe(cafe.company)), reading).status_code == 404
    cafe.company.people_shown_to_owners = Naming.NAMES
    cafe.company.save()
    assert page_of(make.person(Role.OWNER, cafe), reading).status_code == 403


def test_the_last_ten_are_ones_own_with_this_recipe(slot, barista):
    for days in range(12):
        make.reading(slot, barista, brewed_at=NOW - timedelta(days=days / 10 + 0.1))
    make.reading(slot, make.person(cafe=slot.board.cafe), ("1.77", "1.77"))
    page = page_of(barista, record(slot, barista))
    assert len(page.context["last"]) == 10
    assert "1.77" not in page.content.decode()


def test_a_typo_is_put_right_within_ten_minutes(slot, barista):
    typo = record(slot, barista, brew_time_s=265)
    client = make.signed_in(barista)
    path = reverse("calibration:correct", args=[typo.uuid])
    form = client.get(path).context["form"]
    said = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    assert (said["minutes"], said["seconds"]) in (("4", "25"), (4, 25))
    answer = client.post(path, said | {"slot": slot.pk, "minutes": "2", "seconds": "45"}, follow=True)
    right = Reading.objects.get(corrects=typo)
    assert right.brew_time_s == 165
    assert "Correction" in answer.content.decode()
    old = page_of(barista, typo).content.decode()
    assert "4:25" in old
    assert str(right.uuid) in old


def test_after_ten_minutes_only_a_head_barista_corrects(slot, barista):
    reading = make.reading(slot, barista, entered_at=NOW - timedelta(minutes=11))
    path = reverse("calibration:correct", args=[reading.uuid])
    assert make.signed_in(barista).get(path).status_code == 403
    assert make.signed_in(make.person(Role.HEAD, slot.board.cafe)).get(path).status_code == 200


def test_voiding_wants_a_reason_and_stays_to_be_seen(slot, barista):
    reading = record(slot, barista)
    head = make.signed_in(make.person(Role.HEAD, slot.board.cafe, name="Hana Head"))
    path = reverse("calibration:void", args=[reading.uuid])
    assert head.post(path, {"reason": " "}).status_code == 422
    answer = head.post(path, {"reason": "The server was knocked over"}, follow=True)
    text = answer.content.decode()
    assert "Hana Head" in text
    assert "The server was knocked over" in text
    assert head.post(path, {"reason": "again"}).status_code == 409
    assert head.get(reverse("calibration:correct", args=[reading.uuid])).status_code == 409
    assert list(Reading.objects.standing()) == []


def test_only_a_head_barista_voids(slot, barista):
    reading = record(slot, barista)
    path = reverse("calibration:void", args=[reading.uuid])
    assert make.signed_in(barista).post(path, {"reason": "mine"}).status_code == 403
    stranger = make.person(Role.HEAD, make.cafe(slot.board.cafe.company))
    assert make.signed_in(stranger).post(path, {"reason": "theirs"}).status_code == 404
    reading.refresh_from_db()
    assert reading.voided_at is None


def test_a_published_band_is_named_by_its_source(slot, barista):
    # SCAA Standard, Golden Cup, 23 December 2015: 1.15 to 1.35 %, 18 to 22 %.
    reading = record(slot, barista)
    strength, extracted = judging.against_band(reading, STANDARD)
    assert (strength.of.low, strength.of.high) == pytest.approx((1.15, 1.35))
    assert (extracted.of.low, extracted.of.high, extracted.state) == (18, 22, "inside")
    assert "SCAA" not in page_of(barista, reading).content.decode(), "nobody chose it"
    conventions.choose(slot.board.cafe.company, STANDARD, make.person(Role.HEAD, slot.board.cafe))
    text = page_of(barista, reading).content.decode()
    assert STANDARD.body in text
    assert STANDARD.document in text
    assert "<b>stronger, yield inside</b>" in text


def test_the_page_costs_few_queries(slot, barista, django_assert_max_num_queries):
    for days in range(12):
        make.reading(slot, barista, brewed_at=NOW - timedelta(days=days / 10 + 0.1))
    reading = record(slot, barista)
    client = make.signed_in(barista)
    with django_assert_max_num_queries(23):
        client.get(reverse("calibration:reading", args=[reading.uuid]))
