"""What was promised for a job, and what happened at the machine: frozen records and a diary that only grows."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class Promise(models.Model):
    """A job's plan as it was when its material was set aside.

    Lists by position have one number for each piece to stitch: tests, ordered pieces, then those that may replace
    spoiled ones. Geometry is what the stitches draw, before the factor of section *how sure* scales it.
    """

    job = models.OneToOneField("planning.Job", on_delete=models.CASCADE, related_name="promise")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    verdict = models.CharField(max_length=8)
    answer = models.JSONField(help_text="The whole plan, as scripts get it.")
    tests = models.PositiveSmallIntegerField()
    pieces = models.PositiveIntegerField(help_text="Ordered pieces.")
    to_stitch = models.PositiveIntegerField()
    bobbin_median = models.FloatField()
    # As of a thread's; NULL on older promises.
    bobbin_relative_sigma = models.FloatField(null=True)
    bobbin_level_sigma = models.FloatField(null=True)
    bobbin_mm = models.BigIntegerField(null=True, help_text="Thread on one full bobbin.")
    bobbin_geometry_mm = models.JSONField(default=list, help_text="By position.")
    # How that geometry changes with the draw-in κ, as ∂ ln length / ∂κ, and κ itself; NULL on older promises.
    bobbin_kappa_slope = models.FloatField(null=True)
    kappa = models.FloatField(null=True)
    bobbins_sure = models.PositiveIntegerField(
        default=0, help_text="How many were thought to be enough for sure."
    )
    first_bobbin = models.CharField(
        max_length=24, blank=True, help_text="A part bobbin; empty for a full one."
    )
    # Position from 1, the block as the sheet calls it, and the label of a part bobbin, empty for a full one.
    bobbin_changes = models.JSONField(default=list)
    # Positions at which a full one runs out inside a block.
    bobbin_interruptions = models.JSONField(default=list)
    begun_at = models.DateTimeField(null=True)
    machine_min = models.FloatField()
    waiting_min = models.FloatField(default=0.0, help_text="Of these, trims, stops and thread changes.")
    stitches = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return f"Promise of {self.job}"


class PromisedThread(models.Model):
    """One thread of a promised job, with everything that its label said at the time."""

    promise = models.ForeignKey(Promise, on_delete=models.CASCADE, related_name="threads")
    order = models.PositiveSmallIntegerField(help_text="In which it is threaded, from 1.")
    # NULL where it goes on a needle that another thread had first, or the machine has only one.
    needle = models.PositiveSmallIntegerField(null=True)
    asked_hex = models.CharField(max_length=7, blank=True)
    asked_name = models.CharField(max_length=120, blank=True)
    blocks = models.JSONField(help_text="Pairs of design (from 0) and block number.")
    # NULL where nothing near was on the shelf.
    shade = models.ForeignKey("inventory.Shade", null=True, on_delete=models.PROTECT, related_name="+")
    maker = models.CharField(max_length=60, blank=True)
    range_name = models.CharField(max_length=60, blank=True)
    code = models.CharField(max_length=20, blank=True)
    name = models.CharField(max_length=60, blank=True)
    hex = models.CharField(max_length=7, blank=True)
    needed_mm = models.BigIntegerField()
    missing_mm = models.BigIntegerField(default=0)
    median = models.FloatField(help_text="The use factor that the lengths were planned with.")
    relative_sigma = models.FloatField(help_text="How far one job strays from it, as a share.")
    # Of that, what every job of the machine is off by alike; NULL on older promises.
    level_sigma = models.FloatField(null=True, help_text="How well the factor itself is known, as a share.")
    geometry_mm = models.JSONField(help_text="By position.")
    path_mm = models.JSONField(
        default=list, help_text="By position: what is lost at thread changes, which no factor scales."
    )
    kappa_slope = models.FloatField(null=True, help_text="∂ ln geometry / ∂κ; NULL on older promises.")

    class Meta:
        ordering = ["promise", "order"]
        constraints = [models.UniqueConstraint(fields=["promise", "order"], name="one_thread_a_turn")]

    def __str__(self) -> str:
        return f"{self.maker} {self.range_name} {self.code} {self.name}".strip() or self.asked_name


class PromisedSpool(models.Model):
    """A spool's turn at a thread: the positions it is for, and the lot it carried."""

    thread = models.ForeignKey(PromisedThread, on_delete=models.CASCADE, related_name="spools")
    order = models.PositiveSmallIntegerField()
    item = models.ForeignKey("inventory.StockItem", on_delete=models.PROTECT, related_name="+")
    lot = models.CharField(max_length=40, blank=True)
    from_position = models.PositiveIntegerField()
    to_position = models.PositiveIntegerField()
    # Where it goes on a needle to spare; NULL where it follows on the needle of the spool before.
    needle = models.PositiveSmallIntegerField(null=True)
    # The position before which that needle can be threaded: 1 for before the start.
    ready_position = models.PositiveIntegerField(null=True)

    class Meta:
        ordering = ["thread", "order"]

    def __str__(self) -> str:
        return f"{self.item} for {self.from_position} to {self.to_position}"


class RunEventQuerySet(models.QuerySet["RunEvent"]):
    def standing(self) -> "RunEventQuerySet":
        """Events that were not taken back, and are no taking back themselves."""
        return self.filter(taken_back_by__isnull=True).exclude(kind=RunEvent.Kind.TAKEN_BACK)


class RunEvent(models.Model):
    """One thing that happened at the machine. Stock that it moved is in the ledger under the event's key."""

    class Kind(models.TextChoices):
        PIECE = "piece", _("piece done")
        SPOILED = "spoiled", _("piece spoiled")
        BREAK = "break", _("thread broke")
        RESTITCH = "restitch", _("part stitched again")
        SPOOL = "spool", _("spool swapped")
        BOBBIN = "bobbin", _("bobbin changed")
        TENSION = "tension", _("tension changed")
        NEEDLE = "needle", _("needle changed")
        STOP = "stop", _("stopped")
        TEST = "test", _("test looked at")
        TAKEN_BACK = "back", _("taken back")

    class Showing(models.TextChoices):
        """How much bobbin thread shows on the back of a satin column, after a change of tension."""

        MORE = "more", _("more bobbin showing")
        THIRDS = "thirds", _("equal thirds")
        LESS = "less", _("less bobbin showing")

    class TestVerdict(models.TextChoices):
        """What a person says of a test piece: stitch the others like it, or change something first."""

        GO_ON = "go on", _("go on")
        CHANGE = "change", _("change something")

    job = models.ForeignKey("planning.Job", on_delete=models.CASCADE, related_name="events")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    position = models.PositiveIntegerField()
    thread = models.ForeignKey(PromisedThread, null=True, on_delete=models.PROTECT, related_name="+")
    item = models.ForeignKey("inventory.StockItem", null=True, on_delete=models.PROTECT, related_name="+")
    share = models.FloatField(default=1.0, help_text="Of the thread's stitches that were stitched again.")
    minutes = models.FloatField(default=0.0, help_text="Time at hand that it cost.")
    showing = models.CharField(max_length=6, choices=Showing.choices, blank=True)
    test_verdict = models.CharField(max_length=6, choices=TestVerdict.choices, blank=True)
    note = models.CharField(max_length=200, blank=True)
    takes_back = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="taken_back_by"
    )
    key = models.CharField(max_length=60, unique=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    station = models.CharField(
        max_length=60, null=True
    )  # the tablet at which it was told; NULL where at none

    objects = RunEventQuerySet.as_manager()

    class Meta:
        ordering = ["job", "id"]
        constraints = [
            models.CheckConstraint(
                name="taking_back_names_what",
                condition=Q(kind="back", takes_back__isnull=False)
                | (~Q(kind="back") & Q(takes_back__isnull=True)),
            ),
            models.CheckConstraint(name="a_share_of_the_block", condition=Q(share__gt=0, share__lte=1)),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {self.position}"


class RunReport(models.Model):
    """How a finished job went, as it was known when it was finished."""

    job = models.OneToOneField("planning.Job", on_delete=models.CASCADE, related_name="report")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    station = models.CharField(
        max_length=60, null=True
    )  # the tablet at which it was finished; NULL where at none
    facts = models.JSONField(help_text="Planned against actual: lengths in mm, minutes, money as text.")

    def __str__(self) -> str:
        return f"Report of {self.job}"


class Reopening(models.Model):
    """A finished job that was opened again: who did it and why, with the report as it was."""

    job = models.ForeignKey("planning.Job", on_delete=models.CASCADE, related_name="reopenings")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    station = models.CharField(max_length=60, null=True)  # the tablet at which that was said
    why = models.CharField(max_length=200)
    finished_at = models.DateTimeField()
    facts = models.JSONField(help_text="The report that this put aside.")

    class Meta:
        ordering = ["job", "id"]

    def __str__(self) -> str:
        return f"{self.job} opened again"
