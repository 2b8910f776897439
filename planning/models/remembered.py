"""Answers that are remembered: which shade stands for a colour of files, for a block, a design, or every file."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext

from inventory.models import Shade
from planning.models.designs import Design

EVERY_FILE = "every"


class RememberedColour(models.Model):
    """One answer. A row is never changed or deleted: an act ends rows and makes others, and can be taken back."""

    # The colour that files ask for; empty for a block that asks for none.
    hex = models.CharField(max_length=7, blank=True)
    # NULL for every file.
    design = models.ForeignKey(
        Design, null=True, blank=True, on_delete=models.CASCADE, related_name="remembered"
    )
    # NULL for every block that asks for the colour.
    block = models.PositiveSmallIntegerField(null=True, blank=True)
    # What of the three it is for, as one word, so that a database can hold that there is one answer for each.
    scope = models.CharField(max_length=30, default=EVERY_FILE)
    shade = models.ForeignKey(Shade, on_delete=models.CASCADE, related_name="+")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")
    at = models.DateTimeField()
    act = models.CharField(max_length=36)
    # NULL while it holds.
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by_act = models.CharField(max_length=36, blank=True)

    class Meta:
        ordering = ["hex", "scope", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["hex", "scope"],
                condition=Q(ended_at__isnull=True),
                name="one_answer_is_remembered",
            ),
            models.CheckConstraint(
                name="remembered_block_has_its_design",
                condition=Q(block__isnull=True) | Q(design__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.hex or 'no colour'} ({self.scope_in_words}): {self.shade}"

    @property
    def is_for(self) -> str:
        """What it is for as a form sends it: nothing, the SHA-256 of a design, or that and a block."""
        if self.design is None:
            return ""
        return self.design.sha256 if self.block is None else f"{self.design.sha256}.{self.block}"

    @property
    def scope_in_words(self) -> str:
        if self.design is None:
            return gettext("every file")
        if self.block is None:
            return str(self.design)
        return gettext("{design}, block {block}").format(design=self.design, block=self.block)


def scope_of(design_id: int | None, block: int | None) -> str:
    """Return the word for what an answer is for.

    >>> scope_of(None, None), scope_of(7, None), scope_of(7, 2)
    ('every', '7', '7.2')
    """
    if design_id is None:
        return EVERY_FILE
    return str(design_id) if block is None else f"{design_id}.{block}"
