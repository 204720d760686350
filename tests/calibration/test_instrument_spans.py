"""When an instrument was known to read right, beside a slow answer that asks for every reading anew."""

import random
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from brewbar.crew.models import Role
from calibration import instrument_spans
from calibration.instrument_spans import Known, Span, told_apart
from calibration.models import CheckPlan, InstrumentCheck, Reading
from tests import factories as make

START = datetime(2026, 3, 2, 6, tzinfo=UTC)
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
WINDOW = 36 * HOUR


def known(day, said="pass", standard=False):
    return Known(START + day * DAY, standard, said == "pass", said == "unclear")


def slowly(at, checks, window):
    """The rule in words, for one moment: every failure looks for the passes on both of its sides."""
    for place, failed in enumerate(checks):
        if failed.passed or failed.unclear:
            continue
        passes = [other for other in checks if other.passed and (other.is_standard or not failed.is_standard)]
        before = [other.at for other in passes if checks.index(other) < place]
        after = [other.at for other in passes if checks.index(other) > place]
        if (not before or before[-1] <= at) and (not after or at < after[0]):
            return "failing"
    return "checked" if any(c.passed and c.at <= at < c.at + window for c in checks) else "unchecked"


def state_at(found, at):
    (state,) = {s for start, end, s in found if (start is None or start <= at) and (end is None or at < end)}
    return state


@pytest.mark.parametrize("seed", range(30))
def test_every_moment_is_what_the_rule_in_words_says(seed):
    rng = random.Random(seed)
    days = sorted(rng.sample(range(400), rng.randrange(1, 30)))
    checks = [
        known(day / 10, rng.choice(["pass", "pass", "fail", "unclear"]), rng.random() < 0.4) for day in days
    ]
    now = START + 41 * DAY
    found = told_apart(checks, WINDOW, now)
    for tenth in range(-5, 415):
        for shift in (timedelta(0), HOUR):
            at = START + tenth * DAY / 10 + shift
            assert at > now or state_at(found, at) == slowly(at, checks, WINDOW), at
    assert (found[0][0], found[-1][1]) == (None, None)
    for one, other in pairwise(found):
        assert one[1] == other[0]
        assert one[2] != other[2], "neighbours are one span"


def test_a_failure_marks_back_to_the_last_pass_and_on_to_the_next():
    found = told_apart(
        [known(0), known(1), known(2, "fail"), known(2.5, "unclear"), known(3)], WINDOW, START + 4 * DAY
    )
    assert found == [
        (None, START, "unchecked"),
        (START, START + DAY, "checked"),
        (START + DAY, START + 3 * DAY, "failing"),
        (START + 3 * DAY, None, "checked"),
    ]


def test_water_says_nothing_of_what_a_standard_found():
    """A gain error reads water right: by the rule, only a standard that passes ends what a standard opened."""
    checks = [known(0, standard=True), known(3), known(4, "fail", standard=True), known(5)]
    found = told_apart(checks, WINDOW, START + 6 * DAY)
    assert found == [(None, START, "unchecked"), (START, None, "failing")]
    ended = told_apart([*checks, known(6, standard=True)], WINDOW, START + 7 * DAY)
    assert ended[-1] == (START + 6 * DAY, None, "checked")


def test_a_standard_that_passes_ends_what_water_opened():
    found = told_apart([known(0), known(1, "fail"), known(2, standard=True)], WINDOW, START + 3 * DAY)
    assert [state for *_ends, state in found] == ["unchecked", "failing", "checked"]


def test_as_found_and_as_left_in_one_minute():
    checks = [known(0), known(1, "fail"), known(1)]
    found = told_apart(checks, WINDOW, START + 1.1 * DAY)
    assert found[1:] == [(START, START + DAY, "failing"), (START + DAY, None, "checked")]


def test_never_checked_and_failed_at_once():
    assert told_apart([], WINDOW, START) == [(None, None, "unchecked")]
    assert told_apart([known(0, "unclear")], WINDOW, START) == [(None, None, "unchecked")]
    assert told_apart([known(0, "fail")], WINDOW, START) == [(None, None, "failing")]


def test_a_window_that_is_over_and_one_that_is_still_open():
    assert told_apart([known(0)], WINDOW, START + DAY)[-1] == (START, None, "checked")
    assert told_apart([known(0)], WINDOW, START + WINDOW)[-1] == (START + WINDOW, None, "unchecked")


# --- in the database


@pytest.fixture
def bar(db):
    cafe = make.cafe()
    head = make.person(Role.HEAD, cafe)
    slot = make.live_slot(cafe, by=head)
    return cafe, head, slot


def checked(glass, head, day, said="pass", kind="zero"):
    return InstrumentCheck(
        refractometer=glass,
        kind=kind,
        read_tds=Decimal(0),
        passed=said == "pass",
        unclear=said == "unclear",
        checked_at=START + day * DAY,
        checked_by=head,
    )


@pytest.mark.parametrize("seed", range(4))
def test_the_database_leaves_out_the_same_readings(bar, seed):
    cafe, head, slot = bar
    rng = random.Random(seed)
    glasses = [make.refractometer(cafe) for _ in range(3)]
    InstrumentCheck.objects.bulk_create(
        checked(
            glass,
            head,
            day / 4,
            rng.choice(["pass", "pass", "fail", "unclear"]),
            rng.choice(["zero", "standard"]),
        )
        for glass in glasses[:2]
        for day in sorted(rng.sample(range(160), 50))
    )
    for _ in range(60):
        at = START + rng.randrange(-40, 1000) * HOUR
        make.reading(slot, head, refractometer=rng.choice(glasses), brewed_at=at)
    CheckPlan.objects.create(cafe=cafe, instrument_window_h=rng.choice([4, 20, 36]))
    found = instrument_spans.spans(cafe, cafe.check_plan, START + 41 * DAY)
    assert found == instrument_spans.spans_of_cafes([cafe], START + 41 * DAY)
    assert found == instrument_spans.spans(glasses, cafe.check_plan, START + 41 * DAY)
    readings = list(Reading.objects.all())
    states = instrument_spans.states_of(readings, found)
    for which, left_out in instrument_spans.LEFT_OUT.items():
        kept = set(instrument_spans.filtered(Reading.objects.all(), found, which))
        assert kept == {row for row, state in zip(readings, states, strict=True) if state not in left_out}
    for reading, state in zip(readings, states, strict=True):
        (covering,) = (
            s for s in found if s.refractometer_id == reading.refractometer_id and s.covers(reading.brewed_at)
        )
        assert covering.state == state == instrument_spans.state_of(reading, found)


def test_two_years_of_daily_checks_are_a_few_words_of_sql(bar):
    cafe, head, _slot = bar
    glasses = [make.refractometer(cafe) for _ in range(3)]
    InstrumentCheck.objects.bulk_create(
        checked(glass, head, day, "fail" if day == 300 else "pass") for glass in glasses for day in range(730)
    )
    with CaptureQueriesContext(
        connection,
    ) as asked:
        found = instrument_spans.spans(cafe, None, START + 730 * DAY)
    assert len(asked) == 2
    assert len(found) <= 5 * (1 + len(glasses))
    for which in ("passing", "checked"):
        sql = str(instrument_spans.filtered(Reading.objects.all(), found, which).query)
        assert sql.count('"brewed_at" >=') + sql.count('"brewed_at" <') <= 3 * 4


@pytest.mark.parametrize("hours", [2, 36])
def test_an_instrument_that_is_seldom_checked_is_no_trouble_for_the_database(bar, hours):
    """1,460 bad spans: one chain of them would pass SQLite's depth of 1,000."""
    cafe, head, slot = bar
    glasses = [make.refractometer(cafe) for _ in range(2)]
    InstrumentCheck.objects.bulk_create(
        checked(glass, head, day) for glass in glasses for day in range(0, 730, 1 if hours == 2 else 3)
    )
    for day in range(0, 700, 7):
        make.reading(slot, head, refractometer=glasses[0], brewed_at=START + day * DAY + HOUR)
        make.reading(slot, head, refractometer=glasses[1], brewed_at=START + day * DAY + 40 * HOUR)
    CheckPlan.objects.create(cafe=cafe, instrument_window_h=hours)
    found = instrument_spans.spans(cafe, cafe.check_plan, START + 730 * DAY)
    readings = list(Reading.objects.all())
    states = instrument_spans.states_of(readings, found)
    assert set(states) == {"checked", "unchecked"}
    kept = set(instrument_spans.filtered(Reading.objects.all(), found, "checked"))
    assert kept == {row for row, state in zip(readings, states, strict=True) if state == "checked"}


def test_what_was_known_then_and_only_what_is_asked_for(bar):
    cafe, head, slot = bar
    glass = make.refractometer(cafe)
    checked(glass, head, 0).save()
    checked(glass, head, 5, "fail").save()
    reading = make.reading(slot, head, refractometer=glass, brewed_at=START + HOUR)
    before, after = (instrument_spans.spans([glass], None, START + day * DAY) for day in (4, 6))
    assert instrument_spans.state_of(reading, before) == "checked"
    assert instrument_spans.state_of(reading, after) == "failing"
    recent = instrument_spans.spans([glass], None, START + 4 * DAY, since=START + 3 * DAY)
    assert recent == [Span(glass.pk, START + WINDOW, None, "unchecked")]
    assert instrument_spans.left_out_by(before, "any") is None
