"""What water is like from the tap to the kettle, and where it boils at the altitude of a café.

Properties of liquid water at 101.325 kPa from 0 °C to 100 °C. Their largest departure from IAPWS, compared at
twelve temperatures from 20 °C to 99.9 °C: density 8e-6, viscosity 3e-5, heat capacity 4e-4 of the value; in
colder water, down to 0 °C: density 4e-4, heat capacity 7e-3. Coffee of 1 % to 2 % differs by less than 1 %
in all but surface tension (engineering estimate).

IAPWS R6-95(2018), Thermodynamic Properties of Ordinary Water Substance: density and heat capacity are
polynomials fitted to it.
IAPWS SR6-08(2011), Revised Supplementary Release on Properties of Liquid Water at 0.1 MPa, equation 7: viscosity.
IAPWS R1-76(2014), Revised Release on Surface Tension of Ordinary Water Substance, equation 1.
ISO 2533:1975, Standard Atmosphere: pressure below 11 km.
IAPWS R7-97(2012), Revised Release on the Industrial Formulation 1997 (IF97), section 8.2, equation 31:
saturation temperature as a closed form of pressure.
"""

from math import isfinite, sqrt

from brewbar.units import degrees
from brewbar.words import gettext as _

WATER_MIN_C, WATER_MAX_C = 0.0, 100.0  # liquid at 101.325 kPa
GRAVITY_M_S2 = 9.80665  # standard acceleration of free fall, ISO 80000-3

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


def density_kg_m3(temperature_C: float) -> float:
    """Fitted to IAPWS R6-95(2018) from 20 °C to 99.9 °C."""
    t = _liquid(temperature_C)
    return 1000.247 + t * (1.693408e-2 + t * (-6.475428e-3 + t * (2.895351e-5 - t * 7.796655e-8)))


def viscosity_Pa_s(temperature_C: float) -> float:
    """Dynamic viscosity: IAPWS SR6-08(2011), equation 7."""
    x = (_liquid(temperature_C) + 273.15) / 300
    return float(1e-6 * (280.68 * x**-1.9 + 511.45 * x**-7.7 + 61.131 * x**-19.6 + 0.45903 * x**-40))


def surface_tension_N_m(temperature_C: float) -> float:
    """Against its own vapour: IAPWS R1-76(2014), equation 1."""
    tau = 1 - (_liquid(temperature_C) + 273.15) / 647.096
    return float(0.2358 * tau**1.256 * (1 - 0.625 * tau))


def heat_capacity_J_kgK(temperature_C: float) -> float:
    """At constant pressure, fitted to IAPWS R6-95(2018) from 20 °C to 99.9 °C."""
    t = _liquid(temperature_C)
    return 4192.055 + t * (-0.6639942 + t * 9.01795e-3)


def _liquid(temperature_C: float) -> float:
    if not WATER_MIN_C <= temperature_C <= WATER_MAX_C:
        raise ValueError(
            _("Water is liquid between %(low)s and %(high)s; %(value)s is not.")
            % {
                "low": degrees(WATER_MIN_C),
                "high": degrees(WATER_MAX_C),
                "value": degrees(temperature_C) if isfinite(temperature_C) else temperature_C,
            }
        )
    return temperature_C


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
