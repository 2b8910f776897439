"""Machines and hoops, with what the planner must know of them."""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from planning.compute.hooping.timing import MachineTimes
from planning.compute.stitches.thread_length import ThreadSettings

DEFAULT_THREAD = ThreadSettings()
DEFAULT_TIMES = MachineTimes()
# A needle is changed after about eight hours of stitching: common practice, no source.
NEEDLE_LIFE_H = 8
DEFAULT_NEEDLE_LIFE = round(NEEDLE_LIFE_H * 60 * DEFAULT_TIMES.stitches_per_minute * DEFAULT_TIMES.efficiency)


class Machine(models.Model):
    """An embroidery machine: its needles, its pace, and what it does to thread."""

    name = models.CharField(max_length=60, unique=True)
    needles = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1)])
    bobbin_style = models.ForeignKey(
        "inventory.BobbinStyle", null=True, blank=True, on_delete=models.PROTECT, related_name="machines"
    )
    stitches_per_minute = models.PositiveIntegerField(
        default=700, validators=[MinValueValidator(50)], help_text=_("The speed that is set.")
    )
    efficiency = models.FloatField(
        default=DEFAULT_TIMES.efficiency,
        validators=[MinValueValidator(0.05), MaxValueValidator(1.0)],
        help_text=_("Effective speed as a share of the speed set: it slows for jumps and long stitches."),
    )
    trim_s = models.FloatField(_("seconds a trim"), default=DEFAULT_TIMES.trim_s)
    stop_s = models.FloatField(_("seconds a stop"), default=DEFAULT_TIMES.stop_s)
    thread_change_s = models.FloatField(_("seconds a needle change"), default=DEFAULT_TIMES.thread_change_s)
    rethread_s = models.FloatField(_("seconds a rethread by hand"), default=DEFAULT_TIMES.rethread_s)
    bobbin_change_s = models.FloatField(_("seconds a bobbin change"), default=DEFAULT_TIMES.bobbin_change_s)
    hooping_s = models.FloatField(_("seconds a hooping"), default=DEFAULT_TIMES.hooping_s)
    trim_at_jumps = models.PositiveSmallIntegerField(
        default=3, validators=[MinValueValidator(1)], help_text=_("It trims at so many jumps in a row.")
    )
    kappa = models.FloatField(
        _("draw-in κ"),
        default=DEFAULT_THREAD.kappa,
        validators=[MinValueValidator(0.0), MaxValueValidator(0.5)],
        help_text=_("One third where the back of a satin column shows equal thirds; see Help."),
    )
    interlock_depth = models.FloatField(
        default=DEFAULT_THREAD.interlock_depth,
        validators=[MinValueValidator(0.0), MaxValueValidator(1.0)],
        help_text=_("0.5 at the centre of the cloth, 1 at its back."),
    )
    bobbin_start = models.FloatField(
        _("bobbin thread beyond the drawn"),
        default=1.0,
        validators=[MinValueValidator(0.2), MaxValueValidator(5.0)],
        help_text=_("What bobbin thread takes for each metre reckoned, before anything was weighed."),
    )
    needle_tail_start_mm = models.FloatField(default=DEFAULT_THREAD.needle_tail_start_mm)
    needle_tail_trim_mm = models.FloatField(default=DEFAULT_THREAD.needle_tail_trim_mm)
    bobbin_tail_start_mm = models.FloatField(default=DEFAULT_THREAD.bobbin_tail_start_mm)
    bobbin_tail_trim_mm = models.FloatField(default=DEFAULT_THREAD.bobbin_tail_trim_mm)
    threaded_path_mm = models.FloatField(
        default=DEFAULT_THREAD.threaded_path_mm, help_text=_("Thread lost at each rethread by hand.")
    )
    # Of the machine as a whole, as if one needle made them all: with several needles that errs to the safe side.
    stitches_since_needle = models.PositiveBigIntegerField(default=0)
    needle_life_stitches = models.PositiveIntegerField(
        default=DEFAULT_NEEDLE_LIFE,
        validators=[MinValueValidator(1)],
        help_text=_(
            "After so many stitches the needle is changed. Common practice: eight hours of stitching."
        ),
    )
    hoops = models.ManyToManyField("planning.Hoop", blank=True, related_name="machines")

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(name="machine_has_a_needle", condition=Q(needles__gte=1))]

    def __str__(self) -> str:
        return self.name

    @property
    def times(self) -> MachineTimes:
        return self.times_at(efficiency=self.efficiency)

    def times_at(self, *, efficiency: float, at_most: int | None = None) -> MachineTimes:
        """Return its times with an effective speed that was learned instead of the one set.

        ``at_most`` is the speed that a cloth or a thread bears, where that is less than the one set; the share that
        is lost to starts and long stitches is taken to be the same at both.
        """
        speed = min(self.stitches_per_minute, at_most or self.stitches_per_minute)
        return MachineTimes(
            stitches_per_minute=speed,
            efficiency=efficiency,
            trim_s=self.trim_s,
            stop_s=self.stop_s,
            thread_change_s=self.thread_change_s,
            rethread_s=self.rethread_s,
            bobbin_change_s=self.bobbin_change_s,
            hooping_s=self.hooping_s,
            needles=self.needles,
        )

    def thread_settings(self, *, thickness_mm: float, allowance: float) -> ThreadSettings:
        """Return how this machine lays thread in cloth and layers ``thickness_mm`` thick."""
        return ThreadSettings(
            kappa=self.kappa,
            thickness_mm=thickness_mm,
            interlock_depth=self.interlock_depth,
            needle_tail_start_mm=self.needle_tail_start_mm,
            needle_tail_trim_mm=self.needle_tail_trim_mm,
            bobbin_tail_start_mm=self.bobbin_tail_start_mm,
            bobbin_tail_trim_mm=self.bobbin_tail_trim_mm,
            threaded_path_mm=self.threaded_path_mm,
            allowance=allowance,
        )


class NeedleNote(models.Model):
    """What moved a machine's count of stitches, for good: so many stitched, or a needle changed."""

    machine = models.ForeignKey(Machine, on_delete=models.CASCADE, related_name="needle_notes")
    # NULL where the needle was changed and the count began again.
    stitches = models.PositiveBigIntegerField(null=True, blank=True)
    # What the count had come to when the needle was changed.
    lasted_stitches = models.PositiveBigIntegerField(null=True, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=80, unique=True)

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="needle_note_says_one_thing",
                condition=Q(stitches__isnull=False, lasted_stitches__isnull=True)
                | Q(stitches__isnull=True, lasted_stitches__isnull=False),
            )
        ]

    def __str__(self) -> str:
        what = "needle changed" if self.stitches is None else f"{self.stitches:,} stitches"
        return f"{self.machine}: {what}"


class HoopQuerySet(models.QuerySet["Hoop"]):
    def smallest_first(self) -> "HoopQuerySet":
        return self.order_by(models.F("field_width_mm") * models.F("field_height_mm"), "name")


class Hoop(models.Model):
    """A hoop: the field the needle can reach and the inner ring that holds the cloth."""

    name = models.CharField(max_length=60, unique=True)
    field_width_mm = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    field_height_mm = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    ring_width_mm = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    ring_height_mm = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    # A stabilizer piece size set for this hoop; NULL means inner ring plus the margin of the rules.
    piece_width_mm = models.PositiveIntegerField(null=True, blank=True)
    piece_height_mm = models.PositiveIntegerField(null=True, blank=True)
    # Its stabilizer is a strip of the set size, strapped round with the cap: no ring tells how large.
    is_cap_frame = models.BooleanField(_("takes caps"), default=False)

    objects = HoopQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                name="cap_frame_has_a_strip_size",
                condition=Q(is_cap_frame=False)
                | Q(piece_width_mm__isnull=False, piece_height_mm__isnull=False),
            )
        ]

    def __str__(self) -> str:
        return self.name

    def holds(self, *, width_mm: float, height_mm: float) -> bool:
        """Whether a design of this size fits the field, turned by a quarter if need be."""
        upright = width_mm <= self.field_width_mm and height_mm <= self.field_height_mm
        turned = height_mm <= self.field_width_mm and width_mm <= self.field_height_mm
        return upright or turned

    def piece_mm(self, *, margin_mm: int) -> tuple[int, int]:
        """Return width and height of the stabilizer piece for one hooping."""
        if self.piece_width_mm and self.piece_height_mm:
            return self.piece_width_mm, self.piece_height_mm
        return self.ring_width_mm + 2 * margin_mm, self.ring_height_mm + 2 * margin_mm
