"""How well it is brewed: instruments and readings."""

from calibration.models.bands import BandChoice
from calibration.models.instruments import InstrumentCheck, Refractometer
from calibration.models.readings import Drop, Reading

__all__ = ["BandChoice", "Drop", "InstrumentCheck", "Reading", "Refractometer"]
