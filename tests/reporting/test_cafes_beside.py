"""Cafés are held against one another only in what they share, and where both instruments can be trusted."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.models import InstrumentCheck
from calibration.reporting import cafes
from calibration.reporting.ground import gather
from calibration.reporting.parts import Parts
from tests import factories as make
from tests.reporting import bar


@pytest.fixture
def pair(db):
    """Two cafés with the same version from the same batch; the second, first by name, brews 0.1 % stronger."""
    here = bar.slot(make.cafe(name="Quay"))
    there = bar.slot(
        make.cafe(here.board.cafe.company, name="Hatch"),
        version=here.version,
        roast_batch=here.setting.roast_batch,
    )
    for seed, (slot, level) in enumerate(((here, 1.40), (there, 1.50))):
        bar.month(slot, bar.crew(slot, 3), days=8, seed=seed, level=level)
    return here, there


def passed(slot, passed=True):
    InstrumentCheck.objects.create(
        refractometer=slot.board.cafe.refractometers.get(), kind="standard", read_tds="1.28", passed=passed,
        checked_at=bar.NOW.replace(month=9, day=1, hour=5), checked_by=make.person(cafe=slot.board.cafe),
    )  # fmt: skip


def found(pair):
    return cafes.section(Parts(gather(bar.asked(pair[0].board.cafe), bar.NOW)).cafes)


def test_without_a_passed_standard_nothing_is_compared(pair):
    passed(pair[0])
    section = found(pair)
    assert section.figure is None
    (says,) = section.says
    assert says.startswith("Hatch and Quay cannot be compared, because: ")
    assert "(Hatch)" in says


def test_what_both_brewed_is_compared_in_order_of_name(pair):
    for slot in pair:
        passed(slot)
    (row,) = found(pair).table.numbers
    rows = bar.counted(bar.asked(pair[0].board.cafe))
    means = [np.mean([float(row.tds) for row in rows if row.cafe == slot.board.cafe]) for slot in pair]
    assert row[:2] == ("Hatch", "Quay")
    assert row[2] == pytest.approx(means[1] - means[0], abs=0.001)
    assert row[3] < row[2] < row[4]


def test_another_batch_cannot_be_compared(pair):
    for slot in pair:
        passed(slot)
    third = bar.slot(make.cafe(pair[0].board.cafe.company, name="Attic"), version=pair[0].version)
    bar.month(third, bar.crew(third, 2), days=4)
    passed(third)
    says = found(pair).says
    assert len(says) == 3
    assert says[0].startswith("Attic and Hatch cannot be compared")


def test_one_cafe_alone_has_no_such_section(db):
    slot = bar.slot()
    assert found((slot, slot)) is None
