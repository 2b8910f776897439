"""What was edited in the catalogue, by whom and when."""

from django.conf import settings
from django.db import models
from django.db.models import Q


class Change(models.Model):
    """One edit of a catalogue record: field by field, before and after."""

    table = models.CharField(max_length=40)
    record = models.BigIntegerField()
    what = models.CharField(max_length=200)
    fields = models.JSONField(default=dict)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    station = models.CharField(
        max_length=60, null=True
    )  # the tablet at which it was done; NULL where at none
    # Of the request that asked for the edit, so that a late repetition does not undo a newer one; may be empty.
    key = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["key"], condition=~Q(key=""), name="key_edits_once"),
        ]
        indexes = [models.Index(fields=["table", "record"])]

    def __str__(self) -> str:
        return f"{self.what} ({self.table} {self.record})"
