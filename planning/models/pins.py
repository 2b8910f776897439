"""Shades that a kept job holds on to: pinned to a block, or left out."""

from django.db import models


class PinnedShade(models.Model):
    """The one shade that a block of a design is stitched with in a job, whatever else would come nearer."""

    job = models.ForeignKey("planning.Job", on_delete=models.CASCADE, related_name="pinned_shades")
    design = models.ForeignKey("planning.Design", on_delete=models.CASCADE, related_name="+")
    block = models.PositiveSmallIntegerField()
    shade = models.ForeignKey("inventory.Shade", on_delete=models.CASCADE, related_name="+")

    class Meta:
        ordering = ["job", "design", "block"]
        constraints = [
            models.UniqueConstraint(fields=["job", "design", "block"], name="one_pinned_shade_a_block")
        ]

    def __str__(self) -> str:
        return f"{self.design}, block {self.block}: {self.shade}"


class LeftOutShade(models.Model):
    """A shade that a job is not to use."""

    job = models.ForeignKey("planning.Job", on_delete=models.CASCADE, related_name="left_out_shades")
    shade = models.ForeignKey("inventory.Shade", on_delete=models.CASCADE, related_name="+")

    class Meta:
        ordering = ["job", "id"]
        constraints = [models.UniqueConstraint(fields=["job", "shade"], name="left_out_once_a_job")]

    def __str__(self) -> str:
        return str(self.shade)
