"""The design library: finding designs, and what a person says of them."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import DEFAULT_DB_ALIAS, transaction
from django.db.models import (
    Count,
    F,
    IntegerField,
    Model,
    OuterRef,
    Prefetch,
    ProtectedError,
    Q,
    RestrictedError,
    Subquery,
    prefetch_related_objects,
)
from django.db.models.deletion import Collector
from django.db.models.functions import Coalesce, Lower
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.acting import planned_act, whole_act
from inventory.compute.colour.lab import Lab, delta_e_00, labs_from_hexes
from inventory.compute.errors import WorkshopError
from inventory.kept_files import store
from planning.facts.layers import recipe_in_words
from planning.library.designs import stored_name
from planning.library.folders import designs_in_folders
from planning.library.photos import keep_photo
from planning.library.variants import promote_variant
from planning.models import Block, Design, Fabric, Hoop, StitchOutNote, Tag
from planning.models.designs import DesignQuerySet

# Beyond this a person would hardly call two colours near; CIEDE2000, from trials with the demo's shades.
NEAR_COLOUR = 10.0
MOST_TAGS = 12
ORDERS = {
    "name": _("name"),
    "newest": _("newest first"),
    "stitches": _("fewest stitches"),
    "-stitches": _("most stitches"),
    "size": _("smallest"),
    "-size": _("largest"),
}


class CannotDelete(WorkshopError):
    """Something still needs the design."""


class TooManyTags(WorkshopError):
    """More tags than a design may carry, or one that is too long."""


@dataclass(frozen=True)
class DesignSearch:
    """What a design must answer to; left out means anything."""

    words: str = ""
    hoop: Hoop | None = None
    stitches_from: int | None = None
    stitches_to: int | None = None
    colours_to: int | None = None
    near: Lab | None = None
    tag: Tag | None = None
    favourites: bool = False
    order: str = "name"


def find_designs(search: DesignSearch) -> DesignQuerySet:
    """Return the listed designs that answer, each with ``colours``, the number of threads it asks for."""
    counted = Design.objects.listed().annotate(colours=_threads_asked_for())
    # The type checker gives annotated rows a type of their own, which no later filter returns.
    found: Any = counted.defer("outline", "warnings")
    for word in search.words.split():
        folders = set(designs_in_folders(word))
        found = found.filter(Q(name__icontains=word) | Q(pk__in=_tagged_like(word)) | Q(pk__in=folders))
    if search.hoop is not None:
        found = found.fitting(
            field_width_mm=search.hoop.field_width_mm, field_height_mm=search.hoop.field_height_mm
        )
    if search.stitches_from is not None:
        found = found.filter(stitches__gte=search.stitches_from)
    if search.stitches_to is not None:
        found = found.filter(stitches__lte=search.stitches_to)
    if search.colours_to is not None:
        found = found.filter(colours__lte=search.colours_to)
    if search.near is not None:
        hexes = colours_near(search.near)
        found = found.filter(pk__in=Block.objects.filter(hex__in=hexes).values("design_id"))
    if search.tag is not None:
        found = found.filter(tags=search.tag)
    if search.favourites:
        found = found.filter(favourite=True)
    return found.order_by(*_order(search.order))


def with_what_a_list_shows(designs: DesignQuerySet) -> DesignQuerySet:
    """Return the designs with tags, variants and blocks, in a number of queries that does not grow."""
    blocks = Block.objects.only("design_id", "number", "hex", "name", "drawn_mm", "same_thread")
    variants = Design.objects.only("variant_of_id", "format").order_by("format")
    return designs.prefetch_related(
        "tags", Prefetch("variants", queryset=variants), Prefetch("blocks", queryset=blocks)
    )


def colours_near(colour: Lab, *, limit: float = NEAR_COLOUR) -> list[str]:
    """Return every colour that some block asks for and that is no further than ``limit`` (ΔE00) away."""
    hexes = list(Block.objects.exclude(hex="").order_by("hex").values_list("hex", flat=True).distinct())
    if not hexes:
        return []
    apart = delta_e_00(tuple(colour), labs_from_hexes(hexes))
    return [hex for hex, difference in zip(hexes, apart, strict=True) if difference <= limit]


@dataclass(frozen=True)
class AskedThread:
    """One thread that a design asks for, over all the stops it is on for."""

    block: Block
    numbers: tuple[int, ...]
    penetrations: int
    drawn_mm: float
    share: float


def threads_of(blocks: Sequence[Block]) -> list[AskedThread]:
    """Return the distinct threads of a design's blocks, in the order in which they are first put on.

    Blocks without a colour are threads of their own, as nobody knows which are alike.
    """
    groups: dict[object, list[Block]] = {}
    last: object = None
    for block in blocks:
        if not (block.same_thread and groups):
            last = block.hex or block.number
        groups.setdefault(last, []).append(block)
    total_mm = sum(block.drawn_mm for block in blocks) or 1.0
    return [
        AskedThread(
            block=group[0],
            numbers=tuple(block.number for block in group),
            penetrations=sum(block.penetrations for block in group),
            drawn_mm=(drawn_mm := sum(block.drawn_mm for block in group)),
            share=drawn_mm / total_mm,
        )
        for group in groups.values()
    ]


@whole_act
def describe_design(design: Design, *, name: str, tags: Sequence[str], favourite: bool) -> None:
    """Give a design another name, its tags and its favourite mark; a tag that nothing carries goes.

    Raises TooManyTags.
    """
    design.name, design.favourite = name.strip()[:120], favourite
    design.save(update_fields=["name", "favourite"])
    wanted = list(dict.fromkeys(" ".join(tag.lower().split()) for tag in tags if tag.strip()))
    if len(wanted) > MOST_TAGS:
        raise TooManyTags(
            gettext("{number} tags are too many; a design carries up to {most_tags}.").format(
                number=len(wanted), most_tags=MOST_TAGS
            )
        )
    longest = max(wanted, key=len, default="")
    if len(longest) > 30:
        raise TooManyTags(
            gettext("The tag “{longest}” is longer than 30 letters; shorten it.").format(longest=longest)
        )
    design.tags.set(Tag.objects.get_or_create(name=tag)[0] for tag in wanted)
    Tag.objects.filter(designs__isnull=True).delete()


def mark_favourite(design: Design, *, favourite: bool) -> None:
    """Mark a design as a favourite, or no longer."""
    design.favourite = favourite
    design.save(update_fields=["favourite"])


def note_stitch_out(
    design: Design,
    *,
    stitched_on: date,
    fabric: str,
    verdict: str,
    words: str,
    by: Any,
    needle: str = "",
    stitches_per_minute: int | None = None,
    tension: str = "",
    photo: bytes = b"",
) -> StitchOutNote:
    """Return the note of a test stitch-out, kept with the design.

    With a fabric of the workshop's list it keeps that fabric's recipe as it is now. Raises NotAPhotograph.
    """
    known = Fabric.objects.filter(name__iexact=fabric.strip()).prefetch_related("layers").first()
    return StitchOutNote.objects.create(
        design=design,
        stitched_on=stitched_on,
        fabric=known.name if known else fabric,
        known_fabric=known,
        recipe=recipe_in_words(known)[:300] if known else "",
        density_per_cm2=design.density_per_cm2,
        verdict=verdict,
        words=words,
        needle=needle,
        stitches_per_minute=stitches_per_minute,
        tension=tension,
        photo=keep_photo(photo) if photo else "",
        by=by,
    )


def what_needs(design: Design) -> tuple[str, ...]:
    """Return in words what still needs a design, so that it cannot be deleted; empty if nothing does."""
    try:
        Collector(using=DEFAULT_DB_ALIAS).collect([design])
    except ProtectedError as error:
        return _names_of(error.protected_objects)
    except RestrictedError as error:
        # Its own variants do not need it: one of them takes its place.
        return _names_of(each for each in error.restricted_objects if not isinstance(each, Design))
    return ()


def _names_of(records: Iterable[Model]) -> tuple[str, ...]:
    """Return what records are called, each once, in order; what their names are made of is read once for all."""
    of_kind: dict[type[Model], list[Model]] = defaultdict(list)
    for each in records:
        of_kind[type(each)].append(each)
    for kind, alike in of_kind.items():
        prefetch_related_objects(alike, *(field.name for field in kind._meta.fields if field.is_relation))
    return tuple(sorted({str(each) for alike in of_kind.values() for each in alike}))


@whole_act
def delete_design(design: Design) -> None:
    """Delete a design, its colours, notes and stored file; another variant takes its place where there is one.

    Raises CannotDelete while something needs it.
    """
    needing = what_needs(design)
    if needing:
        names, more = ", ".join(needing[:5]), len(needing) - 5
        if more > 0:
            names = gettext("{names} and {more} more").format(names=names, more=more)
        raise CannotDelete(
            gettext("{design} cannot be deleted: it is needed by {names}. Take it out there first.").format(
                design=design.name, names=names
            )
        )
    if design.variant_of_id is None:
        promote_variant(design)
    sha256, file = design.sha256, stored_name(design.sha256, design.format)
    design.delete()
    Tag.objects.filter(designs__isnull=True).delete()
    # Only once it is certain: a deletion that is rolled back would leave a design without its file. Where the store is
    # away then, a file is left that the doctor names.
    transaction.on_commit(lambda: _delete_file(sha256, file), robust=True)


@planned_act
def _delete_file(sha256: str, file: str) -> None:
    """Delete the file of a design that is gone, unless somebody has brought the same one in again.

    It is done alone: an import that looks whether the file is there sees it before this or after.
    """
    if not Design.objects.filter(sha256=sha256).exists():
        store().delete(file)


def _threads_asked_for() -> Coalesce:
    threads = (
        Block.objects.filter(design=OuterRef("pk"), same_thread=False)
        .order_by()
        .values("design")
        .annotate(
            threads=Count("hex", distinct=True, filter=~Q(hex="")) + Count("pk", filter=Q(hex="")),
        )
    )
    return Coalesce(Subquery(threads.values("threads"), output_field=IntegerField()), 0)


def _tagged_like(word: str) -> Any:
    return Design.tags.through.objects.filter(tag__name__icontains=word).values("design_id")


def _order(order: str) -> tuple[Any, ...]:
    area = F("width_mm") * F("height_mm")
    return {
        "newest": ("-added_at", "-pk"),
        "stitches": ("stitches", "pk"),
        "-stitches": ("-stitches", "-pk"),
        "size": (area.asc(), "pk"),
        "-size": (area.desc(), "-pk"),
    }.get(order, (Lower("name"), "pk"))
