"""Who belongs to the workshop, what they may do, and where they are signed in."""

from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import models
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _


class Role(models.TextChoices):
    """What a person is here for; each may do all that the ones before it may."""

    VIEWER = "viewer", _("viewer")
    STITCHER = "stitcher", _("stitcher")
    PLANNER = "planner", _("planner")
    OWNER = "owner", _("owner")


class Member(models.Model):
    """A person's place in the workshop. ``pin`` is hashed; empty where they never chose one."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="member")
    role = models.CharField(max_length=10, choices=Role, default=Role.VIEWER)
    pin = models.CharField(max_length=128, blank=True)
    pin_failures = models.PositiveSmallIntegerField(default=0)
    pin_shut_until = models.DateTimeField(null=True)  # NULL: open

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="member_role_known")
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.role}"


class LinkQuerySet(models.QuerySet["Link"]):
    """Questions about links."""

    def open(self, at: datetime) -> "LinkQuerySet":
        return self.filter(used_at__isnull=True, ends_at__gt=at)


class Link(models.Model):
    """An address that lets somebody in once: as the first owner, as a new person, or to a new password.

    Only the hash of its secret is kept, so that whoever reads the database cannot use it.
    """

    class Purpose(models.TextChoices):
        """What following it does."""

        OPEN = "open", _("open the workshop")
        JOIN = "join", _("join")
        RESET = "reset", _("new password")

    purpose = models.CharField(max_length=5, choices=Purpose)
    role = models.CharField(max_length=10, choices=Role)
    secret_sha256 = models.CharField(max_length=64, unique=True)
    what = models.CharField(max_length=150, blank=True)  # for whom, in the words of who made it
    user = models.ForeignKey(  # whose password; NULL but for a reset
        settings.AUTH_USER_MODEL, models.CASCADE, null=True, related_name="links_for"
    )
    made_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="links_made")
    ends_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)  # NULL: nobody followed it yet

    objects = LinkQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} as {self.role}"


class SignIn(models.Model):
    """One device on which a person is, or was, signed in. ``device`` is the hash of the cookie it carries."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="sign_ins")
    session_key = models.CharField(max_length=40, db_index=True)
    device = models.CharField(max_length=64, blank=True, db_index=True)
    told = models.CharField(max_length=200, blank=True)  # what the browser says it is
    address = models.GenericIPAddressField(null=True)
    at = models.DateTimeField()
    seen_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)  # NULL: still signed in, as far as is known

    class Meta:
        ordering = ["-seen_at"]

    def __str__(self) -> str:
        return f"{self.user} since {self.at:%Y-%m-%d %H:%M}"

    @property
    def device_in_words(self) -> str:
        """What kind of thing it is, as far as its browser says: a phone, a tablet or a computer."""
        told = self.told.lower()
        if "tablet" in told:
            return gettext("a tablet")
        if "mobi" in told:
            return gettext("a phone")
        return gettext("a computer") if told else gettext("a device that does not say what it is")


class WrongPassword(models.Model):
    """One wrong password that was really tried; those refused while somebody is locked out are not."""

    name = models.CharField(max_length=150)
    address = models.GenericIPAddressField(null=True)
    known = models.BooleanField()  # whether the person of that name signed in from this device before
    at = models.DateTimeField(db_index=True)

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"{self.name} from {self.address}"


class Station(models.Model):
    """A tablet that stays at one machine. People choose themselves on it by a PIN for what they tick."""

    name = models.CharField(max_length=60, unique=True)
    machine = models.ForeignKey("planning.Machine", models.CASCADE, related_name="stations")
    secret_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    by: Any = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    seen_at = models.DateTimeField(null=True)  # NULL: never used yet
    ended_at = models.DateTimeField(null=True)  # NULL: in use

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name
