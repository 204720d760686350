"""What a refractometer makes of a liquid: refractive index, degrees Brix, per cent of dissolved coffee.

Indices are relative to air, as sucrose tables and instruments have them; an absolute index, as IAPWS gives it for
water, is 1.00027 times that, and mixing the two costs 0.25 °Bx. Degrees Brix are grams of sucrose in 100 g.

Coffee: TDS = k·Brix with k = 0.85 ± 0.02. No primary source for k was found: a regression of hobby data gives
0.849, hobby data spread from 0.83 to 0.91, and it moves with roast and origin. A general Brix instrument, read to
0.1 °Bx, knows TDS to 0.1 % or 0.2 % and a yield to 1 or 2 points: too coarse for filter coffee.

ICUMSA 1974 scale of sucrose at 20 °C and 589 nm, as handbooks tabulate it: a parabola fitted from 0 to 12 °Bx
departs by 6e-6.
IAPWS R9-97(1997), Release on the Refractive Index of Ordinary Water Substance: a parabola fitted to it at 589.3 nm,
relative to air, from 15 °C to 35 °C departs by 5e-6.
Edlén 1966, The refractive index of air, Metrologia 2:71, doi:10.1088/0026-1394/2/2/002: 1.000272 at 20 °C.
JCGM 100:2008 (GUM), equation 10.
"""

from dataclasses import dataclass
from math import hypot

from brewbar.words import gettext as _

BRIX_FACTOR = 0.85  # % TDS per °Bx
U_BRIX_FACTOR = 0.02  # rectangular over ±0.035
U_BRIX = 0.03  # a coffee-range instrument, calibrated: engineering estimate, no source

SUCROSE_MAX_BRIX = 12.0
SAMPLE_MIN_C, SAMPLE_MAX_C = 15.0, 35.0
REFERENCE_C = 20.0  # of the sucrose scale

_WATER_INDEX, _PER_BRIX, _PER_BRIX2 = 1.33299, 1.425623e-3, 5.775e-6


def sucrose_index(brix: float) -> float:
    """Of a sucrose solution at 20 °C: fitted to the ICUMSA 1974 scale."""
    if not 0 <= brix <= SUCROSE_MAX_BRIX:
        raise ValueError(_("Sucrose solutions are known from 0 °Bx to 12 °Bx."))
    return _WATER_INDEX + brix * (_PER_BRIX + brix * _PER_BRIX2)


def water_index(temperature_C: float) -> float:
    """Of water relative to air: fitted to IAPWS R9-97."""
    warmer = _sample(temperature_C) - REFERENCE_C
    return 1.332984 - warmer * (8.873e-5 + warmer * 1.562e-6)


def water_index_per_K(temperature_C: float) -> float:
    """Slope of `water_index`."""
    return -8.873e-5 - 2 * 1.562e-6 * (_sample(temperature_C) - REFERENCE_C)


def uncompensated_tds_error_pct(
    sample_C: float, set_at_C: float = REFERENCE_C, tds_pct: float = 1.36, brix_factor: float = BRIX_FACTOR
) -> float:
    """What an instrument without temperature compensation reads wrong, in % TDS, for a sample warmer or colder
    than the water it was set to zero with. Weak coffee changes with temperature as water does: below 2 % TDS the
    error of that is under a twentieth."""
    per_brix = _PER_BRIX + 2 * _PER_BRIX2 * tds_pct / brix_factor
    return brix_factor * (water_index(sample_C) - water_index(set_at_C)) / per_brix


@dataclass(frozen=True, slots=True)
class TdsFromBrix:
    """TDS in %, its standard uncertainty u in %, and the shares of its variance that reading and factor have."""

    tds_pct: float
    u_pct: float
    share_of_reading: float
    share_of_factor: float


def tds_from_brix(
    brix: float, u_brix: float = U_BRIX, factor: float = BRIX_FACTOR, u_factor: float = U_BRIX_FACTOR
) -> TdsFromBrix:
    """TDS = k·Brix; u² = (k·u(Brix))² + (Brix·u(k))²."""
    reading, conversion = factor * u_brix, brix * u_factor
    u = hypot(reading, conversion)
    return TdsFromBrix(
        factor * brix, u, (reading / u) ** 2 if u else 0.0, (conversion / u) ** 2 if u else 0.0
    )


@dataclass(frozen=True, slots=True)
class CheckStandard:
    """A sucrose solution to test an instrument with: grams to weigh in, its strength in °Bx with the standard
    uncertainty that weighing leaves, its index at 20 °C, and what a coffee scale should read in % TDS."""

    sucrose_g: float
    water_g: float
    brix: float
    u_brix: float
    index: float
    reads_tds_pct: float


STANDARD_U_BRIX = 0.01  # a third of what a coffee instrument claims: the house's choice
SMALLEST_BATCH_G = 100.0


def check_standard(
    reads_tds_pct: float,
    scale_reads_g: float = 0.01,
    batch_g: float | None = None,
    brix_factor: float = BRIX_FACTOR,
) -> CheckStandard:
    """What to weigh for a wanted reading, in whole steps of the scale.

    Without a batch, the smallest of 100 g, 200 g, 500 g, 1000 g that leaves no more than `STANDARD_U_BRIX`, or the
    largest. One weighing is taken to be known to one step of the scale (engineering estimate: reading, taring,
    linearity).
    """
    if reads_tds_pct <= 0 or scale_reads_g <= 0 or brix_factor <= 0 or (batch_g is not None and batch_g <= 0):
        raise ValueError(_("A check standard needs a strength, a scale and a batch above 0."))
    wanted = reads_tds_pct / brix_factor
    if batch_g is None:
        sizes = [times * SMALLEST_BATCH_G for times in (1, 2, 5, 10)]
        enough = (size for size in sizes if _u_brix(wanted, size, scale_reads_g) <= STANDARD_U_BRIX)
        batch_g = next(enough, sizes[-1])
    sucrose_g = round(wanted / 100 * batch_g / scale_reads_g) * scale_reads_g
    water_g = round((batch_g - sucrose_g) / scale_reads_g) * scale_reads_g
    brix = brix_of(sucrose_g, water_g)
    return CheckStandard(
        sucrose_g=round(sucrose_g, 6),
        water_g=round(water_g, 6),
        brix=brix,
        u_brix=_u_brix(brix, sucrose_g + water_g, scale_reads_g),
        index=sucrose_index(brix),
        reads_tds_pct=brix_factor * brix,
    )


def brix_of(sucrose_g: float, water_g: float) -> float:
    """Per cent of sucrose by mass."""
    return 100 * sucrose_g / (sucrose_g + water_g)


def _u_brix(brix: float, batch_g: float, u_g: float) -> float:
    # B = 100 s/(s + w): dB/ds = (100 - B)/batch, dB/dw = -B/batch
    return hypot(100 - brix, brix) * u_g / batch_g


def _sample(temperature_C: float) -> float:
    if not SAMPLE_MIN_C <= temperature_C <= SAMPLE_MAX_C:
        raise ValueError(_("The index of water is known here from 15 °C to 35 °C."))
    return temperature_C
