"""Thread: ranges, their shades and put-ups, and the spools on the wall."""

from collections.abc import Iterable

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from inventory.compute.colour.knowing import usual_sigma
from inventory.compute.colour.lab import Lab, hex_from_lab
from inventory.compute.density import tex_as_written
from inventory.compute.names.plain import has_colour_word, plain_name, plain_names
from inventory.models.stock import StockItem


class Fibre(models.TextChoices):
    POLYESTER = "polyester", _("polyester")
    RAYON = "rayon", _("rayon")
    COTTON = "cotton", _("cotton")
    NYLON = "nylon", _("nylon")
    SILK = "silk", _("silk")
    WOOL = "wool", _("wool")
    METALLIC = "metallic", _("metallic")


class Washing(models.TextChoices):
    """How hot a thing is washed, or bears to be; empty where nobody has said."""

    NOT = "not", _("not washed")
    COOL = "cool", _("up to 40 °C")
    WARM = "warm", _("up to 60 °C")
    BOILED = "boiled", _("boiled, or washed industrially")


class ThreadRange(models.Model):
    """A maker's range: one construction in many shades."""

    class Purpose(models.TextChoices):
        NEEDLE = "needle", _("needle thread")
        BOBBIN = "bobbin", _("bobbin thread")

    maker = models.CharField(max_length=60)
    name = models.CharField(max_length=60)
    purpose = models.CharField(max_length=6, choices=Purpose.choices, default=Purpose.NEEDLE)
    fibre = models.CharField(max_length=12, choices=Fibre.choices, default=Fibre.POLYESTER)
    tex = models.FloatField(help_text=_("Linear density in tex, g per km."))
    # As it was typed where that was in another system, such as Nm 80/2; it may say what the tex was before.
    tex_typed = models.CharField(max_length=24, blank=True, default="")
    # True where the tex is only what the weight label suggests: four threads sold as 40 wt have tex 24 to 44.
    tex_is_nominal = models.BooleanField(default=False)
    weight_label = models.CharField(max_length=12, blank=True)
    needle = models.CharField(max_length=40, blank=True, help_text=_("Size and point this thread asks for."))
    washing = models.CharField(
        _("bears washing"),
        max_length=6,
        choices=Washing.choices,
        blank=True,
        default="",
        help_text=_("As the maker says; empty: what is usual for the fibre."),
    )
    # NULL where the thread bears whatever the machine does.
    most_stitches_per_minute = models.PositiveIntegerField(
        null=True, blank=True, help_text=_("The speed this thread bears; empty for any.")
    )

    class Meta:
        ordering = ["maker", "name"]
        constraints = [
            models.UniqueConstraint(fields=["maker", "name"], name="one_range_by_each_name"),
            models.CheckConstraint(name="tex_is_positive", condition=Q(tex__gt=0)),
        ]

    def __str__(self) -> str:
        return f"{self.maker} {self.name}"

    @property
    def tex_as_written(self) -> str:
        """The linear density as it was typed, such as Nm 80/2, or the tex where something else has set it since."""
        return tex_as_written(self.tex, typed=self.tex_typed)


class PutUp(models.Model):
    """How a range is sold: a spool or cone with so much on it."""

    range = models.ForeignKey(ThreadRange, on_delete=models.PROTECT, related_name="put_ups")
    name = models.CharField(max_length=40)
    length_mm = models.BigIntegerField()
    # Weight of the empty spool; NULL until one has been weighed or the maker says.
    tare_mg = models.BigIntegerField(null=True, blank=True)
    # Across the thread of a full spool, across its core, and how high the winding is; NULL until measured.
    full_diameter_mm = models.FloatField(null=True, blank=True, validators=[MinValueValidator(1.0)])
    core_diameter_mm = models.FloatField(null=True, blank=True, validators=[MinValueValidator(1.0)])
    winding_height_mm = models.FloatField(null=True, blank=True, validators=[MinValueValidator(1.0)])

    class Meta:
        ordering = ["range", "length_mm"]
        constraints = [
            models.CheckConstraint(
                name="put_up_is_thicker_than_its_core",
                condition=Q(full_diameter_mm__isnull=True)
                | Q(core_diameter_mm__isnull=True)
                | Q(full_diameter_mm__gt=F("core_diameter_mm")),
            ),
            models.UniqueConstraint(fields=["range", "name"], name="one_put_up_by_each_name"),
            models.CheckConstraint(name="put_up_length_is_positive", condition=Q(length_mm__gt=0)),
        ]

    def __str__(self) -> str:
        return self.name


class ShadeQuerySet(models.QuerySet["Shade"]):
    def owned(self) -> "ShadeQuerySet":
        """Shades of which at least one spool is on the shelf."""
        on_shelf = Spool.objects.filter(retired_at__isnull=True).values("shade_id")
        return self.filter(pk__in=on_shelf)

    def for_needle(self) -> "ShadeQuerySet":
        return self.filter(range__purpose=ThreadRange.Purpose.NEEDLE)

    def by_code(self, code: str) -> "ShadeQuerySet":
        """Shades that carry ``code`` now or carried it earlier."""
        return self.filter(Q(code__iexact=code) | Q(earlier_codes__code__iexact=code)).distinct()

    def called_in_plain_words(self, word: str) -> "ShadeQuerySet":
        """Shades whose colour has a word such as "red" or "dark" in its plain name."""
        known = self.filter(lab_l__isnull=False, lab_a__isnull=False, lab_b__isnull=False)
        rows = list(known.values_list("pk", "lab_l", "lab_a", "lab_b"))
        names = plain_names([row[1:] for row in rows])
        return self.filter(
            pk__in=[row[0] for row, name in zip(rows, names, strict=True) if has_colour_word(name, word)]
        )

    def with_free_length(self) -> "ShadeQuerySet":
        shelf = Q(spools__retired_at__isnull=True)
        return self.annotate(
            free_mm=Coalesce(Sum("spools__on_hand", filter=shelf), 0)
            - Coalesce(Sum("spools__reserved", filter=shelf), 0)
        )


class Shade(models.Model):
    """One colour of a range. Lab is under D65 and the 2° observer."""

    class Source(models.TextChoices):
        """Where the colour came from, with how far it may be off."""

        MEASURED = "measured", _("measured")
        MAKER = "maker", _("the maker's figures")
        SCREEN = "screen", _("a screen colour")
        PHOTO = "photo", _("a photograph")

    range = models.ForeignKey(ThreadRange, on_delete=models.PROTECT, related_name="shades")
    code = models.CharField(max_length=20)
    name = models.CharField(max_length=60, blank=True)
    # All three are NULL where nobody has said what the colour is.
    lab_l = models.FloatField(null=True, blank=True)
    lab_a = models.FloatField(null=True, blank=True)
    lab_b = models.FloatField(null=True, blank=True)
    colour_source = models.CharField(max_length=8, choices=Source.choices, default=Source.SCREEN)
    # One sigma along each axis of CIEDE2000; NULL means what is usual for the source.
    colour_sigma = models.FloatField(
        _("colour may be off by"),
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0), MaxValueValidator(20.0)],
    )

    objects = ShadeQuerySet.as_manager()

    class Meta:
        ordering = ["range", "code"]
        constraints = [models.UniqueConstraint(fields=["range", "code"], name="one_shade_by_each_code")]
        indexes = [models.Index(fields=["code"])]

    def __str__(self) -> str:
        return f"{self.range} {self.code} {self.name}".strip()

    @property
    def lab(self) -> Lab | None:
        if self.lab_l is None or self.lab_a is None or self.lab_b is None:
            return None
        return Lab(self.lab_l, self.lab_a, self.lab_b)

    @property
    def sigma(self) -> float:
        """How far the colour may be off: its own figure, else what is usual for where it came from."""
        return usual_sigma(self.colour_source) if self.colour_sigma is None else self.colour_sigma

    @property
    def hex(self) -> str:
        """The nearest screen colour, or an empty string where the colour is not known."""
        return hex_from_lab(self.lab) if self.lab else ""

    @property
    def plain_name(self) -> str:
        """The colour in plain words, or an empty string where it is not known."""
        return plain_name(self.lab) if self.lab else ""


class EarlierCode(models.Model):
    """A code that the maker used for a shade before renumbering it."""

    shade = models.ForeignKey(Shade, on_delete=models.CASCADE, related_name="earlier_codes")
    code = models.CharField(max_length=20)

    class Meta:
        ordering = ["code"]
        constraints = [models.UniqueConstraint(fields=["shade", "code"], name="earlier_code_once_a_shade")]

    def __str__(self) -> str:
        return self.code


class SpoolQuerySet(models.QuerySet["Spool"]):
    def on_the_shelf(self) -> "SpoolQuerySet":
        return self.filter(retired_at__isnull=True)

    def of_shades(self, shades: Iterable[int]) -> "SpoolQuerySet":
        return self.filter(shade_id__in=list(shades))

    def in_shelf_order(self) -> "SpoolQuerySet":
        """Open spools first, then the oldest."""
        return self.order_by(models.F("opened_on").asc(nulls_last=True), "received_on", "label")


class Spool(StockItem):
    """A spool or cone of one shade; ``on_hand`` in mm."""

    shade = models.ForeignKey(Shade, on_delete=models.PROTECT, related_name="spools")
    # NULL for a spool that came without a label.
    put_up = models.ForeignKey(PutUp, null=True, blank=True, on_delete=models.PROTECT, related_name="spools")
    # This very spool's empty weight where it differs from its put-up's; NULL means the put-up's holds.
    tare_mg = models.BigIntegerField(null=True, blank=True)

    # Django allows a child model a manager of its own; the type checker sees only the override.
    objects = SpoolQuerySet.as_manager()  # type: ignore[misc,assignment]

    @property
    def empty_weight_mg(self) -> int | None:
        if self.tare_mg is not None:
            return self.tare_mg
        return self.put_up.tare_mg if self.put_up else None
