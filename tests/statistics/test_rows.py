"""Rows as they come: what is refused names its row, and labels are numbered as they first appear."""

import numpy as np
import pytest

from calibration.statistics.rows import codes, finite, level


def test_numbers_as_they_come():
    assert finite([1, 2.5, "3"]).tolist() == [1.0, 2.5, 3.0]
    assert finite(np.array([1, 2])).dtype == float
    assert finite(range(3)).tolist() == [0.0, 1.0, 2.0]


@pytest.mark.parametrize(
    ("values", "least", "says"),
    [
        ([1.0, None], 1, "row 2"),
        ([1.0, 2.0, "x"], 1, "row 3"),
        ([1.0, float("inf")], 1, "row 2"),
        (["", 1.0], 1, "row 1"),
        ([[1.0], [2.0]], 1, "single column"),
        ([[1.0], [2.0, 3.0]], 1, "row 1"),
        ([], 1, "at least one value"),
        ([1.0], 2, "At least 2 values are needed; there are 1"),
        ("words", 1, "row 1"),
        (None, 1, "single column"),
    ],
)
def test_refuses_numbers(values, least, says):
    with pytest.raises(ValueError, match=says):
        finite(values, least)


@pytest.mark.parametrize(
    "labels",
    [
        ["b", "a", "b", "c"],
        np.array(["b", "a", "b", "c"]),
        np.array([7, 2, 7, 9]),
        (7, 2, 7, 9),
        [True, False, True, 2],
    ],
)
def test_labels_are_numbered_as_they_first_appear(labels):
    numbered, names = codes(labels, 4, "day")
    assert numbered.tolist() == [0, 1, 0, 2]
    assert list(names) == [labels[0], labels[1], labels[3]]


def test_whole_numbers_are_numbered_like_any_other_label():
    labels = np.random.default_rng(1).integers(-40, 60, 500)
    numbered, names = codes(labels, 500, "day")
    other, other_names = codes(labels.tolist(), 500, "day")
    assert (numbered == other).all()
    assert names == other_names


@pytest.mark.parametrize(
    ("labels", "says"),
    [
        (["a", None], "Row 2 has no day"),
        (["", "a"], "Row 1 has no day"),
        ([1.0, float("nan")], "Row 2 has no day"),
        (np.array([1.0, float("nan")]), "Row 2 has no day"),
        (["a"], "needs its day"),
    ],
)
def test_refuses_labels(labels, says):
    with pytest.raises(ValueError, match=says):
        codes(labels, 2, "day")


@pytest.mark.parametrize("coverage", [0, 1, -0.5, 95, float("nan")])
def test_refuses_a_coverage(coverage):
    with pytest.raises(ValueError, match="between 0 and 1"):
        level(coverage)
