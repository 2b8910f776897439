"""What the site keeps of each person: how quantities are written for them, and the look they chose."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.compute.units import Units


class LengthUnit(models.TextChoices):
    """Units of thread length."""

    METRES = "m", _("metres (m)")
    YARDS = "yd", _("yards (yd)")


class WeightUnit(models.TextChoices):
    """Units of spool weight."""

    GRAMS = "g", _("grams (g)")
    OUNCES = "oz", _("ounces (oz)")


class SizeUnit(models.TextChoices):
    """Units of cloth, hoops and stabilizer."""

    CENTIMETRES = "cm", _("centimetres (cm)")
    INCHES = "in", _("inches (in)")


class Theme(models.TextChoices):
    """Paper colours of the pages."""

    AUTO = "auto", _("as the device is set")
    LIGHT = "light", _("light")
    DARK = "dark", _("dark")


class Preference(models.Model):
    """How one person reads the pages; a person who never chose has no row and gets the defaults."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="preference")
    length_unit = models.CharField(
        _("thread length"), max_length=2, choices=LengthUnit, default=LengthUnit.METRES
    )
    weight_unit = models.CharField(_("weight"), max_length=2, choices=WeightUnit, default=WeightUnit.GRAMS)
    size_unit = models.CharField(
        _("cloth, hoops and stabilizer"), max_length=2, choices=SizeUnit, default=SizeUnit.CENTIMETRES
    )
    theme = models.CharField(_("light or dark"), max_length=5, choices=Theme, default=Theme.AUTO)

    language = models.CharField(
        max_length=5, default="", blank=True
    )  # of the settings' languages; or the browser's

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(length_unit__in=LengthUnit.values), name="preference_length_unit_known"
            ),
            models.CheckConstraint(
                condition=models.Q(weight_unit__in=WeightUnit.values), name="preference_weight_unit_known"
            ),
            models.CheckConstraint(
                condition=models.Q(size_unit__in=SizeUnit.values), name="preference_size_unit_known"
            ),
            models.CheckConstraint(condition=models.Q(theme__in=Theme.values), name="preference_theme_known"),
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.length_unit}, {self.weight_unit}, {self.size_unit}, {self.theme}"

    @property
    def units(self) -> Units:
        """The units this person reads and types in."""
        return Units(length=self.length_unit, weight=self.weight_unit, size=self.size_unit)
