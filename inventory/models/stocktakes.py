"""Stocktakes: going round the shelf, item by item, over hours or days."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext as _


class StocktakeQuerySet(models.QuerySet["Stocktake"]):
    def going_on(self) -> "StocktakeQuerySet":
        return self.filter(finished_at__isnull=True)


class Stocktake(models.Model):
    """One round of the shelf: of a place, or of a list of items such as what the open jobs need."""

    # NULL where a list of items is counted, wherever each of them is.
    place = models.ForeignKey(
        "inventory.Place", null=True, blank=True, on_delete=models.PROTECT, related_name="stocktakes"
    )
    what = models.CharField(max_length=120)
    started_at = models.DateTimeField()
    # NULL while it goes on.
    finished_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=80, unique=True)

    objects = StocktakeQuerySet.as_manager()

    class Meta:
        ordering = ["-started_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["place"],
                condition=Q(finished_at__isnull=True),
                name="one_stocktake_of_a_place_at_a_time",
            ),
            models.CheckConstraint(
                name="stocktake_ends_after_it_began",
                condition=Q(finished_at__isnull=True) | Q(finished_at__gte=F("started_at")),
            ),
        ]

    def __str__(self) -> str:
        return self.what

    @property
    def said(self) -> str:
        """What is counted, in the reader's language; ``what`` is as it was begun."""
        place = self.what.removeprefix("all of ")
        return _("all of {place}").format(place=place) if self.place_id and place != self.what else self.what


class StocktakeLineQuerySet(models.QuerySet["StocktakeLine"]):
    def seen(self) -> "StocktakeLineQuerySet":
        """Lines whose finding stands: written, and not taken back since."""
        return self.filter(entry__isnull=False, entry__reversed_by__isnull=True)

    def unseen(self) -> "StocktakeLineQuerySet":
        return self.filter(Q(entry__isnull=True) | Q(entry__reversed_by__isnull=False))


class StocktakeLine(models.Model):
    """One item of a stocktake: what the books expected and what was found, in the item's own unit."""

    stocktake = models.ForeignKey(Stocktake, on_delete=models.CASCADE, related_name="lines")
    item = models.ForeignKey("inventory.StockItem", on_delete=models.PROTECT, related_name="stocktake_lines")
    # What the books had at the start and, once it was seen, just before that; stock moves meanwhile.
    expected = models.BigIntegerField()
    # NULL until it was seen.
    found = models.BigIntegerField(null=True, blank=True)
    at = models.DateTimeField(null=True, blank=True)
    entry = models.ForeignKey(
        "inventory.Entry", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # It was not expected here, and turned up all the same.
    turned_up = models.BooleanField(default=False)

    objects = StocktakeLineQuerySet.as_manager()

    class Meta:
        ordering = ["stocktake", "item__label"]
        constraints = [
            models.UniqueConstraint(fields=["stocktake", "item"], name="an_item_once_a_stocktake"),
            models.CheckConstraint(
                name="what_was_found_has_its_entry",
                condition=Q(found__isnull=True, at__isnull=True, entry__isnull=True)
                | Q(found__isnull=False, at__isnull=False, entry__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item} in {self.stocktake}"
