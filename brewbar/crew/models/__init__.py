"""Companies, cafés, people, their ways in, and the record of what they changed."""

from brewbar.crew.models.changes import Change
from brewbar.crew.models.companies import (
    Cafe,
    Company,
    DateOrder,
    DecimalMark,
    Naming,
    NamingChange,
    Station,
    TemperatureUnit,
    check_time_zone,
)
from brewbar.crew.models.doors import OneTimeLink, Tablet
from brewbar.crew.models.keys import Answered, Key, Scope
from brewbar.crew.models.people import Membership, Role, User, UserManager

__all__ = [
    "Answered",
    "Cafe",
    "Change",
    "Company",
    "DateOrder",
    "DecimalMark",
    "Key",
    "Membership",
    "Naming",
    "NamingChange",
    "OneTimeLink",
    "Role",
    "Scope",
    "Station",
    "Tablet",
    "TemperatureUnit",
    "User",
    "UserManager",
    "check_time_zone",
]
