"""Who sells what, in which packs, at which price."""

from decimal import Decimal

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy


class Supplier(models.Model):
    name = models.CharField(max_length=80, unique=True)
    lead_time_days = models.PositiveSmallIntegerField(default=5)
    shipping = models.DecimalField(max_digits=8, decimal_places=2, default=Decimal("0.00"))
    # Goods worth this much ship free; NULL where shipping is always charged.
    free_shipping_from = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    minimum_order = models.DecimalField(
        max_digits=8,
        decimal_places=2,
        default=Decimal("0.00"),
        help_text=gettext_lazy("The goods of an order must be worth this much; 0 where any order is taken."),
    )

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class OfferQuerySet(models.QuerySet["Offer"]):
    def cheapest_first(self) -> "OfferQuerySet":
        return self.select_related("supplier", "put_up", "bobbin_style", "product").order_by("price", "id")


class Offer(models.Model):
    """A supplier's price for a put-up of a range, a box of bobbins, a roll of stabilizer, or cans of spray.

    A thread offer holds for every shade of the range unless it names one.
    """

    class Steps(models.TextChoices):
        """Which packs a price step makes cheaper."""

        ALL_UNITS = "all", gettext_lazy("all packs")
        INCREMENTAL = "further", gettext_lazy("only the packs from there on")

    supplier = models.ForeignKey(Supplier, on_delete=models.CASCADE, related_name="offers")
    put_up = models.ForeignKey(
        "inventory.PutUp", null=True, blank=True, on_delete=models.PROTECT, related_name="offers"
    )
    shade = models.ForeignKey(
        "inventory.Shade", null=True, blank=True, on_delete=models.PROTECT, related_name="offers"
    )
    bobbin_style = models.ForeignKey(
        "inventory.BobbinStyle", null=True, blank=True, on_delete=models.PROTECT, related_name="offers"
    )
    bobbin_length_mm = models.BigIntegerField(null=True, blank=True)
    product = models.ForeignKey(
        "inventory.StabilizerProduct", null=True, blank=True, on_delete=models.PROTECT, related_name="offers"
    )
    roll_width_mm = models.PositiveIntegerField(null=True, blank=True)
    roll_length_mm = models.BigIntegerField(null=True, blank=True)
    # What is in a can of spray; such an offer has no roll.
    can_mg = models.PositiveIntegerField(null=True, blank=True)
    pack = models.PositiveIntegerField(
        default=1, help_text=gettext_lazy("How many spools, bobbins, rolls or cans are sold together.")
    )
    price = models.DecimalField(
        max_digits=10, decimal_places=2, help_text=gettext_lazy("For the whole pack.")
    )
    minimum_packs = models.PositiveIntegerField(
        default=1, help_text=gettext_lazy("The fewest packs that are sold.")
    )
    steps_for = models.CharField(
        gettext_lazy("a larger order makes cheaper"),
        max_length=8,
        choices=Steps.choices,
        default=Steps.ALL_UNITS,
    )
    # The day the price was seen; NULL where nobody noted it.
    seen_on = models.DateField(null=True, blank=True)

    objects = OfferQuerySet.as_manager()

    class Meta:
        ordering = ["supplier", "id"]
        constraints = [
            models.CheckConstraint(
                name="offer_is_for_one_thing",
                condition=Q(put_up__isnull=False, bobbin_style__isnull=True, product__isnull=True)
                | Q(
                    put_up__isnull=True,
                    bobbin_style__isnull=False,
                    bobbin_length_mm__gt=0,
                    shade__isnull=False,
                    product__isnull=True,
                )
                | Q(
                    put_up__isnull=True,
                    bobbin_style__isnull=True,
                    shade__isnull=True,
                    product__isnull=False,
                    roll_width_mm__gt=0,
                    roll_length_mm__gt=0,
                    can_mg__isnull=True,
                )
                | Q(
                    put_up__isnull=True,
                    bobbin_style__isnull=True,
                    shade__isnull=True,
                    product__isnull=False,
                    roll_width_mm__isnull=True,
                    roll_length_mm__isnull=True,
                    can_mg__gt=0,
                ),
            ),
            models.CheckConstraint(name="pack_is_positive", condition=Q(pack__gt=0)),
            models.CheckConstraint(name="price_is_not_negative", condition=Q(price__gte=0)),
            models.CheckConstraint(name="minimum_packs_is_positive", condition=Q(minimum_packs__gt=0)),
        ]

    def __str__(self) -> str:
        what = self.put_up or self.bobbin_style or self.product
        return _("{what} from {supplier}").format(what=what, supplier=self.supplier)


class PriceBreak(models.Model):
    """From so many packs on, a pack of the offer costs less."""

    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="breaks")
    from_packs = models.PositiveIntegerField()
    price = models.DecimalField(max_digits=10, decimal_places=2, help_text=gettext_lazy("For a whole pack."))

    class Meta:
        ordering = ["offer", "from_packs"]
        constraints = [
            models.UniqueConstraint(fields=["offer", "from_packs"], name="one_price_from_so_many_packs"),
            models.CheckConstraint(name="break_from_the_second_pack_on", condition=Q(from_packs__gte=2)),
            models.CheckConstraint(name="break_price_is_not_negative", condition=Q(price__gte=0)),
        ]

    def __str__(self) -> str:
        return _("{price} from {from_packs} packs").format(price=self.price, from_packs=self.from_packs)


class Staple(models.Model):
    """A material that is to be there whether or not a job wants it: at least ``minimum`` of it, in its own unit.

    A minimum of 0 says that it is no staple, though it is black or white.
    """

    shade = models.ForeignKey(
        "inventory.Shade", null=True, blank=True, on_delete=models.CASCADE, related_name="staples"
    )
    # With a style, the staple is full bobbins of that style wound with the shade; NULL for thread on spools.
    bobbin_style = models.ForeignKey(
        "inventory.BobbinStyle", null=True, blank=True, on_delete=models.CASCADE, related_name="staples"
    )
    product = models.ForeignKey(
        "inventory.StabilizerProduct", null=True, blank=True, on_delete=models.CASCADE, related_name="staples"
    )
    minimum = models.BigIntegerField(
        help_text=gettext_lazy("In mm of thread or roll, mg of spray, or in bobbins.")
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                name="staple_is_one_thing",
                condition=Q(shade__isnull=False, product__isnull=True)
                | Q(shade__isnull=True, bobbin_style__isnull=True, product__isnull=False),
            ),
            models.CheckConstraint(name="staple_minimum_not_negative", condition=Q(minimum__gte=0)),
            models.UniqueConstraint(
                fields=["shade"], condition=Q(bobbin_style__isnull=True), name="one_staple_a_shade"
            ),
            models.UniqueConstraint(
                fields=["shade", "bobbin_style"],
                condition=Q(bobbin_style__isnull=False),
                name="one_staple_a_bobbin",
            ),
            models.UniqueConstraint(fields=["product"], name="one_staple_a_stabilizer"),
        ]

    def __str__(self) -> str:
        return _("{what} kept").format(what=self.shade or self.product)
