"""What was cut of stabilizer for which job."""

from django.db import models
from django.utils.translation import ngettext


class JobCut(models.Model):
    """The pieces that one act of cutting gave a job; the act's entries of the ledger carry the same ``key``.

    It counts as long as those entries are not taken back.
    """

    job = models.ForeignKey("planning.Job", on_delete=models.CASCADE, related_name="stabilizer_cuts")
    key = models.CharField(max_length=80)
    # Layer by layer: its kind and method, the product's id, width_mm and height_mm of a piece, and the count that
    # was cut; ``layer`` and ``product`` say it in words.
    pieces = models.JSONField()

    class Meta:
        ordering = ["job", "id"]
        constraints = [models.UniqueConstraint(fields=["job", "key"], name="a_job_is_in_a_cut_once")]

    def __str__(self) -> str:
        number = sum(each["count"] for each in self.pieces)
        said = ngettext("{number} piece for {job}", "{number} pieces for {job}", number)
        return said.format(number=number, job=self.job)


class KeptStrips(models.Model):
    """Strips out of the rings of a job that were put on the shelf: the entry of the ledger carries the ``key``.

    They count as long as that entry is not taken back.
    """

    job = models.ForeignKey("planning.Job", on_delete=models.CASCADE, related_name="kept_strips")
    key = models.CharField(max_length=80)

    class Meta:
        ordering = ["job", "id"]
        constraints = [models.UniqueConstraint(fields=["job", "key"], name="strips_of_a_job_are_kept_once")]

    def __str__(self) -> str:
        return f"strips out of the rings of {self.job}"
