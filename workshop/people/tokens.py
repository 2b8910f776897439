"""Tokens let programs in: made by an owner, shown once, narrower than their person, ending, ended at once."""

import secrets
import threading
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from workshop.models import RequestCount, Station, Token
from workshop.people.members import hashed, role_of
from workshop.people.rights import Right, in_words, right_of

# So that a token is known for one where it should not be, in a log or among files.
BEGINS = "thread_"
RIGHTS = (Right.SEE, Right.STITCH, Right.PLAN)
LONGEST_DAYS, USUAL_DAYS = 366, 90
SEEN_EVERY = timedelta(minutes=5)
# What is answered within a minute is counted in so many parts: one more or less of each process is let through.
COUNTED_IN = 60
COUNTS_KEPT_MINUTES = 60
# Of each who is counted: the minute, the count that was last written or read, and how many came since.
_counts: dict[str, tuple[int, int, int]] = {}
_counting = threading.Lock()


@transaction.atomic
def make_token(
    name: str,
    *,
    user: User,
    right: Right,
    at: datetime,
    by: Any,
    days: int = USUAL_DAYS,
    station: Station | None = None,
) -> tuple[Token, str]:
    """Return a new token and its secret, which is kept nowhere. Raises WorkshopError for more than ``user`` may."""
    if not name.strip():
        raise WorkshopError(_("A token needs a name that says which program or scale has it."))
    if not 1 <= days <= LONGEST_DAYS:
        raise WorkshopError(
            _("A token lasts 1 to {longest} days, not {days}.").format(longest=LONGEST_DAYS, days=days)
        )
    if right not in RIGHTS:
        raise WorkshopError(_("Programs may look, stitch or plan; people are let in by people alone."))
    if right > right_of(role_of(user)):
        raise WorkshopError(
            _("{user} may not {do_this}, so no token of theirs may.").format(
                user=user, do_this=in_words(right)
            )
        )
    secret = BEGINS + secrets.token_urlsafe(32)
    token = Token.objects.create(
        name=name.strip()[:60],
        user=user,
        right=right,
        station=station,
        secret_sha256=hashed(secret),
        made_at=at,
        by=by,
        ends_at=at + timedelta(days=days),
    )
    return token, secret


def end_token(token: Token, *, at: datetime) -> None:
    """Let programs in with ``token`` no more."""
    Token.objects.filter(pk=token.pk, ended_at__isnull=True).update(ended_at=at)


def token_of(secret: str, *, at: datetime) -> Token | None:
    """Return the open token with this secret, noted as used, or None."""
    if not secret.startswith(BEGINS):
        return None
    found = (
        Token.objects.open(at).filter(secret_sha256=hashed(secret)).select_related("user", "station__machine")
    )
    token = found.first()
    if token is None or (token.station and token.station.ended_at):
        return None
    if token.used_at is None or at - token.used_at > SEEN_EVERY:
        Token.objects.filter(pk=token.pk).update(used_at=at)
    return token


def right_of_token(token: Token) -> Right:
    """Return the most that ``token`` may do now: never more than its person, and at a station no more than stitch."""
    right = min(Right(token.right), right_of(role_of(token.user)))
    return min(right, Right.STITCH) if token.station_id else right


def counted(who: str, *, at: datetime, most: int) -> int:
    """Return how many requests of ``who`` this is within its minute, of the ``most`` that are answered.

    They are counted in the database for all site processes, some at a time where many are answered: each count is
    written, and whatever is written has everything read anew that is kept only for as long as nothing is.
    """
    minute = int(at.timestamp() // 60)
    with _counting:
        of, known, since = _counts.get(who, (minute, 0, 0))
        known, since = (known, since + 1) if of == minute else (0, 1)
        if since < max(1, most // COUNTED_IN):
            _counts[who] = (minute, known, since)
            return known + since
        _counts.pop(who, None)
    known = _add_to_count(who, minute, since)
    with _counting:
        _, _, meanwhile = _counts.get(who, (minute, 0, 0))
        _counts[who] = (minute, known, meanwhile)
        for other in [each for each, (of, *_) in _counts.items() if of != minute]:
            del _counts[other]
    return known


def _add_to_count(who: str, minute: int, more: int) -> int:
    """Return the count of a minute after ``more`` requests."""
    this = RequestCount.objects.filter(who=who, minute=minute)
    if not this.update(count=F("count") + more):
        try:
            with transaction.atomic():
                RequestCount.objects.create(who=who, minute=minute, count=more)
        except IntegrityError:  # another process was the first of this minute
            this.update(count=F("count") + more)
        else:
            RequestCount.objects.filter(minute__lt=minute - COUNTS_KEPT_MINUTES).delete()
            return more
    return this.values_list("count", flat=True).first() or more
