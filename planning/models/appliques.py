"""Applique: which stops of a design are its lines, and the fabric that is laid there."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from planning.compute.stitches.applique import COVER, PLACEMENT, TACK_DOWN, USUAL_ALLOWANCE_MM


class Applique(models.Model):
    """A piece of fabric that a design fastens, of the size of what it must cover as digitized."""

    design = models.ForeignKey("planning.Design", on_delete=models.CASCADE, related_name="appliques")
    number = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=40)
    product = models.ForeignKey(
        "inventory.StabilizerProduct", on_delete=models.PROTECT, related_name="appliques"
    )
    width_mm = models.FloatField(validators=[MinValueValidator(1.0)])
    height_mm = models.FloatField(validators=[MinValueValidator(1.0)])
    allowance_mm = models.PositiveSmallIntegerField(default=USUAL_ALLOWANCE_MM)
    count = models.PositiveSmallIntegerField(
        default=1, validators=[MinValueValidator(1), MaxValueValidator(20)]
    )

    class Meta:
        ordering = ["design", "number"]
        constraints = [
            models.UniqueConstraint(fields=["design", "number"], name="one_applique_by_each_number"),
            models.CheckConstraint(
                name="applique_has_a_size", condition=models.Q(width_mm__gt=0, height_mm__gt=0)
            ),
            models.CheckConstraint(name="applique_has_a_piece", condition=models.Q(count__gte=1)),
        ]

    def __str__(self) -> str:
        return self.name


class AppliqueStop(models.Model):
    """What one part of a design is for an applique. Part 1 of a block is all of it where it has no stop inside."""

    class Role(models.TextChoices):
        PLACEMENT = PLACEMENT, _("placement line")
        TACK_DOWN = TACK_DOWN, _("tack-down")
        COVER = COVER, _("cover")

    applique = models.ForeignKey(Applique, on_delete=models.CASCADE, related_name="stops")
    role = models.CharField(max_length=9, choices=Role.choices)
    block = models.PositiveSmallIntegerField()
    part = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["applique", "block", "part"]
        constraints = [
            models.UniqueConstraint(fields=["applique", "role"], name="an_applique_has_each_line_once"),
            models.UniqueConstraint(fields=["applique", "block", "part"], name="a_part_is_one_line"),
        ]

    def __str__(self) -> str:
        return f"{self.get_role_display()}, block {self.block}.{self.part}"
