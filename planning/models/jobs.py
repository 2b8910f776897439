"""Jobs: what is to be stitched on how many pieces, with every design in its place."""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from planning.compute.stitches.placing import MOST_SCALING, Placement
from planning.models.designs import Design
from planning.models.rules import Strictness

MOST_PIECES = 10_000
# Stock is claimed in this order; in the middle until somebody says otherwise.
USUAL_PRIORITY = 5


class JobQuerySet(models.QuerySet["Job"]):
    def soonest_first(self) -> "JobQuerySet":
        return self.order_by(models.F("needed_on").asc(nulls_last=True), "-made_at")

    def in_turn(self) -> "JobQuerySet":
        """Jobs in the order in which they claim stock: by priority, then by day, then as they were made."""
        return self.order_by("priority", models.F("needed_on").asc(nulls_last=True), "made_at", "id")

    def waiting(self) -> "JobQuerySet":
        """Jobs that will still use material: drafts, promised and running ones."""
        return self.filter(state__in=Job.WAITING)

    def ended(self) -> "JobQuerySet":
        return self.exclude(state__in=Job.WAITING)

    def with_everything(self) -> "JobQuerySet":
        """Jobs with all that a plan reads, in a number of queries that does not grow."""
        # The outline is read where drawings are compared; it is a fifth of all that jobs would keep in memory.
        designs = Design.objects.defer("outline")
        return self.select_related("fabric", "machine__bobbin_style", "hoop", "promise").prefetch_related(
            models.Prefetch("placed__design", designs),
            "placed__design__blocks__shade__range",
            "placed__design__appliques__product",
            "placed__design__appliques__stops",
            models.Prefetch("names__design", designs),
            "names__design__blocks__shade__range",
            "names__design__appliques__product",
            "names__design__appliques__stops",
            "fabric__layers",
            "fabric__stitch_outs",
            "promise__threads",
            "machine__hoops",
            "pinned_shades__shade__range",
            "pinned_shades__design",
            "left_out_shades__shade__range",
        )


class Job(models.Model):
    """So many pieces for some day, on this cloth, machine and hoop."""

    class State(models.TextChoices):
        DRAFT = "draft", _("draft")
        PROMISED = "promised", _("promised")
        RUNNING = "running", _("running")
        FINISHED = "finished", _("finished")
        DROPPED = "dropped", _("dropped")

    class Wearer(models.TextChoices):
        """Who wears it, where more care is asked for."""

        BABY = "baby", _("a baby")
        NIGHTWEAR = "night", _("a child, as nightwear")

    WAITING = (State.DRAFT, State.PROMISED, State.RUNNING)

    what = models.CharField(max_length=120)
    pieces = models.PositiveIntegerField(validators=[MinValueValidator(1), MaxValueValidator(MOST_PIECES)])
    needed_on = models.DateField(null=True, blank=True)
    # NULL means what the question means by leaving it out: no stabilizer, the first machine, the smallest hoop.
    fabric = models.ForeignKey(
        "planning.Fabric", null=True, blank=True, on_delete=models.PROTECT, related_name="jobs"
    )
    machine = models.ForeignKey(
        "planning.Machine", null=True, blank=True, on_delete=models.PROTECT, related_name="jobs"
    )
    hoop = models.ForeignKey(
        "planning.Hoop", null=True, blank=True, on_delete=models.PROTECT, related_name="jobs"
    )
    tests = models.PositiveSmallIntegerField(null=True, blank=True)
    strictness = models.CharField(
        _("colours are"), max_length=8, choices=Strictness.choices, default=Strictness.PICTURE
    )
    wearer = models.CharField(
        _("worn by"), max_length=5, choices=Wearer.choices, blank=True, default="",
        help_text=_("Where more care is asked for; it is said on the plan and the run sheet."),
    )  # fmt: skip
    notes = models.CharField(max_length=500, blank=True)
    state = models.CharField(max_length=8, choices=State.choices, default=State.DRAFT)
    priority = models.PositiveSmallIntegerField(
        default=USUAL_PRIORITY,
        validators=[MinValueValidator(1), MaxValueValidator(9)],
        help_text=_("1 claims stock before 9; jobs of one priority go by their day."),
    )
    # How many copies are stitched in one hooping.
    copies = models.PositiveSmallIntegerField(
        _("copies per hooping"), default=1, validators=[MinValueValidator(1), MaxValueValidator(100)]
    )
    repeats = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.SET_NULL, related_name="repeated_by"
    )
    ended_at = models.DateTimeField(null=True, blank=True)
    made_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-id"]
        constraints = [
            models.CheckConstraint(name="job_has_a_piece", condition=Q(pieces__gte=1)),
            models.CheckConstraint(
                name="an_ended_job_says_when",
                condition=Q(state__in=["finished", "dropped"], ended_at__isnull=False)
                | Q(state__in=["draft", "promised", "running"], ended_at__isnull=True),
            ),
        ]
        indexes = [models.Index(fields=["state", "priority", "needed_on"])]

    def __str__(self) -> str:
        return self.what

    @property
    def holder(self) -> str:
        """The name under which the ledger sets stock aside for this job."""
        return f"job {self.pk}"

    @property
    def is_waiting(self) -> bool:
        return self.state in self.WAITING


class PlacedDesign(models.Model):
    """A design on every piece of a job, where it lies in the field, and which hooping it belongs to."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="placed")
    design = models.ForeignKey("planning.Design", on_delete=models.PROTECT, related_name="placed")
    order = models.PositiveSmallIntegerField(default=1)
    hooping = models.PositiveSmallIntegerField(
        default=1, help_text=_("Designs of one number are stitched in one hooping.")
    )
    x_mm = models.FloatField(_("right of the middle"), default=0.0)
    y_mm = models.FloatField(_("below the middle"), default=0.0)
    turned_deg = models.FloatField(_("turned, degrees"), default=0.0)
    mirrored = models.BooleanField(default=False)
    scale_percent = models.FloatField(_("size, %"), default=100.0)

    class Meta:
        ordering = ["job", "order", "id"]
        constraints = [
            models.CheckConstraint(
                name="scaled_by_a_fifth_at_most",
                condition=Q(
                    scale_percent__gte=100 * (1 - MOST_SCALING), scale_percent__lte=100 * (1 + MOST_SCALING)
                ),
            )
        ]

    def __str__(self) -> str:
        return gettext("{design} on {job}").format(design=self.design, job=self.job)

    @property
    def placement(self) -> Placement:
        return Placement(
            x_mm=self.x_mm,
            y_mm=self.y_mm,
            turned_deg=self.turned_deg,
            mirrored=self.mirrored,
            scale=self.scale_percent / 100,
        )


class NamedPiece(models.Model):
    """The lettering of one piece: its name and the design that was digitized for it."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="names")
    number = models.PositiveIntegerField()
    text = models.CharField(max_length=60)
    design = models.ForeignKey("planning.Design", on_delete=models.PROTECT, related_name="named")

    class Meta:
        ordering = ["job", "number"]
        constraints = [models.UniqueConstraint(fields=["job", "number"], name="one_name_a_piece")]

    def __str__(self) -> str:
        return f"{self.number}: {self.text}"
