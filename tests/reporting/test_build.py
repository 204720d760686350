"""A whole report: where there is nothing, little or too much of it; the same again; and nobody else's."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import translation

from brewbar import units
from calibration.models import CheckPlan, Reading
from calibration.reporting.build import asked_for, build, span_before
from calibration.reporting.result import Sure
from tests import factories as make
from tests.reporting import bar


@pytest.fixture
def slot(db):
    return bar.slot()


@pytest.fixture
def company(slot):
    return slot.board.cafe.company


def report_of(slot, **fields):
    return build(bar.asked(slot.board.cafe, **fields), bar.NOW)


def section(report, key):
    return next(one for one in report.sections if one.key == key)


# --- what is asked for


@pytest.mark.parametrize(
    ("first", "last", "before"),
    [
        (date(2026, 9, 1), date(2026, 9, 30), (date(2026, 8, 1), date(2026, 8, 31))),
        (date(2026, 3, 1), date(2026, 3, 31), (date(2026, 2, 1), date(2026, 2, 28))),
        (date(2026, 1, 1), date(2026, 3, 31), (date(2025, 10, 1), date(2025, 12, 31))),
        (date(2026, 9, 7), date(2026, 9, 13), (date(2026, 8, 31), date(2026, 9, 6))),
        (date(2026, 9, 7), date(2026, 9, 7), (date(2026, 9, 6), date(2026, 9, 6))),
    ],
)
def test_a_span_is_compared_with_as_long_a_one_before(first, last, before):
    assert span_before(first, last) == before


def test_a_span_that_ends_before_it_begins_is_refused(company):
    with pytest.raises(ValueError, match="before the first"):
        asked_for(company, None, bar.LAST, bar.FIRST)


def test_some_cafes_are_no_whole_company(company, slot):
    make.cafe(company, name="Zest")
    assert asked_for(company, None, bar.FIRST, bar.LAST).is_whole_company
    assert not asked_for(company, [slot.board.cafe], bar.FIRST, bar.LAST).is_whole_company


# --- nothing, little


def test_without_readings_no_sentence_is_said(slot):
    report = report_of(slot)
    assert report.sentences == ()
    assert report.cut.readings == report.cut.counted == 0
    assert report.cut.last_entered is None
    assert report.next
    assert not section(report, "shares").says


def test_one_reading_says_that_it_is_too_little(slot):
    bar.brew(slot, make.person(cafe=slot.board.cafe), bar.FIRST)
    report = report_of(slot)
    sentences = {one.key: one for one in report.sentences}
    assert sentences["consistent"].sure is Sure.CANNOT_SAY
    assert "1 check brew by 1 person on 1 day" in sentences["consistent"].how_sure
    assert "changed" not in sentences
    assert report.cut.counted == 1


def test_one_barista_and_one_day(slot):
    (ana,) = bar.crew(slot, 1)
    bar.month(slot, [ana], days=12)
    report = report_of(slot)
    assert "people" not in [part for part, *_ in section(report, "spread").table.numbers]
    assert section(report, "people").table is None
    assert report_of(slot, first=bar.FIRST, last=bar.FIRST).sentences[0].sure is Sure.CANNOT_SAY


def test_all_voided_is_as_nothing(slot):
    people = bar.crew(slot, 2)
    bar.month(slot, people, days=3)
    for row in Reading.objects.all():
        bar.void(row, people[0])
    report = report_of(slot)
    assert report.sentences == ()
    assert (report.cut.readings, report.cut.voided, report.cut.counted) == (6, 6, 0)


def test_without_targets_nothing_is_inside_or_outside(slot):
    version = make.version(
        slot.version.recipe, tds_target=None, ey_target=None, brew_time_s=None, published=True
    )
    other = bar.slot(slot.board.cafe, version=version)
    bar.month(other, bar.crew(slot, 2), days=10)
    report = report_of(slot)
    assert section(report, "shares").table is None
    assert "sets a target" in section(report, "shares").notes[0]
    assert "consistent" not in {one.key for one in report.sentences}
    assert section(report, "spread").table is not None


def test_a_span_that_still_runs_says_so(slot):
    running = build(bar.asked(slot.board.cafe), datetime(2026, 9, 20, 12, tzinfo=UTC))
    assert "not over yet" in running.notes[0]
    assert report_of(slot).notes == ()


# --- the same again


@pytest.fixture
def brewed(slot):
    people = bar.crew(slot, 5)
    bar.month(slot, people, days=8)
    bar.month(slot, people, days=8, seed=2, first=bar.FIRST - timedelta(days=20))
    CheckPlan.objects.create(cafe=slot.board.cafe, recipe=slot.version.recipe)
    return slot


def test_the_same_numbers_at_any_hour_and_in_any_style(brewed):
    first = report_of(brewed)
    later = build(bar.asked(brewed.board.cafe), bar.NOW + timedelta(days=3, hours=7))
    with translation.override("de"), units.written_as(units.Style(decimal_mark=",", date_order="mdy")):
        elsewhere = report_of(brewed)
    assert first.cut.digest == later.cut.digest == elsewhere.cut.digest
    assert first.tables == later.tables
    assert len(first.cut.digest) == 64


def test_a_void_changes_the_digest(brewed):
    before = report_of(brewed)
    bar.void(Reading.objects.filter(business_day=bar.FIRST).first(), make.person("head", brewed.board.cafe))
    after = report_of(brewed)
    assert before.cut.digest != after.cut.digest
    assert (after.cut.voided, after.cut.counted) == (1, before.cut.counted - 1)


def test_another_companys_rows_change_nothing(brewed):
    before = report_of(brewed)
    stranger = bar.slot()
    bar.month(stranger, bar.crew(stranger, 5), days=4, level=1.2)
    CheckPlan.objects.create(cafe=stranger.board.cafe, recipe=stranger.version.recipe)
    assert report_of(brewed).cut == before.cut


def test_no_more_queries_for_more_readings_recipes_or_cafes(brewed):
    with CaptureQueriesContext(connection) as few:
        report_of(brewed)
    cafe = brewed.board.cafe
    for at in (cafe, make.cafe(cafe.company)):
        more = bar.slot(at)
        bar.month(more, bar.crew(more, 5), days=4, seed=3)
        CheckPlan.objects.get_or_create(cafe=at, defaults={"recipe": more.version.recipe})
    with CaptureQueriesContext(connection) as many:
        report_of(brewed)
    # cafés beside one another, which one café alone has not: the readings' uncertainty
    assert len(many) <= len(few) + 1
    assert len(many) < 40


def test_every_number_of_a_figure_stands_in_a_table(brewed):
    for part in report_of(brewed).sections:
        if part.figure is None:
            continue
        assert part.table is not None, part.key
        rows = len(getattr(part.figure, "bars", getattr(part.figure, "points", ())))
        assert rows <= len(part.table.numbers)
