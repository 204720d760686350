from math import sqrt

import pytest

from calibration.statistics.uncertainty import tds_budget


def test_lines_add_in_squares():
    budget = tds_budget(2, 0.01, 0.01)
    assert budget.u_absolute == pytest.approx(sqrt(sum(line.u_pct**2 for line in budget.lines)))
    relative = [line for line in budget.lines if not line.absolute_only]
    assert budget.u_relative == pytest.approx(sqrt(sum(line.u_pct**2 for line in relative)))
    assert (budget.U_relative, budget.U_absolute) == (2 * budget.u_relative, 2 * budget.u_absolute)


def test_accuracy_counts_only_in_absolute_statements():
    budget = tds_budget(2, 0.01, 0.01)
    assert budget.u_absolute**2 - budget.u_relative**2 == pytest.approx(0.03**2 / 3)
    assert [line.name for line in budget.lines if line.absolute_only] == ["instrument's accuracy"]


def test_two_drops_can_tell_a_tenth_but_not_a_twentieth_absolutely():
    budget = tds_budget(2, 0.01, 0.01)
    assert budget.U_relative == pytest.approx(0.039, abs=0.0005)
    assert 0.05 <= budget.U_absolute < 0.10


def test_more_drops_help_only_the_drops():
    few, many = tds_budget(1, 0.01, 0.01), tds_budget(4, 0.01, 0.01)
    assert many.lines[0].u_pct == few.lines[0].u_pct / 2
    assert many.lines[1:] == few.lines[1:]
    assert many.u_relative < few.u_relative


def test_without_any_spread_the_rest_remains():
    budget = tds_budget(1, 0.0, 0.0, temperature_u_K=0.0, drift_u=0.0, accuracy_limit=0.0)
    assert budget.u_absolute == budget.u_relative == 0
    assert tds_budget(1, 0.0, 0.01).u_relative > 0


def test_no_drops_no_budget():
    with pytest.raises(ValueError, match="at least one drop"):
        tds_budget(0, 0.01, 0.01)
