"""What a person shows beside the password: an app's codes, a passkey, or a recovery code."""

from django.conf import settings
from django.db import models


class SecondFactor(models.Model):
    """The app of a person that shows a new code every half minute (RFC 6238)."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="second_factor")
    secret = models.CharField(max_length=64)
    # The half minute of the last code that was taken, so that none is taken twice (RFC 6238, 5.2).
    last_step = models.BigIntegerField(default=0)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"codes of {self.user}"


class Passkey(models.Model):
    """A passkey of a person: what is public of it."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="passkeys")
    name = models.CharField(max_length=60)
    credential = models.CharField(max_length=400, unique=True)  # base64url, as browsers write it
    public_key = models.TextField()  # base64url
    sign_count = models.BigIntegerField(default=0)
    made_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)  # NULL: never used yet

    class Meta:
        ordering = ["name", "id"]

    def __str__(self) -> str:
        return self.name


class RecoveryCode(models.Model):
    """A code that stands once for the app or the passkey that was lost; only its hash is kept."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="recovery_codes")
    code_sha256 = models.CharField(max_length=64, unique=True)
    used_at = models.DateTimeField(null=True)  # NULL: still good

    def __str__(self) -> str:
        return f"recovery code of {self.user}"


class WrongSecond(models.Model):
    """A wrong code of somebody who knew the password."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return f"{self.user} at {self.at:%Y-%m-%d %H:%M}"


class SignInRule(models.Model):
    """What the workshop asks of those who sign in: one row, which need not be there."""

    owners_need_second = models.BooleanField(default=False)

    def __str__(self) -> str:
        return "rules of signing in"

    @classmethod
    def current(cls) -> "SignInRule":
        return cls.objects.filter(pk=1).first() or cls(pk=1)
