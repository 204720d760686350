"""What brews cannot tell apart is named, and not decided."""

from datetime import timedelta

import pytest

from calibration.coaching import Code, Happening, Kind, Tie, advise
from tests.coaching.seen import DAY, checked, day_off, keys, one_off


def test_a_person_always_on_one_grinder():
    seen = one_off(tds="-", time="-")
    tied, free = advise(seen, checked(ties=(Tie(Code.GRIND, "grinder 2"),))), advise(seen, checked())
    assert keys(tied) == keys(free)
    assert len(tied.apart) == 1
    assert "grinder 2" in tied.apart[0]
    assert tied.apart[0] in tied.says
    assert tied.causes[0].undecided == (Code.GRIND,)
    grind = next(one for one in tied.causes if one.code is Code.GRIND)
    assert grind.undecided == (Code.POUR,)
    assert free.apart == ()


def test_where_the_whole_day_is_off_one_persons_kettle_is_no_matter():
    assert advise(day_off(tds="-", time="-"), checked(ties=(Tie(Code.KETTLE, "blue kettle"),))).apart == ()


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (Kind.LOT, Kind.VERSION),
        (Kind.LOT, Kind.KETTLE_SWAPPED),
        (Kind.BATCH, Kind.BURRS),
        (Kind.PAPER, Kind.LOT),
    ],
)
def test_two_happenings_that_came_together(one, other):
    context = checked(happened=(Happening(one, DAY), Happening(other, DAY)), began=(DAY, DAY))
    advice = advise(day_off(tds="+", time="+"), context)
    assert len(advice.apart) == 1
    assert "came together" in advice.apart[0]
    assert any(cause.undecided for cause in advice.causes)


def test_one_that_came_earlier_can_be_told_from_one_that_came_as_it_began():
    happened = (Happening(Kind.LOT, DAY - timedelta(days=9)), Happening(Kind.VERSION, DAY))
    advice = advise(day_off(tds="+", time="+"), checked(happened=happened, began=(DAY, DAY)))
    assert advice.apart == ()
    assert Code.LOT not in {one.code for one in advice.causes}


def test_a_new_batch_of_a_new_lot_is_one_thing():
    happened = (Happening(Kind.LOT, DAY), Happening(Kind.BATCH, DAY))
    assert advise(day_off(tds="+", time="+"), checked(happened=happened)).apart == ()
