"""Designs, block by block, with the sums that make an estimate a formula; and how they came into the library."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Abs
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.compute.colour.lab import Lab, lab_from_hex
from planning.compute.stabilizer.recipes import density_per_cm2
from planning.compute.stitches.thread_length import BlockSums
from planning.compute.stitches.warnings import FileWarning, graded


class Tag(models.Model):
    """A word that a workshop finds designs by."""

    name = models.CharField(max_length=30, unique=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class DesignQuerySet(models.QuerySet["Design"]):
    def listed(self) -> "DesignQuerySet":
        """One for every drawing: the variant that plans use."""
        return self.filter(variant_of__isnull=True)

    def fitting(self, *, field_width_mm: int, field_height_mm: int) -> "DesignQuerySet":
        """Designs that a hoop's field takes, upright or turned by a quarter."""
        upright = Q(width_mm__lte=field_width_mm, height_mm__lte=field_height_mm)
        turned = Q(width_mm__lte=field_height_mm, height_mm__lte=field_width_mm)
        return self.filter(upright | turned)


class Design(models.Model):
    """A stitch file that was read: one row for one content, whatever it was called.

    Files of several formats with one drawing are its variants. Plans, name, tags and notes go by the one whose
    ``variant_of`` is NULL; the others point to it.
    """

    sha256 = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=120)
    format = models.CharField(max_length=4)
    size_bytes = models.PositiveIntegerField()
    width_mm = models.FloatField()
    height_mm = models.FloatField()
    stitches = models.PositiveIntegerField()
    trims = models.PositiveIntegerField()
    stops = models.PositiveIntegerField(default=0)
    trim_at_jumps = models.PositiveSmallIntegerField(
        help_text=_("The machine's rule under which the file was walked.")
    )
    warnings = models.JSONField(default=list)
    # One a warning (planning.compute.stitches.warnings); fewer for a design kept before they were graded.
    warning_grades = models.JSONField(default=list)
    # What planning.compute.stitches.sameness compares; empty for a design kept before it was taken.
    outline = models.JSONField(default=list)
    variant_of = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.RESTRICT, related_name="variants"
    )
    # A person said that plans use this variant; importing a better one changes nothing then.
    picked_by_hand = models.BooleanField(default=False)
    favourite = models.BooleanField(default=False)
    tags = models.ManyToManyField(Tag, blank=True, related_name="designs")
    added_at = models.DateTimeField()

    objects = DesignQuerySet.as_manager()

    class Meta:
        ordering = ["name", "id"]
        indexes = [models.Index(fields=["width_mm", "height_mm"])]
        constraints = [
            models.CheckConstraint(name="no_design_is_its_own_variant", condition=~Q(variant_of=F("pk")))
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def graded_warnings(self) -> tuple[FileWarning, ...]:
        """What a person should know of the file, the gravest first."""
        return graded(self.warnings, self.warning_grades)

    @property
    def density_per_cm2(self) -> float:
        """Stitches on each square centimetre of the upright rectangle round the design."""
        return density_per_cm2(self.stitches, self.width_mm, self.height_mm)

    @property
    def file_name(self) -> str:
        return f"{self.name}.{self.format.lower()}"


class Block(models.Model):
    """One colour block: what was asked for and the sums a plan needs.

    ``bobbin_path_mm`` holds the bobbin path on the grid of κ, ``back_draw_mm`` the back-draw at κ = 1; a plan
    computes from these and never reads the file again.
    """

    design = models.ForeignKey(Design, on_delete=models.CASCADE, related_name="blocks")
    number = models.PositiveSmallIntegerField()
    # Empty where neither the file nor a person has said which colour.
    hex = models.CharField(max_length=7, blank=True)
    name = models.CharField(max_length=120, blank=True)
    code = models.CharField(max_length=40, blank=True)
    # The colour as it was given, where that was Lab or a shade: closer than hex can say. NULL: hex is all.
    lab_l = models.FloatField(null=True, blank=True)
    lab_a = models.FloatField(null=True, blank=True)
    lab_b = models.FloatField(null=True, blank=True)
    # The shade that a person named; NULL where none was, or where it has left the catalogue since.
    shade = models.ForeignKey(
        "inventory.Shade", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    chosen_by_hand = models.BooleanField(default=False)
    # Where the colour comes from (planning.compute.colour.sources): a file's is a wish, a person's a demand.
    colour_source = models.CharField(max_length=7, blank=True, default="")
    # The thread of the block before stays on: the change in the file is only a stop.
    same_thread = models.BooleanField(default=False)
    # What the file itself asks for, to go back to.
    file_hex = models.CharField(max_length=7, blank=True)
    file_name = models.CharField(max_length=120, blank=True)
    file_code = models.CharField(max_length=40, blank=True)
    file_source = models.CharField(max_length=7, blank=True, default="")
    stops = models.PositiveSmallIntegerField(default=0)
    drawn_mm = models.FloatField()
    penetrations = models.PositiveIntegerField()
    back_draw_mm = models.FloatField()
    bobbin_path_mm = models.JSONField()
    runs = models.PositiveIntegerField()
    trims = models.PositiveIntegerField()
    zero_length = models.PositiveIntegerField()
    dragged_mm = models.FloatField()

    class Meta:
        ordering = ["design", "number"]
        indexes = [models.Index(fields=["hex"])]
        constraints = [models.UniqueConstraint(fields=["design", "number"], name="one_block_by_each_number")]

    def __str__(self) -> str:
        return gettext("block {block}").format(block=self.number)

    @property
    def sums(self) -> BlockSums:
        return BlockSums(
            drawn_mm=self.drawn_mm,
            penetrations=self.penetrations,
            back_draw_mm=self.back_draw_mm,
            bobbin_path_mm=tuple(self.bobbin_path_mm),
            runs=self.runs,
            trims=self.trims,
            zero_length=self.zero_length,
            dragged_mm=self.dragged_mm,
        )

    @property
    def lab(self) -> Lab | None:
        if self.lab_l is not None and self.lab_a is not None and self.lab_b is not None:
            return Lab(self.lab_l, self.lab_a, self.lab_b)
        return lab_from_hex(self.hex) if self.hex else None


class StitchOutNoteQuerySet(models.QuerySet["StitchOutNote"]):
    def nearest_in_density(self, per_cm2: float) -> "StitchOutNoteQuerySet":
        """Notes by how much their density differs; those that know none come last."""
        return self.annotate(apart=Abs(F("density_per_cm2") - per_cm2)).order_by(
            F("apart").asc(nulls_last=True), "-stitched_on", "-id"
        )


class StitchOutNote(models.Model):
    """What a test stitch-out of a design showed, on which fabric, with which layers, at which density."""

    class Verdict(models.TextChoices):
        GOOD = "good", _("good as it is")
        CHANGE = "change", _("good with a change")
        BAD = "bad", _("not to be used so")

    design = models.ForeignKey(Design, on_delete=models.CASCADE, related_name="stitch_outs")
    stitched_on = models.DateField()
    fabric = models.CharField(max_length=60)
    # The fabric of that name in the workshop's list, if there is one; what follows is as it was that day.
    known_fabric = models.ForeignKey(
        "planning.Fabric", null=True, blank=True, on_delete=models.SET_NULL, related_name="stitch_outs"
    )
    recipe = models.CharField(max_length=300, blank=True)
    # NULL for a note that was kept before densities were.
    density_per_cm2 = models.FloatField(null=True, blank=True)
    verdict = models.CharField(max_length=6, choices=Verdict.choices)
    words = models.CharField(max_length=500, blank=True)
    needle = models.CharField(max_length=40, blank=True, help_text=_("Size and point."))
    stitches_per_minute = models.PositiveIntegerField(_("speed, stitches a minute"), null=True, blank=True)
    tension = models.CharField(
        max_length=80, blank=True, help_text=_("How the back looked, or what was set.")
    )
    # The SHA-256 of a photograph, under which the file store has it; empty without one.
    photo = models.CharField(max_length=64, blank=True, editable=False)
    # The test piece of a run that it tells of, where it was noted at the machine.
    event = models.ForeignKey(
        "planning.RunEvent", null=True, editable=False, on_delete=models.SET_NULL, related_name="notes"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")

    objects = StitchOutNoteQuerySet.as_manager()

    class Meta:
        ordering = ["-stitched_on", "-id"]

    def __str__(self) -> str:
        return f"{self.stitched_on}: {self.fabric}, {self.get_verdict_display()}"


class ImportRun(models.Model):
    """Many stitch files on their way into the library, and how far they are."""

    source = models.CharField(max_length=500)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")
    asked_at = models.DateTimeField()
    # NULL while it waits for its turn.
    started_at = models.DateTimeField(null=True, blank=True)
    # The last sign of life of whoever carries it out.
    alive_at = models.DateTimeField(null=True, blank=True)
    # NULL until it is through, or for good if it was killed; another run goes on from there.
    ended_at = models.DateTimeField(null=True, blank=True)
    found = models.PositiveIntegerField(default=0)
    kept = models.PositiveIntegerField(default=0)
    known = models.PositiveIntegerField(default=0)
    refused = models.PositiveIntegerField(default=0)
    # Files of a folder or an archive that are no stitch files by their name.
    passed_over = models.PositiveIntegerField(default=0)
    # Why it could not be carried out at all; empty otherwise.
    failure = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["-asked_at", "-id"]

    def __str__(self) -> str:
        return self.source

    @property
    def done(self) -> int:
        return self.kept + self.known + self.refused


class ImportedFile(models.Model):
    """What became of one file of a run. A file that was skipped as unchanged leaves no row of its own."""

    class Outcome(models.TextChoices):
        KEPT = "kept", _("kept")
        KNOWN = "known", _("known already")
        REFUSED = "refused", _("refused")

    run = models.ForeignKey(ImportRun, on_delete=models.CASCADE, related_name="files")
    path = models.CharField(max_length=1000, db_index=True)
    size_bytes = models.PositiveBigIntegerField()
    # NULL for a file that came through the browser: where it lay then says nothing of it later.
    modified_ns = models.BigIntegerField(null=True, blank=True)
    outcome = models.CharField(max_length=7, choices=Outcome.choices)
    reason = models.CharField(max_length=500, blank=True)
    design = models.ForeignKey(
        Design, null=True, blank=True, on_delete=models.SET_NULL, related_name="imported_as"
    )

    class Meta:
        ordering = ["run", "id"]

    def __str__(self) -> str:
        return f"{self.shown}: {self.get_outcome_display()}"

    @property
    def shown(self) -> str:
        """Its name as the person knows it: what came through the browser is numbered in front."""
        return self.path if self.modified_ns is not None else self.path.partition("/")[2] or self.path

    @property
    def where(self) -> str:
        """What the reason of a refusal leaves open: the folder, where it names the file, or else the file."""
        folder, _, name = self.shown.rpartition("/")
        return folder if name in self.reason else self.shown
