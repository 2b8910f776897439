"""What the site keeps: preferences, people and their roles, links, sign-ins, stations, tokens of programs."""

from workshop.models.people import Link, Member, Role, SignIn, Station, WrongPassword
from workshop.models.preferences import LengthUnit, Preference, SizeUnit, Theme, WeightUnit
from workshop.models.second import Passkey, RecoveryCode, SecondFactor, SignInRule, WrongSecond
from workshop.models.tokens import KeptAnswer, RequestCount, Token

__all__ = [
    "KeptAnswer",
    "LengthUnit",
    "Link",
    "Member",
    "Passkey",
    "Preference",
    "RecoveryCode",
    "RequestCount",
    "Role",
    "SecondFactor",
    "SignIn",
    "SignInRule",
    "SizeUnit",
    "Station",
    "Theme",
    "Token",
    "WeightUnit",
    "WrongPassword",
    "WrongSecond",
]
