"""The workshop's own rules: how sure is sure, what is allowed for, what an hour costs."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

SHARE = [MinValueValidator(0.0), MaxValueValidator(1.0)]


class Strictness(models.TextChoices):
    """How near a thread must come to the colour asked for; the rules say what each means."""

    PICTURE = "picture", _("a picture: near enough to look right")
    BRAND = "brand", _("brand colours: hardly any difference")


class Rules(models.Model):
    """One row of settings; ``Rules.current()`` gives it, or the stated defaults where none was saved."""

    workshop_name = models.CharField(max_length=80, default="Our workshop")
    currency = models.CharField(
        max_length=3, default="EUR", help_text=_("Three letters, as ISO 4217 has them.")
    )
    enough_at = models.FloatField(
        _("enough from"), default=0.95, validators=SHARE, help_text=_("How sure counts as enough, 0 to 1.")
    )
    tight_at = models.FloatField(
        _("tight from"), default=0.5, validators=SHARE, help_text=_("Below this it is called short, 0 to 1.")
    )
    test_pieces = models.PositiveSmallIntegerField(
        default=1, help_text=_("Stitched before the batch. Common practice: one.")
    )
    spoilage = models.FloatField(
        default=0.03,
        validators=SHARE,
        help_text=_(
            "Share of pieces allowed for as spoiled, rounded up. Common practice: 2 to 5 in a hundred."
        ),
    )
    allowance = models.FloatField(
        default=0.10,
        validators=SHARE,
        help_text=_(
            "Extra thread for breaks, re-stitching and bobbin ends, as a share. Common practice: 5 to 15 in "
            "a hundred."
        ),
    )
    colour_limit = models.FloatField(
        default=5.0,
        validators=[MinValueValidator(0.0)],
        help_text=_(
            "Where a design is a picture: beyond this difference (CIEDE2000) an owned thread is off colour, "
            "not a stand-in."
        ),
    )
    brand_colour_limit = models.FloatField(
        default=2.0,
        validators=[MinValueValidator(0.0)],
        help_text=_("The same where a job is of brand colours. Common practice, no source: 1 to 2."),
    )
    fibre = models.CharField(
        max_length=12,
        blank=True,
        default="",
        help_text=_("Fibre of needle thread to choose from; empty for any."),
    )
    may_mix_fibres = models.BooleanField(
        _("one piece may mix fibres"),
        default=False,
        help_text=_(
            "Where no fibre is named: if not, one piece is stitched in the fibre that serves it best, and "
            "metallic thread stands for nothing else. What a person pins or has said once may cross all the same."
        ),
    )
    weight_label = models.CharField(
        max_length=12,
        blank=True,
        default="40",
        help_text=_("Weight of needle thread to choose from; empty for any."),
    )
    service_level = models.FloatField(
        _("never out of stock"),
        default=0.95,
        validators=[MinValueValidator(0.5), MaxValueValidator(0.999)],
        help_text=_("How often what is kept in stock should last until the next order comes, 0.5 to 0.999."),
    )
    surplus_worth = models.FloatField(
        _("worth of what is left over"),
        default=0.3,
        validators=[MinValueValidator(0.0), MaxValueValidator(0.9)],
        help_text=_(
            "Of its price, what the rest of a pack is worth that will be used within half a year, 0 to 0.9."
        ),
    )
    equivalent_within = models.FloatField(
        _("equal for buying, ΔE00"),
        default=0.0,
        validators=[MinValueValidator(0.0), MaxValueValidator(5.0)],
        help_text=_("A shade this near may be bought for one of which nothing is left; 0 for none."),
    )
    stabilizer_margin_mm = models.PositiveSmallIntegerField(
        default=20, help_text=_("Beyond the inner ring on every side. Common practice: about 20 mm.")
    )
    cut_kerf_mm = models.PositiveSmallIntegerField(
        default=0,
        help_text=_("What each cut of stabilizer loses; a blade loses nothing, a trimmed edge does."),
    )
    roll_edge_mm = models.PositiveSmallIntegerField(
        default=0, help_text=_("Trimmed off both edges of a stabilizer roll before it is cut.")
    )
    # Rings that hooping leaves are waste; NULL on both sides. Otherwise strips of this size out of them are kept.
    ring_strip_width_mm = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1)]
    )
    ring_strip_height_mm = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1)]
    )
    hands_on_rate = models.DecimalField(max_digits=7, decimal_places=2, default=Decimal("0.00"))
    machine_rate = models.DecimalField(max_digits=7, decimal_places=2, default=Decimal("0.00"))
    applique_s = models.PositiveSmallIntegerField(
        _("seconds for each fabric piece of an applique"),
        default=120,
        help_text=_("To lay it and to trim it, while the machine stands. Common practice, no source."),
    )
    quote_margin_percent = models.DecimalField(
        _("margin on a quote, %"),
        max_digits=5,
        decimal_places=1,
        default=Decimal("40.0"),
        validators=[MinValueValidator(Decimal(0))],
        help_text=_("Put on what a batch costs you, time included. Common practice, no source."),
    )
    quote_rounded_to = models.DecimalField(
        _("quotes are rounded up to"),
        max_digits=7,
        decimal_places=2,
        default=Decimal("0.10"),
        validators=[MinValueValidator(Decimal("0.01"))],
        help_text=_("The price of a piece is a multiple of it."),
    )
    quote_minimum = models.DecimalField(
        _("least that an order is quoted at"),
        max_digits=9,
        decimal_places=2,
        default=Decimal("0.00"),
        validators=[MinValueValidator(Decimal(0))],
    )
    working_hours_a_day = models.FloatField(
        default=6.0,
        validators=[MinValueValidator(0.25), MaxValueValidator(24.0)],
        help_text=_("Hours of a working day, Monday to Friday, for the day to start a job on."),
    )

    class Meta:
        verbose_name_plural = "rules"
        constraints = [
            models.CheckConstraint(name="only_one_row_of_rules", condition=Q(pk=1)),
            models.CheckConstraint(name="tight_lies_below_enough", condition=Q(tight_at__lt=F("enough_at"))),
            models.CheckConstraint(
                name="ring_strip_has_both_sides",
                condition=Q(ring_strip_width_mm__isnull=True, ring_strip_height_mm__isnull=True)
                | Q(ring_strip_width_mm__isnull=False, ring_strip_height_mm__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"Rules of {self.workshop_name}"

    def limit_for(self, strictness: str) -> float:
        """Return the difference beyond which a thread is off colour."""
        return self.brand_colour_limit if strictness == Strictness.BRAND else self.colour_limit

    @classmethod
    def current(cls) -> "Rules":
        return cls.objects.first() or cls(pk=1)
