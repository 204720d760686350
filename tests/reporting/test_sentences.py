"""The three sentences and what to do on Monday, from brews whose truth is known because it was made up."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import numpy as np
import pytest

from calibration.models import CheckPlan, InstrumentCheck
from calibration.reporting import changed, monday, sentences
from calibration.reporting.ground import gather
from calibration.reporting.parts import Parts
from calibration.reporting.result import Sure
from tests import factories as make
from tests.reporting import bar


@pytest.fixture
def slot(db):
    return bar.slot()


def parts_of(slot) -> Parts:
    return Parts(gather(bar.asked(slot.board.cafe), bar.NOW))


def fill(slot, crew, levels, first=bar.FIRST, sd=0.01, seed=3):
    """Two brews a day, by turns, at the level of each day."""
    rng = np.random.default_rng(seed)
    for n, level in enumerate(levels):
        for who in (crew[n % len(crew)], crew[(n + 1) % len(crew)]):
            bar.brew(slot, who, first + timedelta(days=n), level + rng.normal(0, sd))


def said(parts, key):
    return next(one for one in sentences.of(parts) if one.key == key)


@pytest.mark.parametrize(
    ("level", "sd", "begins", "sure"),
    [
        (1.40, 0.01, "Yes, the cup is consistent", Sure.SURE),
        (1.60, 0.01, "No, the cup is not consistent", Sure.SURE),
        (1.50, 0.003, "The cup is only partly consistent", Sure.SURE),
    ],
)
def test_whether_the_cup_is_consistent(slot, level, sd, begins, sure):
    fill(slot, bar.crew(slot, 3), [level] * 26, sd=sd)
    found = said(parts_of(slot), "consistent")
    assert found.says.startswith(begins)
    assert found.sure is sure
    assert "From 52 check brews by 3 people on 26 days" in found.how_sure


def test_no_change_is_said_only_where_one_that_matters_is_ruled_out(slot):
    crew = bar.crew(slot, 3)
    fill(slot, crew, [1.40] * 14)
    fill(slot, crew, [1.40] * 14, first=bar.FIRST - timedelta(days=20), seed=4)
    found = said(parts_of(slot), "changed")
    assert found.says.startswith("No, it did not change")
    assert found.sure is Sure.SURE
    assert "0.05 % TDS" in found.says


def test_a_change_has_its_day_and_what_was_changed_then(slot):
    crew = bar.crew(slot, 3)
    rng = np.random.default_rng(8)
    levels = [1.40 + rng.normal(0, 0.01) for _ in range(14)] + [1.55 + rng.normal(0, 0.01) for _ in range(14)]
    fill(slot, crew, levels)
    make.event(
        slot.board.cafe,
        happened_at=bar.NOW.replace(month=9, day=15, hour=6),
        grinder=slot.setting.grinder,
        by=crew[0],
    )
    parts = parts_of(slot)
    found = said(parts, "changed")
    assert found.says.startswith("Yes, it changed")
    assert "stronger since about Tue 15 Sep" in found.says
    assert "cleaned" in found.says
    (first, *_rest) = monday.of(parts)
    assert slot.version.recipe.name in first or "check standard" in first
    assert any("coarser" in one for one in monday.of(parts))
    (days,) = changed.of_days(parts.moved)
    assert len(days.figure.points) == len(days.table.numbers) == 28


def test_a_cup_that_came_nearer_its_target_is_left_alone(slot):
    crew = bar.crew(slot, 3)
    rng = np.random.default_rng(8)
    fill(slot, crew, [level + rng.normal(0, 0.01) for level in [1.25] * 14 + [1.40] * 14])
    assert not any("coarser" in one for one in monday.of(parts_of(slot)))


def test_nothing_done_is_said_where_checks_were_brewed(slot):
    CheckPlan.objects.create(cafe=slot.board.cafe, recipe=slot.version.recipe)
    fill(slot, bar.crew(slot, 2), [1.4] * 4)
    assert "done" not in {one.key for one in sentences.of(parts_of(slot))}


def test_monday_asks_for_a_standard_before_all_else_and_for_five_things_at_most(slot):
    crew = bar.crew(slot, 3)
    fill(slot, crew, [1.52] * 20)
    found = monday.of(parts_of(slot))
    assert found[0].startswith("Read a check standard on")
    assert 1 < len(found) <= monday.MOST
    InstrumentCheck.objects.create(
        refractometer=slot.board.cafe.refractometers.get(), kind="standard", read_tds=Decimal("1.28"),
        passed=True, checked_at=bar.NOW.replace(month=9, day=28), checked_by=crew[0],
    )  # fmt: skip
    assert not any("check standard" in one for one in monday.of(parts_of(slot)))


def test_brews_that_came_out_alike_tell_less_than_their_number(slot):
    fill(slot, bar.crew(slot, 3), [1.40] * 4 + [1.60] * 4 + [1.40] * 4)
    found = said(parts_of(slot), "consistent")
    assert found.sure is Sure.CANNOT_SAY
    assert "it may be anything from" in found.how_sure


def test_worse_held_than_the_rest_is_named(slot):
    crew = bar.crew(slot, 3)
    fill(slot, crew, [1.40] * 20)
    other = bar.slot(slot.board.cafe)
    fill(other, crew, [1.55] * 20)
    found = said(parts_of(slot), "consistent")
    assert f"{other.version.recipe.name} is held worst" in found.says
