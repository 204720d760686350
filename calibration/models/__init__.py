"""How well it is brewed: instruments, readings, the shift check, and what it made somebody look at."""

from calibration.models.bands import BandChoice
from calibration.models.checks import CheckPlan, CheckRun, OnDuty
from calibration.models.imports import Import
from calibration.models.instruments import InstrumentCheck, Refractometer
from calibration.models.readings import Drop, Reading
from calibration.models.signals import FollowUp, Signal, SignalNote

__all__ = [
    "BandChoice",
    "CheckPlan",
    "CheckRun",
    "Drop",
    "FollowUp",
    "Import",
    "InstrumentCheck",
    "OnDuty",
    "Reading",
    "Refractometer",
    "Signal",
    "SignalNote",
]
