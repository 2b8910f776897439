"""What finished jobs taught about a machine and a thread range."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class Observation(models.Model):
    """Actual against estimated, once: thread in mm, time in minutes.

    Never changed but for what a person ``said``: that it counts in full, however odd, or that it does not count.
    """

    class Kind(models.TextChoices):
        NEEDLE = "needle", _("needle thread")
        BOBBIN = "bobbin", _("bobbin thread")
        TIME = "time", _("machine time")

    kind = models.CharField(max_length=6, choices=Kind.choices)
    machine = models.ForeignKey("planning.Machine", on_delete=models.CASCADE, related_name="observations")
    # NULL for time, and for bobbins of no known thread.
    range = models.ForeignKey(
        "inventory.ThreadRange", null=True, blank=True, on_delete=models.PROTECT, related_name="observations"
    )
    job = models.ForeignKey("planning.Job", null=True, on_delete=models.SET_NULL, related_name="observations")
    estimated = models.FloatField(help_text="Before the factor.")
    actual = models.FloatField()
    sigma = models.FloatField(help_text="Of the actual, from measuring alone.")
    # Of what was stitched: how its geometry changes with the draw-in κ, as ∂ ln length / ∂κ, and the κ it was reckoned
    # with. NULL on what was observed before these were kept, and for time.
    kappa_slope = models.FloatField(null=True)
    kappa = models.FloatField(null=True)
    # NULL where nobody has said whether it counts.
    said = models.BooleanField(null=True, blank=True)
    why = models.CharField("why it is left out", max_length=120, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=80, unique=True)

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="observation_teaches_something", condition=Q(estimated__gt=0, actual__gt=0, sigma__gte=0)
            ),
        ]
        indexes = [models.Index(fields=["machine", "kind", "range"])]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.actual:g} for {self.estimated:g}"


class FactorReset(models.Model):
    """From here on, what was observed before counts no more: the machine was serviced, or the thread changed."""

    kind = models.CharField(max_length=6, choices=Observation.Kind.choices)
    machine = models.ForeignKey("planning.Machine", on_delete=models.CASCADE, related_name="resets")
    range = models.ForeignKey(
        "inventory.ThreadRange", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"{self.machine} {self.get_kind_display()} from {self.at:%Y-%m-%d}"


class ToldChange(models.Model):
    """A person's word that the machine was set otherwise, its tension above all: what was known is known less now."""

    machine = models.ForeignKey("planning.Machine", on_delete=models.CASCADE, related_name="told_changes")
    what = models.CharField(max_length=120, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=80, unique=True)

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"{self.machine} set otherwise on {self.at:%Y-%m-%d}"
