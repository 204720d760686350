"""Brix, index and check standards at their limits."""

import pytest

from recipes.brewing import refractometry as rf


def test_a_check_standard_for_a_fine_scale():
    # 1.50 g in 100 g is 1.50 °Bx, which a scale of 0.85 % per °Bx shows as 1.275 %
    standard = rf.check_standard(1.275)
    assert (standard.sucrose_g, standard.water_g) == (1.5, 98.5)
    assert standard.brix == pytest.approx(1.5)
    assert standard.reads_tds_pct == pytest.approx(1.275)
    assert standard.u_brix == pytest.approx(0.01, abs=2e-4)


def test_a_coarse_scale_needs_a_large_batch():
    standard = rf.check_standard(1.275, scale_reads_g=0.1)
    assert (standard.sucrose_g, standard.water_g) == (15.0, 985.0)
    assert standard.u_brix <= rf.STANDARD_U_BRIX
    # weighed so coarsely in 100 g, it would be known ten times worse
    assert rf.check_standard(1.275, 0.1, batch_g=100).u_brix == pytest.approx(10 * standard.u_brix, rel=0.01)


@pytest.mark.parametrize("scale", [0.01, 0.02, 0.1, 0.5])
@pytest.mark.parametrize("reads", [0.5, 1.0, 1.4, 2.0])
def test_what_is_weighed_reads_what_was_wanted(reads, scale):
    standard = rf.check_standard(reads, scale)
    for grams in (standard.sucrose_g, standard.water_g):
        assert grams / scale == pytest.approx(round(grams / scale), abs=1e-6)
    assert standard.brix == pytest.approx(rf.brix_of(standard.sucrose_g, standard.water_g))
    step = 100 * scale / (standard.sucrose_g + standard.water_g) * rf.BRIX_FACTOR
    assert standard.reads_tds_pct == pytest.approx(reads, abs=step)


def test_weighing_errors_against_weighing_it_wrong():
    standard = rf.check_standard(1.4, 0.01)
    s, w, u = standard.sucrose_g, standard.water_g, 0.01
    by_sucrose = rf.brix_of(s + u, w) - standard.brix
    by_water = rf.brix_of(s, w + u) - standard.brix
    assert standard.u_brix == pytest.approx((by_sucrose**2 + by_water**2) ** 0.5, rel=1e-3)


def test_a_warm_sample_reads_low_and_a_cold_one_high():
    assert rf.uncompensated_tds_error_pct(20, 20) == 0
    assert rf.uncompensated_tds_error_pct(25, 20) < 0 < rf.uncompensated_tds_error_pct(16, 20)
    # about 0.057 % TDS per kelvin near 22 °C
    assert rf.uncompensated_tds_error_pct(24, 21) == pytest.approx(-3 * 0.057, rel=0.03)


def test_the_slope_is_the_slope():
    for t in (16.0, 20.0, 25.0, 34.0):
        rise = rf.water_index(t + 1e-3) - rf.water_index(t - 1e-3)
        assert rf.water_index_per_K(t) == pytest.approx(rise / 2e-3, rel=1e-6)


def test_the_factor_is_most_of_what_is_not_known():
    tds = rf.tds_from_brix(1.6)
    assert tds.tds_pct == pytest.approx(1.36)
    assert tds.share_of_reading + tds.share_of_factor == pytest.approx(1)
    assert tds.share_of_factor > 0.5
    exact = rf.tds_from_brix(1.6, 0, 0.85, 0)
    assert (exact.u_pct, exact.share_of_reading, exact.share_of_factor) == (0, 0, 0)
    assert rf.tds_from_brix(0.0).tds_pct == 0


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: rf.sucrose_index(-0.1),
        lambda: rf.sucrose_index(12.1),
        lambda: rf.sucrose_index(float("nan")),
        lambda: rf.water_index(14.9),
        lambda: rf.water_index_per_K(35.1),
        lambda: rf.uncompensated_tds_error_pct(60),
        lambda: rf.check_standard(0),
        lambda: rf.check_standard(1.4, 0),
        lambda: rf.check_standard(1.4, 0.01, -5),
        lambda: rf.check_standard(1.4, brix_factor=0),
        lambda: rf.check_standard(11.0),
    ],
)
def test_refuses_what_is_not_known(wrong):
    with pytest.raises(ValueError, match=r"known|above 0"):
        wrong()
