"""How lists that people keep of their thread were read."""

from django.db import models


class ListShape(models.Model):
    """How a list with certain headings was read when it came last: known by a hash of its headings."""

    shape = models.CharField(max_length=32, unique=True)
    meanings = models.JSONField()  # what each column means, by the names of the listening room
    unit = models.CharField(max_length=2)
    maker = models.CharField(max_length=60, blank=True)
    weight_label = models.CharField(max_length=12, blank=True)
    full_mm = models.BigIntegerField()
    unsaid_is_full = models.BooleanField(default=False)

    def __str__(self) -> str:
        return f"a list of {len(self.meanings)} columns"
