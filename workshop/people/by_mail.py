"""A link to a new password by mail, for whoever forgot it; every address is answered alike, whoever has it."""

import hashlib
import logging
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.core.mail import send_mail
from django.template.loader import render_to_string
from django.urls import get_script_prefix, reverse
from django.utils import translation
from django.utils.translation import gettext as _

from workshop.middleware import language_of
from workshop.models import Link
from workshop.people.members import RESETS_LAST, reset_link

logger = logging.getLogger(__name__)

# So many links an hour are sent to one person, whoever asks for them, and so many requests a minute are heard from
# one address of the network.
MOST_AN_HOUR, MOST_A_MINUTE = 3, 5


def asked_key(address: str, *, at: datetime) -> str:
    """Return the key of the work that answers to ``address``: asked for twice in a minute it is done once."""
    asked = hashlib.sha256(address.strip().casefold().encode()).hexdigest()
    return f"forgotten {asked[:40]} {int(at.timestamp() // 60)}"


def send_reset_links(address: str, *, at: datetime) -> int:
    """Send a link to a new password to everybody who gave this address, and return how many were sent.

    Nobody who asks is told which: the page answers before anybody looks.
    """
    sent = 0
    for user in User.objects.filter(email__iexact=address.strip(), is_active=True):
        lately = Link.objects.filter(
            user=user, purpose=Link.Purpose.RESET, by=None, made_at__gt=at - timedelta(hours=1)
        )
        if lately.count() >= MOST_AN_HOUR:
            logger.warning("%s was sent %s links within an hour; no more are.", user, MOST_AN_HOUR)
            continue
        _send(user, reset_link(user, at=at, by=None))
        sent += 1
    return sent


def give_address(user: User, address: str) -> None:
    """Keep where ``user`` is written to; empty for nowhere."""
    user.email = address.strip()
    user.save(update_fields=["email"])


def _send(user: User, secret: str) -> None:
    site = settings.BASE_URL
    assert site is not None  # without, nothing is sent at all
    # A thread beside requests knows no sub-path: the address that the owner set has it.
    way = reverse("reset_password", args=[secret]).removeprefix(get_script_prefix())
    told: dict[str, Any] = {
        "name": user.get_username(),
        # Of the address that the owner set, never of what a request says of itself.
        "link": f"{site.origin}{site.path}{way}",
        "hours": int(RESETS_LAST.total_seconds() // 3600),
    }
    with translation.override(language_of(user)):
        send_mail(
            _("A new password for Enough Thread"),
            render_to_string("workshop/people/reset_mail.txt", told),
            settings.DEFAULT_FROM_EMAIL,
            [user.email],
        )
