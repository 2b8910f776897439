"""People come, change their part, and leave; each by a link that works once."""

import hashlib
import secrets
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.db import connection, transaction
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from workshop.models import Link, Member, Role, SignIn

LINKS_LAST = {Link.Purpose.OPEN: timedelta(days=1), Link.Purpose.JOIN: timedelta(days=7)}
RESETS_LAST = timedelta(hours=4)


class AlreadyOpen(WorkshopError):
    """Somebody made the first account before; the text says how to go on."""

    def __init__(self) -> None:
        super().__init__(
            _("This workshop already has an account. Sign in with it, or ask the person who has it for one.")
        )


class LinkSpent(WorkshopError):
    """The link was used, has ended, or never was."""

    def __init__(self) -> None:
        super().__init__(
            _("This link was used already, or its time is over. Ask the person who sent it for a new one.")
        )


class LastOwner(WorkshopError):
    """Without an owner nobody could let anybody in."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "This is the only owner. Make somebody else an owner first; without one nobody could invite people."
            )
        )


def role_of(user: User) -> str:
    """Return the role of an account; one made at the command line as superuser is an owner."""
    member = Member.objects.filter(user=user).first()
    if member:
        return member.role
    return Role.OWNER if user.is_superuser else Role.VIEWER


def hashed(secret: str) -> str:
    """Return the hash under which a link's or a station's secret is kept: long random secrets need no salt."""
    return hashlib.sha256(secret.encode()).hexdigest()


@transaction.atomic
def opening_link(*, at: datetime) -> str | None:
    """Return the secret of a new link that makes the first owner, or None where there is an account already.

    Links printed before end with it, so that the one on the screen is the one that works.
    """
    _one_at_a_time()
    if User.objects.exists():
        return None
    Link.objects.filter(purpose=Link.Purpose.OPEN).open(at).update(ends_at=at)
    return _link(Link.Purpose.OPEN, Role.OWNER, at=at, lasts=LINKS_LAST[Link.Purpose.OPEN])


@transaction.atomic
def invite(role: str, *, what: str = "", at: datetime, by: Any) -> str:
    """Return the secret of a link by which one person joins in this role within seven days."""
    return _link(Link.Purpose.JOIN, Role(role), what=what, at=at, by=by, lasts=LINKS_LAST[Link.Purpose.JOIN])


@transaction.atomic
def reset_link(user: User, *, at: datetime, by: Any) -> str:
    """Return the secret of a link by which ``user`` chooses a new password within four hours."""
    Link.objects.filter(purpose=Link.Purpose.RESET, user=user).open(at).update(ends_at=at)
    return _link(Link.Purpose.RESET, role_of(user), user=user, at=at, by=by, lasts=RESETS_LAST)


def link_of(secret: str, *, purpose: str, at: datetime) -> Link:
    """Return the open link with this secret. Raises LinkSpent."""
    found = Link.objects.filter(secret_sha256=hashed(secret), purpose=purpose).open(at).first()
    if found is None:
        raise LinkSpent
    return found


@transaction.atomic
def join(secret: str, *, name: str, password: str, purpose: str = Link.Purpose.JOIN, at: datetime) -> User:
    """Return the new account of whoever followed a link, in the role it gives. Raises LinkSpent, AlreadyOpen."""
    _one_at_a_time()
    if purpose == Link.Purpose.OPEN and User.objects.exists():
        raise AlreadyOpen
    link = _spend(secret, purpose=purpose, at=at)
    user = User.objects.create_user(name, password=password)
    Member.objects.create(user=user, role=link.role)
    return user


@transaction.atomic
def reset_password(secret: str, *, password: str, at: datetime) -> User:
    """Return the account whose password is now ``password``; all its devices are signed out. Raises LinkSpent."""
    user = _spend(secret, purpose=Link.Purpose.RESET, at=at).user
    assert user is not None  # a reset is for somebody
    user.set_password(password)
    user.save()
    end_all_sign_ins(user, at=at)
    return user


@transaction.atomic
def make_first_account(name: str, *, password: str) -> User:
    """Return the account of the person who opens the workshop; refuse once any account exists."""
    _one_at_a_time()
    if User.objects.exists():
        raise AlreadyOpen
    user = User.objects.create_user(name, password=password)
    Member.objects.create(user=user, role=Role.OWNER)
    return user


@transaction.atomic
def give_role(user: User, role: str) -> Member:
    """Return the member in another role. Raises LastOwner rather than leave the workshop without one."""
    _one_at_a_time()
    if role != Role.OWNER:
        _refuse_last_owner(user)
    member, _is_new = Member.objects.update_or_create(user=user, defaults={"role": Role(role)})
    return member


@transaction.atomic
def leave(user: User, *, at: datetime) -> None:
    """Let ``user`` leave: the account is switched off and signed out; what it booked keeps its name."""
    _one_at_a_time()
    _refuse_last_owner(user)
    user.is_active = False
    user.save(update_fields=["is_active"])
    end_all_sign_ins(user, at=at)


@transaction.atomic
def come_back(user: User) -> None:
    """Switch the account of somebody who left on again, in the role it had."""
    user.is_active = True
    user.save(update_fields=["is_active"])


def end_all_sign_ins(user: User, *, at: datetime, but_not: str = "") -> int:
    """Sign ``user`` out everywhere, but for the session ``but_not``; return how many devices that were."""
    open_ones = SignIn.objects.filter(user=user, ended_at__isnull=True).exclude(session_key=but_not or "-")
    Session.objects.filter(session_key__in=open_ones.values("session_key")).delete()
    return open_ones.update(ended_at=at)


def _refuse_last_owner(user: User) -> None:
    owners = [each.pk for each in User.objects.filter(is_active=True) if role_of(each) == Role.OWNER]
    if owners == [user.pk]:
        raise LastOwner


def _link(purpose: str, role: str, *, at: datetime, lasts: timedelta, by: Any = None, **more: Any) -> str:
    secret = secrets.token_urlsafe(32)
    Link.objects.create(
        purpose=purpose,
        role=role,
        secret_sha256=hashed(secret),
        made_at=at,
        ends_at=at + lasts,
        by=by,
        **more,
    )
    return secret


def _spend(secret: str, *, purpose: str, at: datetime) -> Link:
    """Return the link, used now: of two who follow it at once one gets it."""
    link = link_of(secret, purpose=purpose, at=at)
    if not Link.objects.filter(pk=link.pk, used_at__isnull=True).update(used_at=at):
        raise LinkSpent
    return link


def _one_at_a_time() -> None:
    # SQLite's transactions are IMMEDIATE: this one already holds the only place in the queue.
    if connection.vendor == "postgresql":
        table = connection.ops.quote_name(Member._meta.db_table)
        with connection.cursor() as cursor:
            cursor.execute(f"LOCK TABLE {table} IN SHARE ROW EXCLUSIVE MODE")
