"""What the site keeps: preferences, people and their roles, links, sign-ins, stations."""

from workshop.models.people import Link, Member, Role, SignIn, Station, WrongPassword
from workshop.models.preferences import LengthUnit, Preference, SizeUnit, Theme, WeightUnit

__all__ = [
    "LengthUnit",
    "Link",
    "Member",
    "Preference",
    "Role",
    "SignIn",
    "SizeUnit",
    "Station",
    "Theme",
    "WeightUnit",
    "WrongPassword",
]
