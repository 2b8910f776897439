"""Guessing passwords is slowed by name, by address and over all; a device that is known stays free.

django-axes counts and locks by name and by address. Two rules are ours: somebody who signed in from this device
before is not locked out by a stranger who guesses at their name or behind their address, and many guesses from
everywhere at once slow all devices that nobody knows.
"""

import logging
from datetime import datetime, timedelta
from typing import Any

from axes.handlers.database import AxesDatabaseHandler
from django.conf import settings
from django.db.models import Count, Max
from django.http import HttpRequest
from django.utils import timezone

from workshop.models import SignIn, WrongPassword
from workshop.people.members import hashed

log = logging.getLogger("workshop.guessing")

DEVICE_COOKIE = "device"
# Even a known device does not guess for ever: four times what a stranger may.
KNOWN_DEVICE_FACTOR = 4
# Wrong passwords in one cool-off from everywhere together, beyond which devices that nobody knows have to wait.
MOST_FROM_EVERYWHERE = 100
KEPT = timedelta(days=30)


class Guessing(AxesDatabaseHandler):
    """The handler of django-axes, with a limit over all names and addresses together."""

    def is_locked(self, request: HttpRequest, credentials: dict[str, Any] | None = None) -> bool:
        """Return whether this name or address, or every device that nobody knows, has to wait."""
        if super().is_locked(request, credentials):
            return True
        if _lately(timezone.now(), known=False) < MOST_FROM_EVERYWHERE:
            return False
        log.warning("Passwords are being guessed from many places; devices that nobody knows have to wait.")
        return True

    def user_login_failed(
        self, sender: Any, credentials: dict[str, Any], request: HttpRequest | None = None, **kwargs: Any
    ) -> None:
        """Note a wrong password that was really tried, then let django-axes count it."""
        if request is not None and not getattr(request, "axes_locked_out", False):
            at = timezone.now()
            WrongPassword.objects.filter(at__lt=at - KEPT).delete()
            WrongPassword.objects.create(
                name=str(credentials.get("username", "")).replace("\0", "")[:150],
                address=request.META.get("REMOTE_ADDR") or None,
                known=_is_known_device(request, credentials),
                at=at,
            )
        super().user_login_failed(sender, credentials, request, **kwargs)


def is_known_here(request: HttpRequest, credentials: dict[str, Any] | None = None) -> bool:
    """Return whether the person of this name signed in from this device before, and does not guess from it now."""
    name = (credentials or {}).get("username", "")
    few = settings.AXES_FAILURE_LIMIT * KNOWN_DEVICE_FACTOR
    return _is_known_device(request, credentials) and _lately(timezone.now(), name=name, known=True) < few


def guesses(at: datetime, *, most: int = 20) -> list[Any]:
    """Return the names and addresses with wrong passwords in the last month, each with how often and when last."""
    rows = WrongPassword.objects.filter(at__gt=at - KEPT).order_by().values("name", "address")
    return list(rows.annotate(times=Count("pk"), last=Max("at")).order_by("-last")[:most])


def _is_known_device(request: HttpRequest, credentials: dict[str, Any] | None) -> bool:
    name, cookie = (credentials or {}).get("username", ""), request.COOKIES.get(DEVICE_COOKIE, "")
    if not (name and cookie):
        return False
    return SignIn.objects.filter(user__username=name, device=hashed(cookie), user__is_active=True).exists()


def _lately(at: datetime, **by: Any) -> int:
    since = at - timedelta(hours=settings.AXES_COOLOFF_TIME)
    return WrongPassword.objects.filter(at__gt=since, **by).count()
