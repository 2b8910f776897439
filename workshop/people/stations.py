"""Stations: a tablet at a machine that stays signed in, on which people choose themselves by a PIN."""

import secrets
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.hashers import check_password, make_password
from django.contrib.auth.models import User
from django.db import transaction
from django.utils.translation import gettext as _

from inventory.acting import held
from inventory.compute.errors import WorkshopError
from planning.models import Job, Machine
from workshop.models import Member, Station
from workshop.people.members import hashed, role_of
from workshop.people.rights import Right, right_of

STATION_COOKIE = "station"
SHORTEST_PIN, LONGEST_PIN = 4, 8
MOST_WRONG_PINS = 5
SHUT_FOR = timedelta(minutes=5)
# Whoever chose themselves and left the tablet alone is let go after this time.
STAYS_CHOSEN = timedelta(minutes=20)


class BadPin(WorkshopError):
    """The PIN cannot be used, or is not right."""


@transaction.atomic
def set_up_station(name: str, *, machine: Machine, at: datetime, by: Any) -> tuple[Station, str]:
    """Return a new station at ``machine`` and the secret that its tablet is to carry. Raises WorkshopError."""
    if Station.objects.filter(name__iexact=name.strip()).exists():
        raise WorkshopError(
            _("There is a station called {name} already. Give this one another name.").format(
                name=name.strip()
            )
        )
    secret = secrets.token_urlsafe(32)
    station = Station.objects.create(
        name=name.strip(), machine=machine, secret_sha256=hashed(secret), made_at=at, by=by
    )
    return station, secret


@transaction.atomic
def end_station(station: Station, *, at: datetime) -> None:
    """Let the tablet of ``station`` in no more."""
    station.ended_at = at
    station.save(update_fields=["ended_at"])


@transaction.atomic
def let_tablet_in(secret: str) -> tuple[Station, str] | None:
    """Return the station of a link and the new secret that its tablet is to carry; the link is spent with it."""
    carried = secrets.token_urlsafe(32)
    station = station_of(secret)
    spent = Station.objects.filter(secret_sha256=hashed(secret), ended_at__isnull=True)
    return (station, carried) if station and spent.update(secret_sha256=hashed(carried)) else None


def station_of(secret: str) -> Station | None:
    """Return the station whose tablet carries this secret, or None."""
    if not secret:
        return None
    return (
        Station.objects.filter(secret_sha256=hashed(secret), ended_at__isnull=True)
        .select_related("machine")
        .first()
    )


def people_at_stations() -> list[User]:
    """Return who may choose themselves at a station: those who may stitch and have a PIN."""
    members = Member.objects.exclude(pin="").filter(user__is_active=True).select_related("user")
    return sorted(
        (each.user for each in members if right_of(each.role) >= Right.STITCH),
        key=lambda user: user.get_username().casefold(),
    )


@transaction.atomic
def set_pin(user: User, pin: str) -> None:
    """Give ``user`` a PIN of four to eight digits, or none for an empty one. Raises BadPin."""
    if pin and not (pin.isascii() and pin.isdigit() and SHORTEST_PIN <= len(pin) <= LONGEST_PIN):
        raise BadPin(
            _("A PIN is {shortest} to {longest} digits.").format(shortest=SHORTEST_PIN, longest=LONGEST_PIN)
        )
    if pin and (len(set(pin)) == 1 or pin in "01234567890 9876543210"):
        raise BadPin(
            _("That PIN is the first that anybody would try. Choose digits that do not follow each other.")
        )
    member, _is_new = Member.objects.get_or_create(user=user, defaults={"role": role_of(user)})
    member.pin = make_password(pin) if pin else ""
    member.pin_failures, member.pin_shut_until = 0, None
    member.save()


def choose_person(user_id: int, pin: str, *, at: datetime) -> User:
    """Return the person who chose themselves with their PIN. Raises BadPin; five wrong ones shut it for a while.

    A wrong try is counted in a transaction of its own, so that the refusal does not take the count back.
    """
    with transaction.atomic():
        member = held(Member.objects.filter(user_id=user_id, user__is_active=True)).first()
        if member is None or not member.pin or right_of(member.role) < Right.STITCH:
            raise BadPin(_("This person has no PIN for stations. They set one under Settings."))
        if member.pin_shut_until and member.pin_shut_until > at:
            raise BadPin(
                _("The PIN was wrong too often. Wait five minutes, or sign in with name and password.")
            )
        right = check_password(pin, member.pin)
        member.pin_failures = 0 if right else member.pin_failures + 1
        if member.pin_failures >= MOST_WRONG_PINS:
            member.pin_failures, member.pin_shut_until = 0, at + SHUT_FOR
        member.save()
    if not right:
        raise BadPin(_("That PIN is not right."))
    return member.user


def is_about(station: Station, job_id: int) -> bool:
    """Return whether a job is stitched at the station's machine; one that names none is anybody's."""
    return Job.objects.filter(pk=job_id, machine_id__in=[station.machine_id]).exists() or (
        Job.objects.filter(pk=job_id, machine__isnull=True).exists()
    )
