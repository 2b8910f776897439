"""Orders to suppliers, what is on them, and what has come of it."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.compute.spoken import N_
from inventory.compute.units import told_length_plainly, told_mass_plainly, told_roll

# How an order may stand beside its own states.
NOT_ALL_HERE = (N_("partly received"), N_("received"), N_("closed"))


class OrderQuerySet(models.QuerySet["Order"]):
    def with_lines(self) -> "OrderQuerySet":
        """Orders with all that a page or a list shows of them, in a number of queries that does not grow."""
        return self.select_related("supplier", "by").prefetch_related(
            models.Prefetch("lines", OrderLine.objects.with_received())
        )


class Order(models.Model):
    """An order to one supplier. What came of it is told by the receipts of its lines, never by its state."""

    class State(models.TextChoices):
        DRAFT = "draft", gettext_lazy("draft")
        PLACED = "placed", gettext_lazy("placed")
        CANCELLED = "cancelled", gettext_lazy("cancelled")

    number = models.PositiveIntegerField(unique=True)
    supplier = models.ForeignKey("inventory.Supplier", on_delete=models.PROTECT, related_name="orders")
    state = models.CharField(max_length=9, choices=State.choices, default=State.DRAFT)
    made_at = models.DateTimeField()
    # NULL until it is placed; both stay when it is cancelled after that.
    placed_at = models.DateTimeField(null=True, blank=True)
    expected_on = models.DateField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    shipping = models.DecimalField(max_digits=8, decimal_places=2, default=Decimal("0.00"))
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    # Of the request that made it, so that sending it twice makes one order.
    key = models.CharField(max_length=80, unique=True)

    objects = OrderQuerySet.as_manager()

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.CheckConstraint(
                name="placed_order_has_its_day",
                condition=Q(state="placed", placed_at__isnull=False, expected_on__isnull=False)
                | ~Q(state="placed"),
            ),
            models.CheckConstraint(name="order_shipping_not_negative", condition=Q(shipping__gte=0)),
        ]

    def __str__(self) -> str:
        return _("order {number}").format(number=self.number)

    @property
    def goods(self) -> Decimal:
        return sum((line.total for line in self.lines.all()), Decimal("0.00"))

    @property
    def total(self) -> Decimal:
        return self.goods + self.shipping

    @property
    def is_open(self) -> bool:
        """Whether something is still to come."""
        return self.state == self.State.PLACED and any(line.to_come for line in self.lines.all())

    @property
    def stands(self) -> str:
        """How it stands, as programs read it: draft, placed, partly received, received, closed or cancelled."""
        if self.state != self.State.PLACED:
            return self.state
        if not self.is_open:
            return "received" if any(line.received for line in self.lines.all()) else "closed"
        return "partly received" if any(line.received for line in self.lines.all()) else "placed"

    @property
    def stands_in_words(self) -> str:
        """How it stands, as people read it."""
        return _(self.stands)


class OrderLineQuerySet(models.QuerySet["OrderLine"]):
    def with_received(self) -> "OrderLineQuerySet":
        """Lines with what they are for and how many things have come, less what was taken back."""
        came = (
            OrderReceipt.objects.standing()
            .filter(line=OuterRef("pk"), instead=False)
            .order_by()
            .values("line")
            .annotate(sum=Sum("count"))
            .values("sum")
        )
        return self.select_related("shade__range", "put_up__range", "bobbin_style", "product").annotate(
            received_count=Coalesce(Subquery(came), 0, output_field=models.IntegerField())
        )

    def to_come(self) -> "OrderLineQuerySet":
        """Lines of placed orders of which something is still to come."""
        return self.not_all_there().filter(order__state=Order.State.PLACED)

    def not_all_there(self) -> "OrderLineQuerySet":
        """Lines of any order of which something has not come and was not given up."""
        return (
            self.with_received()
            .alias(open_count=F("things") - F("given_up") - F("received_count"))
            .filter(open_count__gt=0)
            .select_related("order", "shade__range", "put_up__range", "bobbin_style", "product")
        )


class OrderLine(models.Model):
    """So many packs of one thing. ``things`` are the spools, bobbins or rolls in all of them."""

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="lines")
    number = models.PositiveSmallIntegerField()
    shade = models.ForeignKey("inventory.Shade", null=True, on_delete=models.PROTECT, related_name="+")
    put_up = models.ForeignKey("inventory.PutUp", null=True, on_delete=models.PROTECT, related_name="+")
    bobbin_style = models.ForeignKey(
        "inventory.BobbinStyle", null=True, on_delete=models.PROTECT, related_name="+"
    )
    bobbin_length_mm = models.BigIntegerField(null=True)
    product = models.ForeignKey(
        "inventory.StabilizerProduct", null=True, on_delete=models.PROTECT, related_name="+"
    )
    roll_width_mm = models.PositiveIntegerField(null=True)
    roll_length_mm = models.BigIntegerField(null=True)
    can_mg = models.PositiveIntegerField(null=True)
    packs = models.PositiveIntegerField()
    pack = models.PositiveIntegerField(default=1)
    things = models.PositiveIntegerField()
    # For the whole line, as the offer's steps make it: packs of one line may differ in price.
    total = models.DecimalField(max_digits=10, decimal_places=2)
    # Things that will not come any more: short, or given up.
    given_up = models.PositiveIntegerField(default=0)

    objects = OrderLineQuerySet.as_manager()

    class Meta:
        ordering = ["order", "number"]
        constraints = [
            models.UniqueConstraint(fields=["order", "number"], name="one_order_line_a_number"),
            models.CheckConstraint(
                name="order_line_counts_agree",
                condition=Q(packs__gt=0, pack__gt=0, things=F("packs") * F("pack")),
            ),
            models.CheckConstraint(name="given_up_within_the_line", condition=Q(given_up__lte=F("things"))),
            models.CheckConstraint(name="order_line_total_not_negative", condition=Q(total__gte=0)),
            models.CheckConstraint(
                name="order_line_is_one_thing",
                condition=Q(
                    shade__isnull=False, put_up__isnull=False, bobbin_style__isnull=True, product__isnull=True
                )
                | Q(
                    shade__isnull=False,
                    put_up__isnull=True,
                    bobbin_style__isnull=False,
                    bobbin_length_mm__gt=0,
                    product__isnull=True,
                )
                | Q(
                    shade__isnull=True,
                    put_up__isnull=True,
                    bobbin_style__isnull=True,
                    product__isnull=False,
                    roll_width_mm__gt=0,
                    roll_length_mm__gt=0,
                    can_mg__isnull=True,
                )
                | Q(
                    shade__isnull=True,
                    put_up__isnull=True,
                    bobbin_style__isnull=True,
                    product__isnull=False,
                    roll_width_mm__isnull=True,
                    roll_length_mm__isnull=True,
                    can_mg__gt=0,
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.things} × {self.what}, {self.sold_as}"

    @property
    def what(self) -> str:
        """The material in words."""
        return str(self.product or self.shade)

    @property
    def sold_as(self) -> str:
        """The put-up in words."""
        if self.can_mg:
            return _("can with {weight}").format(weight=told_mass_plainly(self.can_mg))
        if self.product_id:
            return _("roll {size}").format(size=told_roll(self.roll_width_mm or 0, self.roll_length_mm or 0))
        if self.bobbin_style_id:
            return _("{style} bobbin, {length}").format(
                style=self.bobbin_style, length=told_length_plainly(self.bobbin_length_mm or 0)
            )
        return str(self.put_up)

    @property
    def holds(self) -> int:
        """What one thing holds: mm of thread or roll, mg of spray; a bobbin is 1."""
        if self.can_mg:
            return self.can_mg
        if self.product_id:
            return self.roll_length_mm or 0
        return 1 if self.bobbin_style_id else self.put_up.length_mm if self.put_up else 0

    @property
    def received(self) -> int:
        """How many things have come, less what was taken back."""
        counted = getattr(self, "received_count", None)
        if counted is not None:
            return int(counted)
        standing = OrderReceipt.objects.standing().filter(line=self, instead=False)
        return standing.aggregate(sum=Sum("count"))["sum"] or 0

    @property
    def to_come(self) -> int:
        return max(0, self.things - self.given_up - self.received)

    @property
    def price_each(self) -> Decimal:
        return (self.total / self.things).quantize(Decimal("0.01"))


class OrderReceiptQuerySet(models.QuerySet["OrderReceipt"]):
    def standing(self) -> "OrderReceiptQuerySet":
        """Receipts that were not taken back."""
        return self.filter(entry__reversed_by__isnull=True)


class OrderReceipt(models.Model):
    """One thing on the shelf, or one batch of bobbins, that came for a line, by the entry that brought it."""

    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="receipts")
    entry = models.OneToOneField("inventory.Entry", on_delete=models.PROTECT, related_name="receipt")
    count = models.PositiveIntegerField()
    # True where something else came than was ordered: it is on the shelf, and the line still waits.
    instead = models.BooleanField(default=False)

    objects = OrderReceiptQuerySet.as_manager()

    class Meta:
        ordering = ["entry"]
        constraints = [models.CheckConstraint(name="receipt_counts_something", condition=Q(count__gt=0))]

    def __str__(self) -> str:
        return f"{self.count} for {self.line}"
