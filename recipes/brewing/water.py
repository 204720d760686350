"""What water does at the altitude of a café.

ISO 2533:1975, Standard Atmosphere: pressure below 11 km.
IAPWS R7-97(2012), Revised Release on the Industrial Formulation 1997 (IF97), section 8.2, equation 31:
saturation temperature as a closed form of pressure.
"""

from math import sqrt

ALTITUDE_MIN_M = -430.0  # the lowest land on earth, rounded outward; a fact of geography, no source
ALTITUDE_MAX_M = 5000.0  # above any town; the formulas themselves reach 11 km

# IAPWS R7-97(2012), Table 34
_N1, _N2, _N3, _N4, _N5 = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
)
_N6, _N7, _N8, _N9, _N10 = (
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def pressure_Pa(altitude_m: float) -> float:
    """Air pressure of the standard atmosphere; weather moves it by about 2 %, 0.5 °C of boiling point."""
    if not ALTITUDE_MIN_M <= altitude_m <= ALTITUDE_MAX_M:
        raise ValueError(
            f"The altitude must lie between {ALTITUDE_MIN_M:.0f} m and {ALTITUDE_MAX_M:.0f} m, "
            f"not {altitude_m:g} m."
        )
    # ISO 2533:1975 with its sea-level values put in; altitude is taken as geopotential (0.1 % at 5 km)
    return float(101325 * (1 - 2.25577e-5 * altitude_m) ** 5.25588)


def saturation_temperature_K(pressure_MPa: float) -> float:
    """Temperature at which water boils under this pressure: IAPWS R7-97(2012), equation 31."""
    beta = pressure_MPa**0.25
    e = beta**2 + _N3 * beta + _N6
    f = _N1 * beta**2 + _N4 * beta + _N7
    g = _N2 * beta**2 + _N5 * beta + _N8
    d = 2 * g / (-f - sqrt(f**2 - 4 * e * g))
    return float((_N10 + d - sqrt((_N10 + d) ** 2 - 4 * (_N9 + _N10 * d))) / 2)


def boiling_point_C(altitude_m: float) -> float:
    """Boiling point of water in the standard atmosphere at this altitude, -430 m to 5000 m."""
    return saturation_temperature_K(pressure_Pa(altitude_m) / 1e6) - 273.15
