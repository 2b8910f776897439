"""Acts that concern many records at once, each recorded as one so that it is taken back as one."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class _OneAct(models.Model):
    """Who did it and when; ``taken_back_at`` is NULL while it stands."""

    what = models.CharField(max_length=200)
    key = models.CharField(max_length=80, unique=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        abstract = True
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return self.what


class ActOnMany(_OneAct):
    """One thing that was done with many things of the shelf: moved, relabelled, found, taken off the shelf."""

    class Kind(models.TextChoices):
        MOVE = "move", _("moved")
        RELABEL = "relabel", _("given other labels")
        FOUND = "found", _("weighed or counted")
        RETIRE = "retire", _("taken off the shelf")

    kind = models.CharField(max_length=8, choices=Kind.choices)


class PartOfAct(models.Model):
    """What an act on many did with one thing: what it was before and after, or the key of what the ledger has of it."""

    act = models.ForeignKey(ActOnMany, on_delete=models.CASCADE, related_name="parts")
    item = models.ForeignKey("inventory.StockItem", on_delete=models.PROTECT, related_name="+")
    before = models.CharField(max_length=200, blank=True)
    after = models.CharField(max_length=200, blank=True)
    # Where it was, for what was moved: NULL where it had no place, and for every other act.
    place_before = models.ForeignKey(
        "inventory.Place", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    ledger_key = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["act", "id"]

    def __str__(self) -> str:
        return f"{self.item_id}: {self.before} to {self.after}"


class ShadeAct(_OneAct):
    """A shade that got another code or name, or became one with another shade, with all that rested on it."""

    class Kind(models.TextChoices):
        RENAME = "rename", _("renamed")
        MERGE = "merge", _("made one with another")

    kind = models.CharField(max_length=8, choices=Kind.choices)
    # The shade that is there afterwards.
    shade = models.ForeignKey("inventory.Shade", on_delete=models.PROTECT, related_name="acts")
    # All that is needed to take it back: the record as it was, the rows that were carried over by table and number,
    # and the rows that had to go because the other shade had their like.
    before = models.JSONField(default=dict)
    carried = models.JSONField(default=dict)
    dropped = models.JSONField(default=list)
    # What rested on it, in words, as the person was told.
    told = models.JSONField(default=list)
