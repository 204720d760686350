"""What the bed lies in, and how it lets water through.

Outflow is Q = C·h. Conductance C holds at `REFERENCE_C` and follows the water's viscosity: 10 K cooler drains
about 12 % slower. A bed that clogs is taken as a growing cake, R = R0 + alpha·V, so C falls with what has run out.

No permeability of a pour-over bed is published, and none can be computed from the grind: C is fitted to logged
brews (`drawdown`), or that of a typical bed, known to a factor of two or three.

Bear 1972, Dynamics of Fluids in Porous Media, Elsevier: Darcy's law, resistances in series. By Ergun's equation
inertia adds less than 4 % at these velocities.
Hermia 1982, Constant pressure blocking filtration laws, Trans. IChemE 60:183: cake filtration.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from math import inf, pi, radians, tan

from brewbar.words import gettext as _
from recipes.brewing.water import GRAVITY_M_S2, WATER_MAX_C, WATER_MIN_C, density_kg_m3, viscosity_Pa_s

REFERENCE_C = 85.0  # a slurry in the middle of its brew
DENSITY_G_ML = density_kg_m3(REFERENCE_C) / 1e3  # within 1 % from 65 °C to 98 °C
WET_BED_ML_PER_G = 3.0  # wet coffee with the water it keeps: engineering estimate, no source


class Shape(StrEnum):
    """What the bed lies in."""

    CONE = "cone"
    CYLINDER = "cylinder"
    FLAT = "flat"


@dataclass(frozen=True, slots=True)
class Brewer:
    """half_angle_deg: of a cone, from its axis to its wall; diameter_mm: inside, of a cylinder or a flat bed;
    heat_capacity_J_K: what has to be warmed of it, 0 if preheated, None if nobody knows; largest_dose_g: that it
    is said to take."""

    shape: Shape = Shape.CONE
    half_angle_deg: float = 30.0
    diameter_mm: float = 75.0
    heat_capacity_J_K: float | None = None
    name: str = ""
    largest_dose_g: float | None = None

    def surface_mm(self, bed_mL: float) -> Callable[[float], float]:
        """Height of the surface over the outlet, for grams of water standing above a bed of this volume."""
        if self.shape is Shape.CONE:
            if not 0 < self.half_angle_deg < 90:
                raise ValueError(_("Half the angle of a cone lies between 0° and 90°."))
            slope = pi * tan(radians(self.half_angle_deg)) ** 2
            bed, per_g = 3e3 * bed_mL / slope, 3e3 / (slope * DENSITY_G_ML)
            return lambda standing_g: float((bed + per_g * standing_g) ** (1 / 3))
        if not 0 < self.diameter_mm < inf:
            raise ValueError(_("The diameter of a brewer must be above 0 mm."))
        area_mm2 = pi * self.diameter_mm**2 / 4
        depth, rise = 1e3 * bed_mL / area_mm2, 1e3 / (area_mm2 * DENSITY_G_ML)
        return lambda standing_g: depth + rise * standing_g


def conductance_m2_s(
    permeability_m2: float,
    depth_m: float,
    area_m2: float,
    paper_per_m: float = 0.0,
    temperature_C: float = REFERENCE_C,
) -> float:
    """C = rho g A/(mu (L/k + Rp)): bed and paper in series (Bear 1972)."""
    weight = density_kg_m3(temperature_C) * GRAVITY_M_S2
    return weight * area_m2 / (viscosity_Pa_s(temperature_C) * (depth_m / permeability_m2 + paper_per_m))


# A bed and paper that nobody has measured: 5e-12 to 5e-11 m² and 1e8 to 1e9 per metre would do as well.
# Engineering estimates, no source
TYPICAL_PERMEABILITY_M2, TYPICAL_PAPER_PER_M = 1e-11, 5e8
# Of a cone, which drains through its side too, by the size that lets 250 g on 15 g end near 3:00
TYPICAL_CONDUCTANCE_M2_S = conductance_m2_s(TYPICAL_PERMEABILITY_M2, 0.025, 0.0025, TYPICAL_PAPER_PER_M)


@dataclass(frozen=True, slots=True)
class Bed:
    """conductance_m2_s: C at `REFERENCE_C`, outflow in m³/s per metre of head; clogging_per_g: by which share of
    its first value the resistance grows with each gram that has run out."""

    conductance_m2_s: float = TYPICAL_CONDUCTANCE_M2_S
    clogging_per_g: float = 0.0

    def __post_init__(self) -> None:
        if not 0 < self.conductance_m2_s < inf or not 0 <= self.clogging_per_g < inf:
            raise ValueError(_("A bed lets some water through, and clogs by nothing or more."))


def typical_bed(brewer: Brewer, dose_g: float) -> Bed:
    """What to reckon with until the bed is fitted."""
    if brewer.shape is Shape.CONE or dose_g <= 0:
        return Bed()
    depth_m = brewer.surface_mm(WET_BED_ML_PER_G * dose_g)(0.0) / 1e3
    area_m2 = pi * (brewer.diameter_mm / 2e3) ** 2
    return Bed(conductance_m2_s(TYPICAL_PERMEABILITY_M2, depth_m, area_m2, TYPICAL_PAPER_PER_M))


def _fluidity(temperature_C: float) -> float:
    return density_kg_m3(temperature_C) / viscosity_Pa_s(temperature_C)


# one value per degree: between them a straight line is within 1e-4
_FLUIDITY = [_fluidity(WATER_MIN_C + i) / _fluidity(REFERENCE_C) for i in range(int(WATER_MAX_C) + 1)]


def relative_fluidity(temperature_C: float) -> float:
    """How much faster water of this temperature drains than at `REFERENCE_C`."""
    below = min(max(int(temperature_C), 0), len(_FLUIDITY) - 2)
    return _FLUIDITY[below] + (temperature_C - below) * (_FLUIDITY[below + 1] - _FLUIDITY[below])
