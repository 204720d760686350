import numpy as np
import pytest

from calibration.statistics.groups import middle, summarise


def test_one_group_for_each_key_in_the_order_they_come():
    groups = summarise([1.40, 1.30, 1.50], ["b", "a", "b"])
    assert [(g.key, g.n, g.mean, g.lowest, g.highest) for g in groups] == [
        ("b", 2, pytest.approx(1.45), 1.40, 1.50),
        ("a", 1, 1.30, 1.30, 1.30),
    ]
    assert groups[0].sd == pytest.approx(0.1 / np.sqrt(2))


def test_one_value_has_no_spread_and_equal_ones_have_none_either():
    assert summarise([2.0], ["a"])[0].sd is None
    assert summarise([2.0, 2.0, 2.0], ["a"] * 3)[0].sd == 0.0


def test_nothing_gives_nothing():
    assert summarise([], []) == ()
    assert middle([]) is None


@pytest.mark.parametrize(("values", "keys"), [([1.0], []), ([float("nan")], ["a"]), ([float("inf")], ["a"])])
def test_what_cannot_be_summed_is_refused(values, keys):
    with pytest.raises(ValueError, match=r"Every value"):
        summarise(values, keys)


def test_the_middle_of_eleven_evenly_spaced_values():
    # Hyndman and Fan 1996, definition 7: the p-quantile of n values is at place 1 + (n - 1) p.
    assert middle(list(range(11)), 0.8) == (pytest.approx(1.0), pytest.approx(9.0))
    assert middle([3.0], 0.8) == (3.0, 3.0)
    with pytest.raises(ValueError, match="between 0 and 1"):
        middle([1.0], 1.5)
