"""Bobbins: their styles, full ones by the batch, and part-used ones."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.compute.bobbins import BobbinGeometry
from inventory.models.stock import StockItem


class BobbinStyle(models.Model):
    """A bobbin's size: which machines take it and how much it holds."""

    name = models.CharField(max_length=40, unique=True)
    outer_diameter_mm = models.FloatField()
    width_mm = models.FloatField()
    core_diameter_mm = models.FloatField(default=6.0)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                name="bobbin_has_room_for_thread",
                condition=Q(
                    outer_diameter_mm__gt=models.F("core_diameter_mm"), core_diameter_mm__gt=0, width_mm__gt=0
                ),
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def geometry(self) -> BobbinGeometry:
        return BobbinGeometry(
            outer_diameter_mm=self.outer_diameter_mm,
            width_mm=self.width_mm,
            core_diameter_mm=self.core_diameter_mm,
        )


class BobbinBatch(StockItem):
    """Identical full bobbins; ``on_hand`` in pieces."""

    style = models.ForeignKey(BobbinStyle, on_delete=models.PROTECT, related_name="batches")
    shade = models.ForeignKey("inventory.Shade", on_delete=models.PROTECT, related_name="bobbin_batches")
    length_mm = models.BigIntegerField(help_text=_("Thread on each bobbin, in mm."))
    self_wound = models.BooleanField(default=False)


class PartBobbin(StockItem):
    """A bobbin that has been used; ``on_hand`` in mm."""

    style = models.ForeignKey(BobbinStyle, on_delete=models.PROTECT, related_name="part_bobbins")
    shade = models.ForeignKey("inventory.Shade", on_delete=models.PROTECT, related_name="part_bobbins")
