"""Published formulas whose range excludes kettles and filter beds, so the product has no use for them.

They are here to hold the published values against something, and to show on which side of them the product's own
formulas lie.

Grant and Middleman 1966, Newtonian jet stability, AIChE J. 12:669.
Carman 1937, Fluid flow through granular beds, Trans. Inst. Chem. Eng. 15:150.
Ergun 1952, Fluid flow through packed columns, Chem. Eng. Prog. 48:89.
IAPWS R9-97(1997), Release on the Refractive Index of Ordinary Water Substance, equation 1 and table 1: coefficients
from memory, proved by the value the release prints.
"""

from math import factorial, sqrt


def laminar_uniform_jet_m(diameter_m: float, weber: float, ohnesorge: float) -> float:
    """Grant and Middleman 1966: 0.3 mm to 1.4 mm, horizontal, Froude number above 5. The power is on the bracket."""
    return 19.5 * diameter_m * (sqrt(weber) * (1 + 3 * ohnesorge)) ** 0.85


def turbulent_uniform_jet_m(diameter_m: float, weber: float) -> float:
    """Grant and Middleman 1966, turbulent branch: Weber number above 170."""
    return 8.51 * diameter_m * weber**0.32


def rayleigh_growth(x: float) -> float:
    """sqrt(rho a³/sigma) times the growth rate at wavenumber x/a: Rayleigh 1878."""
    return sqrt(x * bessel_i(1, x) / bessel_i(0, x) * (1 - x * x))


def bessel_i(order: int, x: float) -> float:
    """Modified Bessel function, by its series."""
    return sum((x / 2) ** (2 * k + order) / (factorial(k) * factorial(k + order)) for k in range(20))


def fastest_growth() -> tuple[float, float]:
    """The fastest wave and its growth rate, by looking ever closer."""
    low, high = 0.01, 0.99
    for _round in range(200):
        one, other = low + (high - low) / 3, high - (high - low) / 3
        low, high = (one, high) if rayleigh_growth(one) < rayleigh_growth(other) else (low, other)
    return low, rayleigh_growth(low)


def kozeny_carman_m2(diameter_m: float, porosity: float) -> float:
    return diameter_m**2 * porosity**3 / (180 * (1 - porosity) ** 2)


def ergun_Pa_m(
    diameter_m: float, porosity: float, velocity_m_s: float, rho: float, mu: float
) -> tuple[float, float]:
    """The viscous and the inertial part of the pressure gradient."""
    solid = 1 - porosity
    viscous = 150 * solid**2 * mu * velocity_m_s / (porosity**3 * diameter_m**2)
    return viscous, 1.75 * solid * rho * velocity_m_s**2 / (porosity**3 * diameter_m)


def water_index(temperature_K: float, density_kg_m3: float, wavelength_um: float) -> float:
    """Absolute refractive index of water: IAPWS R9-97, equation 1."""
    t, rho, wave = temperature_K / 273.15, density_kg_m3 / 1000, wavelength_um / 0.589
    right = (
        0.244257733
        + 9.74634476e-3 * rho
        - 3.73234996e-3 * t
        + 2.68678472e-4 * wave**2 * t
        + 1.58920570e-3 / wave**2
        + 2.45934259e-3 / (wave**2 - 0.2292020**2)
        + 0.900704920 / (wave**2 - 5.432937**2)
        - 1.66626219e-2 * rho**2
    )
    share = rho * right
    return sqrt((1 + 2 * share) / (1 - share))
