"""Recipes to begin with, what looks wrong with one, and what worked before."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from inventory.compute.spoken import N_, figure
from planning.compute.batch.asked import AskedDesign
from planning.compute.stabilizer.layers import LayerNeed
from planning.compute.stabilizer.recipes import density_per_cm2, recipe_doubts
from planning.facts.layers import recipe_in_words
from planning.models import Fabric, Layer, StitchOutNote

Method = Layer.Method
Stretch = Fabric.Stretch

# A note of a test speaks of densities within this share of its own: common practice, no source.
LIKE_DENSITY = 0.25


@dataclass(frozen=True)
class Starter:
    """A class of fabrics with the recipe that common practice begins with; no source, and a test decides.

    What is written here of its name and reason is said in the reader's language.
    """

    slug: str
    written_name: str
    stretch: str
    thickness_mm: float
    layers: tuple[tuple[str, float, float, str, int, bool, bool], ...]  # as in ``LAYERS_IN``
    written_why: str

    @property
    def name(self) -> str:
        return _(self.written_name)

    @property
    def why(self) -> str:
        return _(self.written_why)


LAYERS_IN = ("kind", "weight_from_g_m2", "weight_to_g_m2", "method", "count", "grain_matters", "crossed")

# Thicknesses stand in the proportion of the cloths; their scale is that of the usual thickness, which is fitted.
STARTERS = (
    Starter(
        "woven",
        N_("Stable woven: twill, poplin, canvas"),
        Stretch.NONE,
        1.0,
        (("tear-away", 35, 60, Method.HOOPED, 2, False, False),),
        N_("It holds its shape itself; two light layers tear away one by one."),
    ),
    Starter(
        "firm",
        N_("Firm and heavy: sailcloth, webbing, denim"),
        Stretch.NONE,
        1.3,
        (("tear-away", 40, 80, Method.HOOPED, 1, False, False),),
        N_("It is firm enough that one medium layer does."),
    ),
    Starter(
        "knit",
        N_("Light knit: jersey, piqué"),
        Stretch.SOME,
        1.2,
        (("cut-away", 60, 100, Method.HOOPED, 1, True, False),),
        N_("What stretches keeps its backing for good."),
    ),
    Starter(
        "elastic",
        N_("Very elastic: sports knit, rib"),
        Stretch.MUCH,
        1.2,
        (("cut-away", 50, 80, Method.HOOPED, 2, True, True),),
        N_("Two layers that cross hold it in both directions."),
    ),
    Starter(
        "pile",
        N_("Pile: fleece, towelling"),
        Stretch.SOME,
        2.2,
        (
            ("cut-away", 60, 100, Method.HOOPED, 1, False, False),
            ("topping", 10, 40, Method.TOPPING, 1, False, False),
        ),
        N_("A film on top keeps stitches from sinking into the pile."),
    ),
    Starter(
        "felt",
        N_("Felt and what hoops mark: felt, suede"),
        Stretch.NONE,
        1.8,
        (("tear-away", 35, 80, Method.FLOATED, 1, False, False),),
        N_("It holds itself; a floated sheet spares it the marks of a hoop."),
    ),
    Starter(
        "sheer",
        N_("Sheer: organza, voile"),
        Stretch.NONE,
        0.5,
        (("wash-away", 20, 80, Method.HOOPED, 2, False, False),),
        N_("Nothing may show through, so the backing is washed out."),
    ),
    Starter(
        "cap",
        N_("Structured cap"),
        Stretch.NONE,
        1.6,
        (("tear-away", 60, 100, Method.FLOATED, 1, False, False),),
        N_("One firm strip goes round with the cap on its frame."),
    ),
)


def starter(slug: str) -> Starter | None:
    """Return the starter of that name, or None."""
    return next((each for each in STARTERS if each.slug == slug), None)


def recipe_notes(fabric: Fabric, layers: Sequence[LayerNeed], designs: Sequence[AskedDesign]) -> list[str]:
    """Return what a plan should say of a fabric's recipe for these designs: doubts, and tests that went badly."""
    density = max(map(densest, designs), default=0.0)
    notes = [*recipe_doubts(layers, stretch=fabric.stretch, density=density)]
    if fabric.pk and layers:
        bad = _bad_tests(fabric, density)
        if bad:
            said = _(
                "A test of {day} on {fabric} with this recipe, at {density} stitches per cm², was {verdict}."
            ).format(
                day=bad.stitched_on,
                fabric=fabric,
                density=figure(bad.density_per_cm2 or 0.0, grouped=False),
                verdict=f"{bad.get_verdict_display()}: {bad.words}"
                if bad.words
                else bad.get_verdict_display(),
            )
            notes.append(said)
    return notes


def densest(design: AskedDesign) -> float:
    """Return the stitches per cm² of a design as it is placed."""
    scale = design.placement.scale
    return density_per_cm2(design.stitches, design.width_mm * scale, design.height_mm * scale)


def _bad_tests(fabric: Fabric, density: float) -> StitchOutNote | None:
    """Return the last test at a like density with this very recipe, if it was bad."""
    recipe = recipe_in_words(fabric)[:300]
    # All of them, newest first: so that several jobs' notes can be fetched beforehand.
    for note in fabric.stitch_outs.all():
        like = note.density_per_cm2 is not None and (
            abs(note.density_per_cm2 - density) <= LIKE_DENSITY * density
        )
        if like and note.recipe == recipe:
            return note if note.verdict == StitchOutNote.Verdict.BAD else None
    return None


def worked_before(
    fabric: Fabric, *, density: float | None = None, designs: Iterable[str] = (), limit: int = 5
) -> list[StitchOutNote]:
    """Return the tests on a fabric: those of these ``designs`` (SHA-256) first, all of them, the newest first.

    Then those nearest to ``density`` where it is given, else the newest, up to ``limit`` in all.
    """
    notes = StitchOutNote.objects.filter(known_fabric=fabric).select_related("design", "by")
    own = list(notes.filter(design__sha256__in=set(designs)))
    others = notes.exclude(pk__in=[note.pk for note in own])
    if density is not None:
        others = others.nearest_in_density(density)
    return own + list(others[: max(0, limit - len(own))])
