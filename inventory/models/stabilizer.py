"""Stabilizer: products, rolls, sheets and offcuts."""

from django.db import models
from django.db.models import Q

from inventory.models.stock import StockItem


class StabilizerProduct(models.Model):
    """A stabilizer as it is sold."""

    class Kind(models.TextChoices):
        TEAR_AWAY = "tear-away", "tear-away"
        CUT_AWAY = "cut-away", "cut-away"
        WASH_AWAY = "wash-away", "wash-away"
        HEAT_AWAY = "heat-away", "heat-away"
        TOPPING = "topping", "topping"

    maker = models.CharField(max_length=60)
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    weight_g_m2 = models.FloatField()
    has_grain = models.BooleanField(
        default=False, help_text="It tears or stretches more one way than the other."
    )

    class Meta:
        ordering = ["kind", "maker", "name"]
        constraints = [
            models.UniqueConstraint(fields=["maker", "name"], name="one_stabilizer_by_each_name"),
            models.CheckConstraint(name="stabilizer_weight_is_positive", condition=Q(weight_g_m2__gt=0)),
        ]

    def __str__(self) -> str:
        return f"{self.maker} {self.name}"


class StabilizerRoll(StockItem):
    """A roll; ``on_hand`` is the length left, in mm."""

    product = models.ForeignKey(StabilizerProduct, on_delete=models.PROTECT, related_name="rolls")
    width_mm = models.PositiveIntegerField()


class SheetPack(StockItem):
    """Cut sheets of one size; ``on_hand`` in sheets."""

    product = models.ForeignKey(StabilizerProduct, on_delete=models.PROTECT, related_name="sheet_packs")
    width_mm = models.PositiveIntegerField()
    height_mm = models.PositiveIntegerField()


class Offcut(StockItem):
    """A rectangle left over from cutting; ``on_hand`` is 1 until it is used."""

    product = models.ForeignKey(StabilizerProduct, on_delete=models.PROTECT, related_name="offcuts")
    width_mm = models.PositiveIntegerField()
    height_mm = models.PositiveIntegerField(help_text="Along the roll it was cut from.")
