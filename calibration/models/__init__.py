"""How well it is brewed: instruments and readings."""

from calibration.models.instruments import Refractometer
from calibration.models.readings import Drop, Reading

__all__ = ["Drop", "Reading", "Refractometer"]
