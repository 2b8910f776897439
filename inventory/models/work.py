"""Long work: what was asked for, how far it is, who carries it out, and what came of it."""

from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class WorkProcess(models.Model):
    """A process that carries out long work: a worker, or the site itself. It says again and again that it lives."""

    class Kind(models.TextChoices):
        WORKER = "worker", _("worker")
        SITE = "site", _("site")

    name = models.CharField(max_length=120, unique=True)  # machine, number of the process, and a chance word
    kind = models.CharField(max_length=10, choices=Kind)
    since = models.DateTimeField()
    seen_at = models.DateTimeField()
    gone_at = models.DateTimeField(null=True)  # when it took its leave; NULL while it lives, or was killed

    class Meta:
        ordering = ["-seen_at"]

    def __str__(self) -> str:
        return self.name


class LongWorkQuerySet(models.QuerySet["LongWork"]):
    """Questions about long work."""

    def open(self) -> "LongWorkQuerySet":
        """Those that are not through."""
        return self.filter(ended_at__isnull=True)

    def waiting(self) -> "LongWorkQuerySet":
        """Those that nobody has taken."""
        return self.open().filter(process__isnull=True)

    def under_way(self) -> "LongWorkQuerySet":
        """Those that a process has taken, be it alive or not."""
        return self.open().filter(process__isnull=False)

    def lost(self, at: datetime, *, after: timedelta) -> "LongWorkQuerySet":
        """Those whose process took its leave, or has said nothing for so long."""
        gone = Q(process__gone_at__isnull=False) | Q(process__seen_at__lt=at - after)
        return self.under_way().filter(gone)


class LongWork(models.Model):
    """One piece of long work, asked for once under its key and carried out until it ends."""

    key = models.CharField(max_length=100, unique=True)
    what = models.CharField(max_length=200)
    page = models.CharField(max_length=300, blank=True)  # where what comes of it is seen
    task_path = models.CharField(max_length=200)
    arguments = models.JSONField(default=list)
    task_id = models.CharField(max_length=64, blank=True)  # of its latest turn in the queue
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)  # NULL while it waits or is under way
    process = models.ForeignKey(WorkProcess, null=True, on_delete=models.SET_NULL, related_name="work")
    # Counted up by whoever takes it: one who was thought dead and comes back finds another number, and stops.
    turns = models.PositiveIntegerField(default=0)
    deaths = models.PositiveIntegerField(default=0)  # of processes that had it
    done = models.PositiveBigIntegerField(default=0)
    total = models.PositiveBigIntegerField(default=0)  # 0 while nobody knows how much there is
    saying = models.CharField(max_length=300, blank=True)
    stop_asked_at = models.DateTimeField(null=True)
    stopped_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    # Whether it ended because somebody asked for that; it may be through before it hears of it.
    was_stopped = models.BooleanField(default=False)
    failure = models.CharField(max_length=500, blank=True)

    objects = LongWorkQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-pk"]
        indexes = [models.Index(fields=["ended_at"])]

    def __str__(self) -> str:
        return self.what

    @property
    def state(self) -> str:
        """Return *waiting*, *under way*, *stopping*, *done*, *stopped* or *failed*."""
        if self.ended_at:
            return "failed" if self.failure else "stopped" if self.was_stopped else "done"
        if self.stop_asked_at:
            return "stopping"
        return "waiting" if self.process_id is None else "under way"
