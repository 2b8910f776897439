"""One physical thing with a label code: what every spool, bobbin, roll, sheet and offcut has in common."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _


class LabelSeries(models.Model):
    """The last number given out for label codes that begin with ``prefix``."""

    prefix = models.CharField(max_length=2, unique=True)
    last = models.PositiveIntegerField(default=0)

    class Meta:
        verbose_name_plural = "label series"

    def __str__(self) -> str:
        return f"{self.prefix}{self.last:04}"


class StockItemQuerySet(models.QuerySet["StockItem"]):
    def on_the_shelf(self) -> "StockItemQuerySet":
        """Items that are still there to be used."""
        return self.filter(retired_at__isnull=True)


class StockItem(models.Model):
    """A thing on the shelf.

    ``on_hand`` and ``reserved`` are whole millimetres, milligrams or pieces and are moved by ``inventory.ledger``
    alone, in the transaction that writes the entries they sum. Where ``known`` is *unknown*, ``on_hand`` is only
    what the books have left over: it is no quantity to plan with, it is not zero either, and taking more than it
    is allowed, for nobody knows that it is not there.
    """

    class Kind(models.TextChoices):
        SPOOL = "spool", _("spool")
        BOBBINS = "bobbins", _("bobbins")
        PART_BOBBIN = "part_bobbin", _("part bobbin")
        ROLL = "roll", _("roll")
        SHEETS = "sheets", _("sheets")
        OFFCUT = "offcut", _("offcut")
        NEEDLES = "needles", _("needles")
        CAN = "can", _("can of spray")

    class Known(models.TextChoices):
        """How the quantity is known; it decides how sure the plan may be."""

        SEALED = "sealed", _("sealed, as sold")
        WEIGHED = "weighed", _("weighed")
        COUNTED = "counted", _("counted")
        MEASURED = "measured", _("measured across")
        JUDGED = "judged", _("judged by eye")
        UNKNOWN = "unknown", _("not known")

    MEASURED_IN_MM = frozenset({Kind.SPOOL, Kind.PART_BOBBIN, Kind.ROLL})
    WEIGHED_IN_MG = frozenset({Kind.CAN})

    label = models.CharField(max_length=24, unique=True)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    on_hand = models.BigIntegerField(default=0)
    reserved = models.BigIntegerField(default=0)
    # One standard deviation of on_hand, in its unit; NULL means that nothing is known of it.
    sigma = models.FloatField(null=True, blank=True, default=0.0)
    known = models.CharField(max_length=8, choices=Known.choices, default=Known.SEALED)
    place = models.ForeignKey(
        "inventory.Place", null=True, blank=True, on_delete=models.PROTECT, related_name="items"
    )
    lot = models.CharField(max_length=40, blank=True)
    opened_on = models.DateField(null=True, blank=True)
    received_on = models.DateField(null=True, blank=True)
    # NULL while it is on the shelf; the moment it left for good otherwise.
    retired_at = models.DateTimeField(null=True, blank=True)
    # What was paid for the whole item when it came; NULL where nobody knows.
    price_paid = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    # What the item held when it came, the quantity that price_paid bought.
    quantity_paid = models.BigIntegerField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    objects = StockItemQuerySet.as_manager()

    class Meta:
        ordering = ["label"]
        constraints = [
            models.CheckConstraint(name="on_hand_not_negative", condition=Q(on_hand__gte=0)),
            models.CheckConstraint(name="reserved_not_negative", condition=Q(reserved__gte=0)),
            models.CheckConstraint(name="reserved_within_on_hand", condition=Q(reserved__lte=F("on_hand"))),
        ]
        indexes = [models.Index(fields=["kind", "retired_at"])]

    def __str__(self) -> str:
        return self.label

    @property
    def free(self) -> int:
        return self.on_hand - self.reserved

    @property
    def is_measured(self) -> bool:
        """Whether the quantity is a length in mm."""
        return self.kind in self.MEASURED_IN_MM

    @property
    def is_in_mg(self) -> bool:
        """Whether the quantity is a weight in mg; where it is no length either, it counts pieces."""
        return self.kind in self.WEIGHED_IN_MG

    @property
    def unit(self) -> str:
        """The unit of its quantities: mm, mg or pieces."""
        return "mm" if self.is_measured else "mg" if self.is_in_mg else "pieces"

    @property
    def is_known(self) -> bool:
        return self.known != self.Known.UNKNOWN
