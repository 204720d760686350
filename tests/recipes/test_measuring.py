"""Where a kettle's stream breaks: written down, taken back, on the record, and held against the plans."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from brewbar.crew.models import Change, Role
from brewbar.units import Style, written_as
from recipes import happenings, measuring
from recipes.catalogue import NotDone
from recipes.models import BreakupPoint
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def cafe():
    return make.cafe()


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe, name="Inés Faro")


@pytest.fixture
def kettle(cafe):
    return make.kettle(cafe, name="The Heron")


def add(kettle, by, flow="4", height_mm=140, broke=True, temperature="18", note=""):
    return measuring.add(
        kettle, Decimal(flow), Decimal(temperature), height_mm, broke, note, by, timezone.now()
    )


def test_three_points_make_a_fit_and_two_do_not(kettle, head):
    add(kettle, head, "2", 75)
    add(kettle, head, "4", 130)
    assert not measuring.known(kettle).fitted
    add(kettle, head, "6", 200, broke=False)
    seen = measuring.known(kettle)
    assert seen.fitted
    assert (seen.kettle.growth.broken, seen.kettle.growth.whole) == (2, 1)


def test_a_point_taken_back_counts_for_nothing_and_is_never_changed(kettle, head):
    point = add(kettle, head)
    measuring.take_back(point, head, timezone.now())
    assert measuring.known(kettle).points == ()
    assert measuring.counted(make.member(head)) == {}
    with pytest.raises(NotDone, match="taken back already"):
        measuring.take_back(point, head, timezone.now())
    for changed in ({"height_mm": 90}, {"taken_back_at": None}):
        with pytest.raises(IntegrityError), transaction.atomic():
            BreakupPoint.objects.update(**changed)


def test_it_stands_on_the_kettles_record_in_the_words_of_the_record(kettle, head):
    with written_as(Style(decimal_mark=",", temperature_unit="F")):
        point = add(kettle, head, "4.5", temperature="93", note="gloves on")
        measuring.take_back(point, head, timezone.now())
    changes = Change.objects.order_by("pk")
    assert [(change.what, change.subject, change.by) for change in changes] == [
        ("stream measured: 4.5 g/s, 93 °C: broke at 140 mm", "The Heron", head),
        ("measurement taken back: 4.5 g/s, 93 °C: broke at 140 mm", "The Heron", head),
    ]
    assert changes[0].cafe == kettle.cafe
    assert changes[0].after == {"note": "gloves on"}
    told = [moment.what for moment in happenings.history_of(make.member(head), kettle)]
    assert told == [change.what for change in changes.reverse()]


def test_nothing_is_kept_where_the_record_fails(kettle, head, monkeypatch):
    def fail(**kwargs):
        raise RuntimeError

    monkeypatch.setattr(measuring, "on_record", fail)
    with pytest.raises(RuntimeError):
        add(kettle, head)
    assert not BreakupPoint.objects.exists()


def test_a_retired_kettle_is_not_measured(kettle, head):
    kettle.retire()
    with pytest.raises(NotDone, match="The Heron is retired"):
        add(kettle, head)


@pytest.mark.parametrize(
    ("point", "said"),
    [
        ({}, None),
        ({"flow": "9.5"}, "9.5 g/s is outside of what this kettle is said to hold, 2 to 9 g/s."),
        ({"flow": "1.9"}, "is said to hold"),
        ({"flow": "1"}, "most spouts drip"),
        ({"temperature": "99"}, "Here water boils at 95.0 °C"),
        ({"temperature": "95.5"}, None),
        ({"height_mm": 201, "broke": False}, "Measuring ends at 200 mm"),
        ({"height_mm": 200, "broke": False}, None),
    ],
)
def test_what_is_unlikely_is_doubted_and_kept(head, point, said):
    # 1500 m: ISO 2533 and IAPWS-IF97 give 95.0 °C.
    cafe = make.cafe(altitude_m=1500)
    doubts = measuring.doubts(add(make.kettle(cafe), make.person(Role.HEAD, cafe), **point))
    assert any(said in doubt for doubt in doubts) if said else doubts == []


# --- plans


def asked(kettle, head):
    return [
        (one.version, one.stations, [finding.code for finding in one.findings])
        for one in measuring.asked_too_much(make.member(head), kettle)
    ]


def fast(head, kettle=None, **fields):
    """A version with one pour at 12 g/s, which the kettle cannot pour."""
    recipe = fields.pop("recipe", None) or make.recipe(head.memberships.get().company, by=head)
    return make.version(recipe, ((0, 45, 5), (40, 250, 12)), kettle=kettle, **fields)


def test_drafts_and_the_newest_published_versions_written_for_it_are_held_against_it(kettle, head):
    recipe = make.recipe(kettle.cafe.company, by=head, name="A")
    fast(head, kettle, recipe=recipe, published=True)
    newest = fast(head, kettle, recipe=recipe, published=True)
    draft = fast(head, kettle, recipe=recipe)
    fast(head)
    make.version(make.recipe(kettle.cafe.company, by=head), kettle=kettle)
    assert asked(kettle, head) == [(draft, (), ["flow-range"]), (newest, (), ["flow-range"])]


def test_so_is_what_stands_on_a_board_with_it_whichever_kettle_it_is_written_for(kettle, head):
    recipe = make.recipe(kettle.cafe.company, by=head)
    live = make.live_slot(kettle.cafe, fast(head, recipe=recipe), by=head, kettle=kettle)
    gone = make.live_slot(kettle.cafe, fast(head), by=head, kettle=kettle)
    gone.withdrawn_at, gone.withdrawn_by, gone.withdrawn_why = timezone.now(), head, "sold out"
    gone.save()
    fast(head, recipe=recipe, published=True)
    assert asked(kettle, head) == [(live.version, (str(live.station),), ["flow-range"])]


def test_what_is_retired_is_not_asked_for(kettle, head):
    version = fast(head, kettle, published=True)
    version.recipe.retire()
    assert asked(kettle, head) == []


def test_a_measured_stream_that_breaks_early_is_held_against_the_spout_heights(kettle, head):
    version = make.version(make.recipe(kettle.cafe.company, by=head), kettle=kettle)
    assert asked(kettle, head) == []
    for flow, height_mm in ((3, 28), (5, 40), (8, 62)):
        make.breakup_point(kettle, flow, height_mm, temperature_C=93, by=head)
    assert asked(kettle, head) == [(version, (), ["stream-breaks"] * 3)]


def test_counts_stop_at_the_cafe(kettle, head):
    make.breakup_point(kettle, 4, 140)
    make.breakup_point(kettle, 5, 140, taken_back_at=timezone.now() - timedelta(days=1), taken_back_by=head)
    other = make.kettle(make.cafe(kettle.cafe.company))
    make.breakup_point(other, 4, 140)
    assert measuring.counted(make.member(head)) == {kettle.pk: 1}
    owner = make.person(Role.OWNER, company=kettle.cafe.company)
    assert measuring.counted(make.member(owner)) == {kettle.pk: 1, other.pk: 1}
