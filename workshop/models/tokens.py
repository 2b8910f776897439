"""How programs come in: tokens, what each of their requests was answered, and how many they made."""

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import Q


class TokenQuerySet(models.QuerySet["Token"]):
    """Questions about tokens."""

    def open(self, at: datetime) -> "TokenQuerySet":
        """Tokens that let a program in at this moment."""
        return self.filter(ended_at__isnull=True, ends_at__gt=at, user__is_active=True)


class Token(models.Model):
    """A program's way in. It speaks for a person, and may do at most what they may; only its hash is kept."""

    name = models.CharField(max_length=60)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="tokens")
    # One of workshop.people.rights.Right: see, stitch or plan.
    right = models.PositiveSmallIntegerField()
    # Only runs of this station's machine, and what it does is noted as done there; NULL for a program of none.
    station = models.ForeignKey("workshop.Station", models.CASCADE, null=True, related_name="tokens")
    secret_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    ends_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)  # NULL: never used yet
    ended_at = models.DateTimeField(null=True)  # NULL: nobody ended it before its time

    objects = TokenQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(right__gte=2, right__lte=4), name="token_right_known")
        ]

    def __str__(self) -> str:
        return self.name


class KeptAnswer(models.Model):
    """What a program's request was answered, by its person and its key, so that sent again it does nothing."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    key = models.CharField(max_length=64)
    request_sha256 = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(default=200)
    body = models.TextField(blank=True)
    at = models.DateTimeField(db_index=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "key"], name="a_key_answers_once")]

    def __str__(self) -> str:
        return f"{self.status} to {self.key}"


class RequestCount(models.Model):
    """How many requests came of one token, or from one address without any, within one minute."""

    who = models.CharField(max_length=80)
    minute = models.BigIntegerField()  # since 1970
    count = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["who", "minute"], name="counted_once_a_minute")]
        indexes = [models.Index(fields=["minute"])]

    def __str__(self) -> str:
        return f"{self.count} of {self.who}"
