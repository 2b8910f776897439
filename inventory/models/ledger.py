"""Every movement of stock, for good."""

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class EntryQuerySet(models.QuerySet["Entry"]):
    def of(self, item: models.Model) -> "EntryQuerySet":
        return self.filter(item_id=item.pk)

    def between(self, start: datetime, end: datetime) -> "EntryQuerySet":
        return self.filter(at__gte=start, at__lt=end)


class Entry(models.Model):
    """One movement: so much, of this, then, by whom, why. Never changed or deleted, by trigger.

    Several entries of one act share its ``key`` and are told apart by ``line``; the pair is unique, so the same
    request sent twice moves stock once.
    """

    class Reason(models.TextChoices):
        RECEIVE = "receive", _("received")
        USE = "use", _("used")
        WEIGH = "weigh", _("weighed")
        COUNT = "count", _("counted")
        WASTE = "waste", _("wasted")
        WIND = "wind", _("wound")
        CUT = "cut", _("cut")
        SPLIT = "split", _("split")
        RETIRE = "retire", _("taken off the shelf")
        REVERSE = "reverse", _("taken back")

    item = models.ForeignKey("inventory.StockItem", on_delete=models.PROTECT, related_name="entries")
    quantity = models.BigIntegerField()
    reason = models.CharField(max_length=8, choices=Reason.choices)
    at = models.DateTimeField()
    # NULL for what a command did without a person at the keyboard.
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    # The tablet at which it was done; NULL where at none, and nullable because of the triggers, as opened_before.
    station = models.CharField(max_length=60, null=True)
    reference = models.CharField(max_length=120, blank=True)
    key = models.CharField(max_length=80)
    line = models.PositiveSmallIntegerField(default=0)
    reverses = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="reversed_by")
    # What the entry found, so that taking it back can restore how the quantity was known.
    sigma_before = models.FloatField(null=True)
    known_before = models.CharField(max_length=8, blank=True)
    # In how many strips a length came off a roll; NULL for all else, and where nobody kept it. Nullable as the rest.
    strips = models.PositiveIntegerField(null=True)
    # NULL where the item had not been opened; nullable too because SQLite would rebuild the table for a default,
    # and drop its triggers.
    opened_before = models.DateField(null=True)

    objects = EntryQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-id"]
        verbose_name_plural = "entries"
        constraints = [
            models.UniqueConstraint(fields=["key", "line"], name="key_used_once"),
            models.CheckConstraint(
                name="reversal_names_what_it_reverses",
                condition=Q(reason="reverse", reverses__isnull=False)
                | (~Q(reason="reverse") & Q(reverses__isnull=True)),
            ),
        ]
        indexes = [
            models.Index(fields=["item", "at"]),
            # Hardly any entry reverses another. An index of them all looks useless to SQLite once ANALYZE has counted
            # its empty places, and it reads every entry instead; one of the reversals alone stays the way to them.
            models.Index(fields=["reverses"], name="entry_taken_back", condition=Q(reverses__isnull=False)),
        ]

    def __str__(self) -> str:
        return f"{self.quantity:+} {self.get_reason_display()} {self.item_id}"


class LandedRow(models.Model):
    """An entry that a row of an imported file made; the file goes by the first 32 figures of its SHA-256."""

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="landed_row")
    sha256 = models.CharField(max_length=32, db_index=True)

    def __str__(self) -> str:
        return f"{self.entry_id} of {self.sha256}"


class Reservation(models.Model):
    """Stock set aside for a holder, which is a plain name such as ``job 12``."""

    item = models.ForeignKey("inventory.StockItem", on_delete=models.PROTECT, related_name="reservations")
    quantity = models.BigIntegerField()
    holder = models.CharField(max_length=80)
    key = models.CharField(max_length=80, unique=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["holder", "id"]
        constraints = [
            models.CheckConstraint(name="reservation_is_positive", condition=Q(quantity__gt=0)),
        ]
        indexes = [models.Index(fields=["holder"])]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.item_id} for {self.holder}"
