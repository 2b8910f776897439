"""Colours that the workshop remembers the answer to: said once, and used by the next file by itself."""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.contrib.auth.models import AbstractBaseUser, AnonymousUser
from django.db import transaction
from django.utils.translation import gettext as _

from inventory.acting.turn import planning_lock
from inventory.compute.colour.lab import ColourNotUnderstood, hex_from_lab, parse_colour
from inventory.compute.errors import WorkshopError
from inventory.models import Shade
from planning.models import Block, Design, PinnedShade, RememberedColour
from planning.models.remembered import EVERY_FILE, scope_of

# So often the same answer must have been given before it is proposed. Common practice, no source.
SAID_TWICE = 2
RememberedRows = list[RememberedColour]
Person = AbstractBaseUser | AnonymousUser | None


class NotRemembered(WorkshopError):
    """What is to be remembered, forgotten or taken back does not go together."""


@dataclass(frozen=True)
class ColourAnswer:
    """An answer as a person gives it: the colour asked for (empty: none), the shade, and what it is for.

    Without ``design`` it is for every file, without ``block`` for every block of that colour.
    """

    hex: str
    shade: Shade
    design: Design | None = None
    block: int | None = None


@dataclass(frozen=True)
class Remembered:
    """Ids of shades by design, block and colour, and what they are called.

    A design goes by its SHA-256, empty for every file; block 0 is every block.
    """

    shades: Mapping[tuple[str, int, str], int] = field(default_factory=dict)
    names: Mapping[int, str] = field(default_factory=dict)

    def shade_for(self, sha256: str, block: int, hex: str) -> int | None:
        """Return what is remembered for a block: what was said of it goes before what was said of its design.

        >>> known = Remembered({("", 0, "#000000"): 1, ("ab", 2, "#000000"): 5})
        >>> known.shade_for("ab", 2, "#000000"), known.shade_for("cd", 2, "#000000"), known.shade_for("cd", 2, "")
        (5, 1, None)
        """
        for key in ((sha256, block, hex), (sha256, 0, hex), ("", 0, hex)):
            if key in self.shades:
                return self.shades[key]
        return None


NOTHING_REMEMBERED = Remembered()


@dataclass(frozen=True)
class Proposal:
    """A colour and the shade that was chosen for it so many times, each time in another job or design."""

    hex: str
    shade: Shade
    times: int


def remembered_now() -> RememberedRows:
    """Return the answers that hold, with their designs and shades."""
    return list(
        RememberedColour.objects.filter(ended_at__isnull=True).select_related("design", "shade__range", "by")
    )


def remembered_for_plans() -> Remembered:
    """Return what plans use, in one query."""
    rows = remembered_now()
    return Remembered(
        shades={
            (each.design.sha256 if each.design else "", each.block or 0, each.hex): each.shade_id
            for each in rows
        },
        names={each.shade_id: str(each.shade) for each in rows},
    )


def remember(answers: Sequence[ColourAnswer], *, at: datetime, by: Person, act: str = "") -> str:
    """Remember ``answers`` in the place of earlier ones for the same, and return the act, to take it back by.

    One that is remembered already stays as it is. Raises NotRemembered.
    """
    act = act or str(uuid.uuid4())
    with transaction.atomic():
        planning_lock()
        if RememberedColour.objects.filter(act=act).exists():
            return act
        for answer in answers:
            _check(answer)
            scope = scope_of(answer.design.pk if answer.design else None, answer.block)
            standing = RememberedColour.objects.filter(hex=answer.hex, scope=scope, ended_at__isnull=True)
            if standing.filter(shade=answer.shade).exists():
                continue
            standing.update(ended_at=at, ended_by_act=act)
            RememberedColour.objects.create(
                hex=answer.hex,
                design=answer.design,
                block=answer.block,
                scope=scope,
                shade=answer.shade,
                by_id=getattr(by, "pk", None),
                at=at,
                act=act,
            )
    return act


def forget(ids: Iterable[int], *, at: datetime, act: str = "") -> str:
    """Remember these no longer, and return the act, to take it back by."""
    act = act or str(uuid.uuid4())
    with transaction.atomic():
        planning_lock()
        rows = RememberedColour.objects.filter(pk__in=list(ids), ended_at__isnull=True)
        rows.update(ended_at=at, ended_by_act=act)
    return act


def take_back(act: str, *, at: datetime) -> None:
    """Take back one act: what it remembered is forgotten, what it ended holds again. Raises NotRemembered.

    An act after which the same colours were answered anew is not taken back: the later answer holds.
    """
    with transaction.atomic():
        planning_lock()
        made = RememberedColour.objects.filter(act=act)
        ended = list(RememberedColour.objects.filter(ended_by_act=act))
        if not made.filter(ended_at__isnull=True).exists() and not ended:
            raise NotRemembered(_("There is nothing of that to take back any more."))
        made.filter(ended_at__isnull=True).update(ended_at=at, ended_by_act="")
        for row in ended:
            later = RememberedColour.objects.filter(
                hex=row.hex, scope=row.scope, ended_at__isnull=True
            ).exists()
            if later:
                raise NotRemembered(
                    _("{colour} was answered anew since; change that instead.").format(colour=row.hex)
                    if row.hex
                    else _("That block was answered anew since; change that instead.")
                )
            row.ended_at, row.ended_by_act = None, ""
            row.save(update_fields=["ended_at", "ended_by_act"])


def proposals() -> list[Proposal]:
    """Return the answers that were given at least twice for one colour and are not remembered for every file yet.

    Counted are jobs in which the shade is pinned to the colour, and designs whose file's colour was replaced by it.
    """
    given: dict[tuple[str, int], set[tuple[str, int]]] = defaultdict(set)
    pinned = PinnedShade.objects.values_list("job_id", "design_id", "block", "shade_id")
    pins = list(pinned)
    colours = {
        (design, number): hex
        for design, number, hex in Block.objects.filter(design__in={each[1] for each in pins})
        .exclude(hex="")
        .values_list("design_id", "number", "hex")
    }
    for job, design, block, shade in pins:
        hex = colours.get((design, block))
        if hex:
            given[hex, shade].add(("job", job))
    chosen = Block.objects.filter(shade__isnull=False).exclude(file_hex="")
    for design, hex, recoloured in chosen.values_list("design_id", "file_hex", "shade_id"):
        if recoloured is not None:
            given[hex, recoloured].add(("design", design))
    known = {(each.hex, each.shade_id) for each in remembered_now() if each.scope == EVERY_FILE}
    often = {key: len(times) for key, times in given.items() if len(times) >= SAID_TWICE and key not in known}
    shades = Shade.objects.select_related("range").in_bulk({shade for _, shade in often})
    found = [Proposal(hex, shades[shade], times) for (hex, shade), times in often.items()]
    return sorted(found, key=lambda each: (-each.times, each.hex))


def colour_written(text: str) -> str:
    """Return the ``#rrggbb`` of a colour as a person types it. Raises ColourNotUnderstood."""
    lab = parse_colour(text.strip())
    if lab is None:
        raise ColourNotUnderstood(_('"{text}" is not a colour. Write it like #1f4e79.').format(text=text))
    written = text.strip().lower()
    return written if len(written) == 7 and written.startswith("#") else hex_from_lab(lab)


def _check(answer: ColourAnswer) -> None:
    if answer.block is not None and answer.design is None:
        raise NotRemembered(_("A block is one of a design: say which design."))
    if not answer.hex and answer.block is None:
        raise NotRemembered(_("For a block without a colour, the answer is for that block alone."))
    if answer.design is not None and answer.block is not None:
        numbers = set(answer.design.blocks.values_list("number", flat=True))
        if answer.block not in numbers:
            raise NotRemembered(
                _("{design} has no block {block}.").format(design=answer.design, block=answer.block)
            )
