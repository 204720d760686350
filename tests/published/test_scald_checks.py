"""How fast hot water burns: rows G, read in the sources that they name.

There is no function that computes such times, on purpose: kettle water is so far above these temperatures that no
time may be told. What is checked is the limit from which the product says 'at once'.
"""

import pytest

from recipes.brewing.safety import AT_ONCE_FROM_C, POURING
from tests.published.checks import ROWS, given, keys

CLAIMED = keys("G-")
DEEP_BURN_S = {
    given(key)["T_C"]: (ROWS[key]["expected"][1] if key.startswith("G-burn-") else ROWS[key]["expected"])
    for key in CLAIMED
}


def test_times_fall_steeply_with_temperature():
    in_order = [DEEP_BURN_S[t] for t in sorted(DEEP_BURN_S)]
    assert in_order == sorted(in_order, reverse=True)
    assert len(set(in_order)) == len(in_order)


@pytest.mark.parametrize("key", keys("G-burn-"))
def test_a_first_sign_comes_before_the_deep_burn(key):
    sign_s, deep_s = ROWS[key]["expected"]
    assert sign_s < deep_s


def test_both_tables_agree_where_they_meet():
    assert ROWS["G-burn-60"]["expected"][1] == ROWS["G-bf-60"]["expected"]


def test_at_once_is_said_only_where_there_is_no_time_to_react():
    assert max(t for t in DEEP_BURN_S if DEEP_BURN_S[t] > 2) < AT_ONCE_FROM_C <= 65
    assert DEEP_BURN_S[65] <= 2
    assert any("at once" in line for line in POURING)
    assert not any(word in line for line in POURING for word in ("second", " s "))
