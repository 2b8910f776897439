"""Fabrics and the layers of stabilizer they want."""

from django.core.validators import MinValueValidator
from django.db import models
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.models import StabilizerProduct, Washing
from planning.compute.stitches.thread_length import USUAL_THICKNESS_MM


class Fabric(models.Model):
    """A fabric with its recipe: a starting point; a test with the real fabric comes first."""

    class Stretch(models.TextChoices):
        NONE = "none", _("does not stretch")
        SOME = "some", _("stretches a little")
        MUCH = "much", _("stretches much")

    name = models.CharField(max_length=60, unique=True)
    # Compressed thickness of cloth and every layer together, as the stitch closes round it.
    thickness_mm = models.FloatField(default=USUAL_THICKNESS_MM, validators=[MinValueValidator(0.0)])
    stretch = models.CharField(
        max_length=6,
        choices=Stretch.choices,
        default=Stretch.NONE,
        help_text=_(
            "Pull it by hand: common practice calls much what gives a quarter of its length or more."
        ),
    )
    note = models.CharField(max_length=200, blank=True)
    needle = models.CharField(max_length=40, blank=True, help_text=_("Size and point this fabric asks for."))
    washing = models.CharField(
        _("is washed"),
        max_length=6,
        choices=Washing.choices,
        blank=True,
        default="",
        help_text=_("How what is made of it is washed by whoever wears it; empty: not said."),
    )
    most_stitches_per_minute = models.PositiveIntegerField(
        null=True,
        blank=True,
        help_text=_("The speed this fabric bears; empty for whatever the machine does."),
    )

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


def no_cloth() -> Fabric:
    """Return the cloth of a job that names none: of the usual thickness, without a recipe; it is never kept."""
    return Fabric(name="")


# What data have as the way a layer is laid, whoever reads them.
METHODS_IN_DATA = {
    "hooped": "hooped with the cloth",
    "floated": "floated under the hoop",
    "topping": "laid on top",
    "ironed": "ironed on under the cloth",
    "sprayed": "sprayed on",
}


class Layer(models.Model):
    """One kind of stabilizer in a fabric's recipe."""

    class Method(models.TextChoices):
        HOOPED = "hooped", _("hooped with the cloth")
        FLOATED = "floated", _("floated under the hoop")
        TOPPING = "topping", _("laid on top")
        IRONED = "ironed", _("ironed on under the cloth")
        SPRAYED = "sprayed", _("sprayed on")

    fabric = models.ForeignKey(Fabric, on_delete=models.CASCADE, related_name="layers")
    order = models.PositiveSmallIntegerField(default=1)
    # Fabric for applique goes with a design's stops, not with a cloth.
    kind = models.CharField(
        max_length=10,
        choices=[
            (kind.value, kind.label)
            for kind in StabilizerProduct.Kind
            if kind != StabilizerProduct.Kind.FABRIC
        ],
    )
    weight_from_g_m2 = models.FloatField(default=0.0)
    weight_to_g_m2 = models.FloatField(default=1000.0)
    method = models.CharField(max_length=8, choices=Method.choices, default=Method.HOOPED)
    count = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1)])
    grain_matters = models.BooleanField(default=False)
    crossed = models.BooleanField(
        default=False,
        help_text=_(
            "Every second layer is turned by a quarter, where the stabilizer has a grain; one alone is turned."
        ),
    )

    class Meta:
        ordering = ["fabric", "order"]
        constraints = [models.UniqueConstraint(fields=["fabric", "order"], name="one_layer_at_each_place")]

    def __str__(self) -> str:
        said = gettext("{count} × {kind}, {method}").format(
            count=self.count, kind=gettext(self.kind), method=self.get_method_display()
        )
        return said + (gettext(", crossed") if self.crossed else "")
