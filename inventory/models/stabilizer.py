"""Stabilizer and what goes with it: films, adhesive, foam and fabric; rolls, sheets, offcuts and cans of spray."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.compute.spoken import N_
from inventory.compute.units import told_area_weight, told_sides
from inventory.models.stock import StockItem

# Kinds in one word, where what they are called is longer; the others are in short what they are called.
IN_SHORT = (N_("adhesive"), N_("spray"), N_("fabric"), N_("sticky"), N_("fusible"))


class StabilizerProduct(models.Model):
    """What a layer is made of, as it is sold: a stabilizer or film, an adhesive, foam, or fabric for applique.

    Of a spray, ``weight_g_m2`` is what one coat leaves on a square metre; NULL where nobody has said it. Foam and
    fabric are told by their thickness and by their name.
    """

    class Kind(models.TextChoices):
        TEAR_AWAY = "tear-away", gettext_lazy("tear-away")
        CUT_AWAY = "cut-away", gettext_lazy("cut-away")
        WASH_AWAY = "wash-away", gettext_lazy("wash-away")
        HEAT_AWAY = "heat-away", gettext_lazy("heat-away")
        TOPPING = "topping", gettext_lazy("topping")
        ADHESIVE = "adhesive", gettext_lazy("adhesive film or web")
        SPRAY = "spray", gettext_lazy("spray adhesive")
        FOAM = "foam", gettext_lazy("foam")
        FABRIC = "fabric", gettext_lazy("fabric for applique")

    class HoldsBy(models.TextChoices):
        """What makes it stick to the cloth, where it does."""

        STICKY = "sticky", gettext_lazy("a sticky side")
        FUSIBLE = "fusible", gettext_lazy("ironing it on")

    class ComesOff(models.TextChoices):
        """What takes it away after stitching, where its kind does not say it."""

        WATER = "water", gettext_lazy("water")
        HEAT = "heat", gettext_lazy("heat")

    # Kinds that are of no use without a weight by area: recipes choose among them by it.
    CHOSEN_BY_WEIGHT = frozenset(
        {Kind.TEAR_AWAY, Kind.CUT_AWAY, Kind.WASH_AWAY, Kind.HEAT_AWAY, Kind.TOPPING}
    )

    maker = models.CharField(max_length=60)
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    weight_g_m2 = models.FloatField(null=True, blank=True)
    thickness_mm = models.FloatField(null=True, blank=True)
    has_grain = models.BooleanField(
        default=False,
        help_text=gettext_lazy(
            "It tears or stretches more one way than the other; of fabric: its weave, nap or print "
            "runs one way."
        ),
    )
    holds_by = models.CharField(
        gettext_lazy("it holds by"), max_length=7, choices=HoldsBy.choices, blank=True, default=""
    )
    comes_off = models.CharField(
        gettext_lazy("it comes off by"),
        max_length=5,
        choices=ComesOff.choices,
        blank=True,
        default="",
        help_text=gettext_lazy("Where its kind does not say it: of a topping, say."),
    )

    class Meta:
        ordering = ["kind", "maker", "name"]
        constraints = [
            models.UniqueConstraint(fields=["maker", "name"], name="one_stabilizer_by_each_name"),
            models.CheckConstraint(name="stabilizer_weight_is_positive", condition=Q(weight_g_m2__gt=0)),
            models.CheckConstraint(name="stabilizer_thickness_is_positive", condition=Q(thickness_mm__gt=0)),
        ]

    def __str__(self) -> str:
        return f"{self.maker} {self.name}"

    @property
    def in_words(self) -> str:
        """Its kind, with what is known of its weight, thickness and hold."""
        told = [_(self.kind)]
        if self.weight_g_m2 is not None:
            weight = told_area_weight(self.weight_g_m2)
            told.append(
                _("{weight} a coat").format(weight=weight) if self.kind == self.Kind.SPRAY else weight
            )
        if self.thickness_mm is not None:
            told.append(_("{thickness} thick").format(thickness=told_sides(self.thickness_mm)))
        if self.holds_by:
            told.append(_(self.holds_by))
        if self.comes_off:
            told.append(_("comes off by {comes_off}").format(comes_off=_(self.comes_off)))
        return ", ".join(told)


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
    height_mm = models.PositiveIntegerField(help_text=gettext_lazy("Along the roll it was cut from."))


class SprayCan(StockItem):
    """A can of spray; ``on_hand`` is the weight of what is left in it, in mg."""

    product = models.ForeignKey(StabilizerProduct, on_delete=models.PROTECT, related_name="cans")
    full_mg = models.PositiveIntegerField(help_text=gettext_lazy("What a full one holds."))
    # The can with nothing in it; NULL where nobody has said, and then the can cannot be weighed.
    empty_mg = models.PositiveIntegerField(null=True, blank=True)
