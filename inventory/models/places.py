"""Where things are kept."""

from django.db import models


class Place(models.Model):
    """A wall, rack, drawer or box with a name people use."""

    name = models.CharField(max_length=80, unique=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name
