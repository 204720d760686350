"""What is refused as impossible, what is asked about as improbable, and what passes."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from calibration import checking, recording
from calibration.models import Reading
from tests import factories as make

NOW = timezone.now()
SERVER, ALONE, ESTIMATED = Reading.Beverage.SERVER, Reading.Beverage.ALONE, Reading.Beverage.ESTIMATED


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(), at=NOW - timedelta(days=5))


def entry(slot, drops=("1.40", "1.40"), **fields):
    return make.entry(slot, make.person(cafe=slot.board.cafe), drops, **fields)


def test_an_ordinary_brew_passes_without_a_word(slot):
    one = entry(slot)
    assert checking.problems(one, NOW) == []
    assert not recording.ask(one, NOW)


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"drops": ("1.40",)}, "drop_2"),
        ({"drops": ("1.40", "31")}, "drop_2"),
        ({"drops": ("140", "140")}, "drop_1"),
        ({"drops": ("-1", "1.4")}, "drop_1"),
        ({"weight_g": None}, "weight_g"),
        ({"weight_g": Decimal(0)}, "weight_g"),
        ({"beverage_source": SERVER}, "server"),
        ({"beverage_source": ESTIMATED}, "weight_g"),
        ({"brew_time_s": 9}, "minutes"),
        ({"brew_time_s": 3601}, "minutes"),
        ({"brewed_at": NOW + timedelta(hours=1)}, "brewed_at"),
        ({"brewed_at": NOW - timedelta(days=30)}, "brewed_at"),
        ({"drops": ("20", "20")}, "drop_1"),
    ],
)
def test_what_cannot_be_is_told_beside_its_field(slot, fields, where):
    problems = checking.problems(entry(slot, **fields), NOW)
    assert where in [problem.field for problem in problems]
    one = entry(slot, **fields)
    with pytest.raises(recording.Impossible):
        recording.record(one, one.barista, NOW)
    assert not Reading.objects.exists()


def test_a_lost_decimal_point_is_shown_where_it_belongs(slot):
    (problem,) = checking.problems(entry(slot, ("140", "1.41")), NOW)
    assert problem.says.endswith("such as 1.40.")


def test_a_server_without_coffee_is_told_with_its_tare(slot):
    server = make.server(slot.board.cafe, name="Server A", tare_g="312.4")
    tare = Decimal("312.4")
    (problem,) = checking.problems(
        entry(slot, beverage_source=SERVER, server=server, tare_g=tare, weight_g=Decimal(300)), NOW
    )
    assert problem.field == "weight_g"
    assert "Server A" in problem.says
    assert "312.4" in problem.says


@pytest.mark.parametrize("piece", ["kettle", "grinder", "refractometer"])
def test_pieces_of_another_cafe_are_refused(slot, piece):
    there = make.cafe(slot.board.cafe.company)
    foreign = getattr(make, piece)(there)
    assert [p.field for p in checking.problems(entry(slot, **{piece: foreign}), NOW)] == [piece]


def test_a_batch_of_another_coffee_is_refused(slot):
    foreign = make.batch(make.coffee(slot.board.cafe.company))
    assert [p.field for p in checking.problems(entry(slot, roast_batch=foreign), NOW)] == ["roast_batch"]


@pytest.mark.parametrize(
    ("fields", "begins"),
    [
        ({"drops": ("2.10", "2.10"), "weight_g": Decimal(180)}, "tds:"),
        ({"drops": ("0.70", "0.70")}, "tds:"),
        ({"brew_time_s": 45}, "time:"),
        ({"brew_time_s": 300}, "time:"),
        ({"drops": ("1.90", "1.90")}, "ey:"),
        ({"weight_g": Decimal(150)}, "light:"),
        ({"brewed_at": NOW - timedelta(days=3)}, "late:"),
        ({"sample_temperature_C": Decimal(60)}, "sample:"),
        ({"dose_g": Decimal(20)}, "dose"),
    ],
)
def test_what_seldom_is_is_asked_once(slot, fields, begins):
    one = entry(slot, **fields)
    assert checking.problems(one, NOW) == []
    doubts = checking.doubts(one, NOW)
    assert [doubt for doubt in doubts if doubt.key.startswith(begins)]
    answered = entry(slot, **fields, sure=frozenset(doubt.key for doubt in doubts))
    assert checking.doubts(answered, NOW) == []
    # Another improbable value is another question.
    assert checking.doubts(entry(slot, **fields, sure=frozenset({"tds:9.99"})), NOW)


@pytest.mark.parametrize(("beverage", "asks"), [(220, False), (240, True), (260, True)])
def test_more_than_the_bed_lets_through_asks_about_rinse_water(slot, beverage, asks):
    # A bed of 15 g keeps about 2 g of liquid a gram, so 250 g of water give 220 g (common practice, no source).
    one = entry(slot, weight_g=Decimal(beverage))
    assert recording.ask(one, NOW).rinse_water is asks
    answered = entry(slot, weight_g=Decimal(beverage), rinse_left_in=True)
    assert recording.ask(answered, NOW).rinse_water is False


def test_bypass_and_ice_reach_the_server_and_do_not_look_like_rinse_water(slot):
    one = entry(slot, weight_g=Decimal(300), bypass_g=Decimal(50), ice_g=Decimal(30))
    assert recording.ask(one, NOW).rinse_water is False


def test_a_brew_from_before_its_batch_was_roasted_is_asked_about(slot):
    one = entry(slot, brewed_at=NOW - timedelta(days=1))
    one.roast_batch.roasted_on = one.brewed_at.astimezone(slot.board.cafe.zone).date()
    assert not recording.ask(one, NOW)
    one.roast_batch.roasted_on += timedelta(days=1)
    (doubt,) = recording.ask(one, NOW).doubts
    assert "and this batch was roasted on" in doubt.says


def test_of_what_was_written_down_no_further_drop_is_asked_for(slot):
    asked = recording.ask(entry(slot, ("1.30", "1.50"), written_down=True), NOW)
    assert asked.more_drops == (
        "The 2 drops differ by more than this instrument normally does (0.20 %, where 0.03 % is usual). "
        "Is one of them mistyped?"
    )
