"""Where people are signed in: noted when they come, ended from any other device."""

import secrets
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.models import User
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.contrib.sessions.models import Session
from django.db import transaction
from django.dispatch import receiver
from django.http import HttpRequest
from django.utils import timezone

from workshop.models import SignIn
from workshop.people.guessing import DEVICE_COOKIE
from workshop.people.members import hashed

# "Seen" is told to a person in minutes; writing it at every request would be a write for every look.
SEEN_EVERY = timedelta(minutes=5)


@receiver(user_logged_in, dispatch_uid="workshop.sign_ins.note")
def note_sign_in(request: HttpRequest, user: User, **_: Any) -> None:
    """Keep a row for the device on which ``user`` has just signed in; the guard gives it the cookie."""
    if request is None or not request.session.session_key:
        request and request.session.save()  # type: ignore[func-returns-value]
    if request is None:
        return
    secret = request.COOKIES.get(DEVICE_COOKIE) or secrets.token_urlsafe(24)
    request.device_secret = secret  # type: ignore[attr-defined]
    at = timezone.now()
    request.session["seen_at"] = at.timestamp()
    SignIn.objects.create(
        user=user,
        session_key=request.session.session_key or "",
        device=hashed(secret),
        told=request.headers.get("User-Agent", "")[:200],
        address=request.META.get("REMOTE_ADDR") or None,
        at=at,
        seen_at=at,
    )


@receiver(user_logged_out, dispatch_uid="workshop.sign_ins.end")
def note_sign_out(request: HttpRequest, user: User | None, **_: Any) -> None:
    """Tell that this device was signed out."""
    if user is not None and request.session.session_key:
        SignIn.objects.filter(session_key=request.session.session_key).update(ended_at=timezone.now())


def note_seen(request: HttpRequest, *, at: datetime) -> None:
    """Write down that this device was used, at most every five minutes."""
    last = request.session.get("seen_at", 0.0)
    if at.timestamp() - last < SEEN_EVERY.total_seconds():
        return
    request.session["seen_at"] = at.timestamp()
    SignIn.objects.filter(session_key=request.session.session_key, ended_at__isnull=True).update(seen_at=at)


@transaction.atomic
def end_sign_in(sign_in: SignIn, *, at: datetime) -> None:
    """Sign that device out; whoever uses it is asked for name and password again."""
    Session.objects.filter(session_key=sign_in.session_key).delete()
    sign_in.ended_at = at
    sign_in.save(update_fields=["ended_at"])
