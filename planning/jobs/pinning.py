"""Shades that are pinned for a kept job, left out of it, and let go again."""

from collections.abc import Sequence
from dataclasses import dataclass

from inventory.acting import held, planned_act
from inventory.compute.spoken import _
from inventory.models import Shade
from planning.compute.batch.asked import AskedDesign
from planning.jobs.asked import asked_of
from planning.jobs.jobs import plan_of, refuse_unless_draft
from planning.models import Design, Job, LeftOutShade, PinnedShade, Rules
from planning.plan.pins import NoSuchPin, excluded_shades, named_block, pinned_shades
from planning.plan.shelf import needle_shades


@dataclass(frozen=True)
class ShadeChanges:
    """What to pin (``BLOCK=SHADE``), to unpin (``BLOCK``), to leave out and to use again (``SHADE``), as written."""

    pin: Sequence[str] = ()
    unpin: Sequence[str] = ()
    leave_out: Sequence[str] = ()
    use_again: Sequence[str] = ()


@planned_act
def change_pins(job: Job, changes: ShadeChanges) -> None:
    """Change what is pinned for ``job``. A pin takes the place of any other on blocks that ask for the same colour.

    Whatever was so already stays so. Raises NoSuchPin, and NotInThisState once the job is promised: then its shades
    are settled.
    """
    _lock_draft(job)
    every = asked_of(job).every_design
    rules = Rules.current()
    shades = needle_shades(fibre=rules.fibre, weight_label=rules.weight_label)
    owned = [shade for shade in shades if shade.spools]
    for written in changes.unpin:
        _let_go(job, every, named_block(written, every))
    for place, shade in pinned_shades(changes.pin, every, owned).items():
        _let_go(job, every, place)
        _pin(job, every, place, shade)
    for shade in excluded_shades(changes.leave_out, shades):
        LeftOutShade.objects.get_or_create(job=job, shade_id=shade)
    if changes.use_again:
        left_out = list(job.left_out_shades.select_related("shade__range"))
        for written in changes.use_again:
            found = [each for each in left_out if _is_called(each.shade, written)]
            if not found:
                raise NoSuchPin(
                    _('{job} does not leave out "{written}".').format(job=job, written=written.strip())
                )
            for each in found:
                each.delete()
    _forget_read(job)


def _lock_draft(job: Job) -> None:
    refuse_unless_draft(held(Job.objects.all()).get(pk=job.pk))


@planned_act
def pin_all(job: Job) -> int:
    """Pin every shade that the plan of ``job`` now chooses near enough, and return how many colours that makes."""
    _lock_draft(job)
    plan = plan_of(Job.objects.with_everything().get(pk=job.pk))
    pinned = 0
    for thread in plan.threads:
        if thread.choice.shade and thread.choice.near_enough:
            for place in thread.blocks:
                _let_go(job, plan.designs, place)
            for place in _one_of_each_colour(plan.designs, thread.blocks):
                _pin(job, plan.designs, place, thread.choice.shade.id)
            pinned += 1
    _forget_read(job)
    return pinned


def _one_of_each_colour(
    designs: Sequence[AskedDesign], places: Sequence[tuple[int, int]]
) -> list[tuple[int, int]]:
    """Colours that nobody tells apart may share a thread; each is pinned by one of its blocks."""
    first = {_hex(designs, place) or str(place): place for place in reversed(places)}
    return sorted(first.values())


def _hex(designs: Sequence[AskedDesign], place: tuple[int, int]) -> str:
    return next(block.hex for block in designs[place[0]].blocks if block.number == place[1])


def _let_go(job: Job, designs: Sequence[AskedDesign], place: tuple[int, int]) -> None:
    """Unpin ``place`` and all blocks that ask for its colour: they have one thread."""
    colour = _hex(designs, place)
    for index, design in enumerate(designs):
        numbers = [
            block.number
            for block in design.blocks
            if (index, block.number) == place or (colour and block.hex == colour)
        ]
        if numbers:
            job.pinned_shades.filter(design__sha256=design.sha256, block__in=numbers).delete()


def _pin(job: Job, designs: Sequence[AskedDesign], place: tuple[int, int], shade: int) -> None:
    index, block = place
    design = Design.objects.only("pk").get(sha256=designs[index].sha256)
    PinnedShade.objects.update_or_create(job=job, design=design, block=block, defaults={"shade_id": shade})


def _is_called(shade: Shade, written: str) -> bool:
    wanted = " ".join(written.split()).casefold()
    names = (shade.code, f"{shade.range.name} {shade.code}", f"{shade.range} {shade.code}", str(shade))
    return wanted in {" ".join(name.split()).casefold() for name in names}


def _forget_read(job: Job) -> None:
    """Let what was read ahead of the job's shades be read anew."""
    for name in ("pinned_shades", "left_out_shades"):
        getattr(job, "_prefetched_objects_cache", {}).pop(name, None)
