"""Designs, block by block, with the sums that make an estimate a formula."""

from django.db import models

from planning.compute.thread_length import BlockSums


class Design(models.Model):
    """A stitch file that was read: one row for one content, whatever it was called."""

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
        help_text="The machine's rule under which the file was walked."
    )
    warnings = models.JSONField(default=list)
    added_at = models.DateTimeField()

    class Meta:
        ordering = ["name", "id"]

    def __str__(self) -> str:
        return self.name


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
    chosen_by_hand = models.BooleanField(default=False)
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
        constraints = [models.UniqueConstraint(fields=["design", "number"], name="one_block_by_each_number")]

    def __str__(self) -> str:
        return f"block {self.number}"

    @property
    def sums(self) -> BlockSums:
        return BlockSums(
            drawn_mm=self.drawn_mm,
            penetrations=self.penetrations,
            back_draw_mm=self.back_draw_mm,
            bobbin_mm=tuple(self.bobbin_path_mm),
            runs=self.runs,
            trims=self.trims,
            zero_length=self.zero_length,
            dragged_mm=self.dragged_mm,
        )
