"""Shares inside target against a count in Python; people in training, voids and re-brews apart."""

from __future__ import annotations

from datetime import timedelta

import pytest

from brewbar.crew import record
from brewbar.crew.models import Membership
from brewbar.crew.roles import set_in_training
from calibration.models import Reading
from calibration.reporting import cells, training
from calibration.reporting import shares as reported
from calibration.reporting.ground import gather
from calibration.reporting.shares import Shares
from tests import factories as make
from tests.reporting import bar


@pytest.fixture
def slot(db):
    return bar.slot()


@pytest.fixture
def crew(slot):
    people = bar.crew(slot, 4)
    bar.month(slot, people, days=8)
    bar.month(slot, people, days=4, seed=5, first=bar.FIRST - timedelta(days=12), level=1.5)
    return people


def shares_of(slot) -> Shares:
    return Shares(gather(bar.asked(slot.board.cafe), bar.NOW))


def test_counts_and_shares_are_those_of_brew_by_brew(slot, crew):
    shares = shares_of(slot)
    asked = shares.ground.asked
    for line in shares.apart:
        for counted, span in ((line.now, (asked.first, asked.last)), (line.before, asked.before)):
            naive = bar.verdicts(bar.counted(asked, line.key, *span), line.key)
            assert (counted.inside, counted.high, counted.low, counted.close) == tuple(naive.values())
            assert counted.share.share == naive["inside"] / sum(naive.values())
            assert counted.share.crew.low <= counted.share.share <= counted.share.crew.high


def test_before_is_the_span_before(slot, crew):
    line = shares_of(slot).together["tds"]
    assert line.before.high > line.now.high
    assert line.before.judged == 16


def test_a_recipe_in_a_cafe_has_a_line_of_its_own_in_order_of_name(slot, crew):
    other = bar.slot(slot.board.cafe)
    bar.brew(other, crew[0], bar.FIRST, 1.7)
    lines = [line for line in shares_of(slot).apart if line.key == "tds"]
    assert [line.recipe for line in lines] == sorted([slot.version.recipe.name, other.version.recipe.name])
    few = next(line.now for line in lines if line.recipe == other.version.recipe.name)
    assert few.is_few
    assert few.high == 1


def test_whoever_pours_is_said_of_five_and_not_of_four(slot, crew):
    assert shares_of(slot).together["tds"].now.share.anyone is None
    bar.month(slot, bar.crew(slot, 1), days=8, seed=9)
    share = shares_of(slot).together["tds"].now.share
    assert share.anyone.low <= share.crew.low
    assert any("whoever pours" in note for note in reported.section(shares_of(slot)).notes)


def test_with_voids_and_rebrews(slot, crew):
    head = make.person("head", slot.board.cafe)
    bar.void(Reading.objects.filter(business_day=bar.FIRST).first(), head)
    bar.brew(slot, crew[0], bar.FIRST, 1.9, attempt="rebrew")
    shares = shares_of(slot)
    aside = shares.ground.aside.of["tds"]
    assert aside.judged.sum() == 2
    now = shares.together["tds"].now
    with_them = (now.inside + int(aside.inside.sum())) / (now.judged + 2)
    said = next(note for note in reported.section(shares).notes if "voided or brewed again" in note)
    assert said.startswith("2 checks")
    assert f"{100 * with_them:.0f} of 100" in said


# --- people in training


def test_a_trainee_stands_apart_and_no_share_of_theirs_is_told(slot, crew):
    Membership.objects.filter(user=crew[0]).update(in_training=True)
    shares = shares_of(slot)
    assert shares.together["tds"].now.judged == 24
    said = next(note for note in reported.section(shares).notes if "in training" in note)
    assert said == "8 check brews by people in training stand apart and are in none of these numbers."


def test_five_trainees_have_a_share(slot, crew):
    learners = bar.crew(slot, 5)
    bar.month(slot, learners, days=2)
    Membership.objects.filter(user__in=learners).update(in_training=True)
    said = next(note for note in reported.section(shares_of(slot)).notes if "in training" in note)
    assert "of 100 of theirs" in said


@pytest.fixture
def at_the_time(monkeypatch):
    """Whatever is noted is noted at that moment."""
    return lambda moment: monkeypatch.setattr(record.timezone, "now", lambda: moment)


def test_training_holds_from_the_day_it_was_begun_until_it_was_done(slot, crew, at_the_time):
    head = make.person("head", slot.board.cafe)
    membership = Membership.objects.get(user=crew[0])
    for day, is_so in ((3, True), (6, False)):
        at_the_time(bar.NOW.replace(month=9, day=day))
        set_in_training(membership, is_so, head)
    asked = bar.asked(slot.board.cafe)
    times = training.times_of(asked)
    assert times[crew[0].pk, slot.board.cafe.pk] == [
        (bar.FIRST + timedelta(days=2), bar.FIRST + timedelta(days=5))
    ]
    ground = gather(asked, bar.NOW)
    assert ground.learning.brews == 3
    assert isinstance(ground.learning, cells.Cells)
