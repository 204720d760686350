from decimal import ROUND_HALF_UP, Decimal

import pytest

from brewbar.units import clock, degrees, fixed, grams, parse_clock, percent, ratio, trimmed


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [
        (2.25, 1, "2.3"),
        (2.35, 1, "2.4"),  # 2.35 is 2.35000000000000008882 as a float, and 2.25 is exact: both go up
        (1.005, 2, "1.01"),  # 1.00499999999999989 as a float, yet written 1.005
        (-2.25, 1, "-2.3"),
        (Decimal("2.25"), 1, "2.3"),
        (0, 1, "0.0"),
        (-0.04, 1, "0.0"),
        (Decimal("-0.00"), 1, "0.0"),
        (999.95, 1, "1000.0"),
        (1e-9, 2, "0.00"),
        (15, 0, "15"),
    ],
)
def test_rounds_half_away_from_zero_as_written(value, decimals, shown):
    assert fixed(value, decimals) == shown


def test_never_truncates():
    for hundredths in range(1000):
        exact = Decimal(hundredths) / 100
        assert Decimal(fixed(float(exact), 1)) == exact.quantize(Decimal("0.1"), rounding=ROUND_HALF_UP)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), Decimal("NaN")])
def test_shows_only_numbers(value):
    with pytest.raises(ValueError, match="finite"):
        fixed(value, 1)


def test_units_stand_behind_the_number():
    assert grams(15) == "15.0 g"
    assert grams(0) == "0.0 g"
    assert percent(1.4) == "1.40 %"
    assert percent(20.53, 1) == "20.5 %"
    assert degrees(93) == "93 °C"


@pytest.mark.parametrize(
    ("value", "decimals", "shown"), [(30.0, 1, "30"), (30.5, 1, "30.5"), (100, 0, "100"), (0.0, 2, "0")]
)
def test_trimmed(value, decimals, shown):
    assert trimmed(value, decimals) == shown


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [(185, "3:05"), (0, "0:00"), (59.4, "0:59"), (59.5, "1:00"), (3725, "62:05"), (-5, "-0:05")],
)
def test_clock(seconds, shown):
    assert clock(seconds) == shown


def test_clock_and_its_reading_are_inverse():
    assert all(parse_clock(clock(seconds)) == seconds for seconds in range(2000))


def test_ratio():
    assert ratio(250, 15) == "1:16.7"
    assert ratio(Decimal("320"), Decimal("20.0")) == "1:16.0"
    assert ratio(0, 15) == "1:0.0"


@pytest.mark.parametrize("dose", [0, -1, Decimal("NaN")])
def test_ratio_needs_a_dose(dose):
    with pytest.raises(ValueError, match="dose above 0"):
        ratio(250, dose)
