"""Needles, by the pack."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.models.stock import StockItem


class NeedlePack(StockItem):
    """Needles of one kind; ``on_hand`` in pieces."""

    class Point(models.TextChoices):
        UNIVERSAL = "universal", _("universal")
        SHARP = "sharp", _("sharp")
        BALL = "ball", _("ball point")
        CUTTING = "cutting", _("cutting, for leather")

    # As printed on the pack: a needle fits a machine by its system, whatever its size.
    system = models.CharField(max_length=40)
    size = models.PositiveSmallIntegerField(
        help_text=_("Metric size: hundredths of a mm across the blade, such as 75.")
    )
    point = models.CharField(max_length=10, choices=Point.choices, default=Point.UNIVERSAL)

    class Meta:
        constraints = [models.CheckConstraint(name="needle_size_is_positive", condition=Q(size__gt=0))]
