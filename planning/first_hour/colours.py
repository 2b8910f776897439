"""The colours of a file as a person is asked about them, and what was answered: all of it in the page's address."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from inventory.compute.colour.lab import Lab, lab_from_hex
from inventory.compute.names.plain import plain_name_of_hex
from inventory.models import Shade
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.plan.pins import full_name, written_pin

# A thread on the shelf that differs more than this from a colour of the file (CIEDE2000) is not proposed for it.
NEAR_ENOUGH = 5.0


@dataclass(frozen=True)
class FileColour:
    """One colour of a design: ``number`` is that of its first block; ``hex`` is empty where the file names none."""

    number: int
    blocks: tuple[int, ...]
    name: str
    hex: str
    mm_a_piece: float
    thread: PlannedThread | None  # the one that is planned for it
    is_answered: bool  # a person has said which thread it is
    is_left_out: bool  # a person has said that there is none

    @property
    def lab(self) -> Lab | None:
        return lab_from_hex(self.hex) if self.hex else None

    @property
    def called(self) -> str:
        """What the colour is called where the file has no name for it, too."""
        return self.name or _("Colour {number}").format(number=self.number)

    @property
    def called_within(self) -> str:
        """What it is called inside a sentence: without its capital, but where the language gives nouns one."""
        return self.called if (get_language() or "").startswith("de") else self.called.lower()

    @property
    def pin_of_nearest(self) -> str:
        """What an address pins to take the thread that the shelf already has for it; empty where it has none."""
        choice = self.thread.choice if self.thread and not self.is_answered else None
        if choice is None or choice.shade is None or choice.delta_e_00 is None:
            return ""
        near = choice.near_enough and choice.delta_e_00 <= NEAR_ENOUGH
        return written_pin((0, self.number), choice.shade, several=False) if near else ""


def file_colours(plan: BatchPlan, *, pins: Sequence[str], left_out: Collection[int]) -> list[FileColour]:
    """Return the colours of the plan's one design in the order of sewing, each once, as they were answered."""
    groups: dict[object, list[int]] = {}
    of_block = {}
    for planned in plan.blocks:
        block = planned.block
        key = (block.hex, block.name) if block.hex else block.number
        groups.setdefault(key, []).append(block.number)
        of_block[block.number] = planned
    thread_of = {number: thread for thread in plan.threads for _, number in thread.blocks}
    pinned = {pin.partition("=")[0].strip() for pin in pins}
    found = []
    for numbers in groups.values():
        block = of_block[numbers[0]].block
        found.append(
            FileColour(
                number=numbers[0],
                blocks=tuple(numbers),
                name=block.name or (_(plain_name_of_hex(block.hex)).capitalize() if block.hex else ""),
                hex=block.hex,
                mm_a_piece=sum(of_block[number].needle_mm for number in numbers),
                thread=thread_of.get(numbers[0]),
                is_answered=any(str(number) in pinned for number in numbers),
                is_left_out=numbers[0] in left_out,
            )
        )
    return found


def pin_for(number: int, shade: Shade) -> str:
    """Return what an address carries for the block ``number`` that is stitched with ``shade``."""
    return f"{number}={shade.range.maker} {shade.range.name} {shade.code}"


def next_open(colours: Sequence[FileColour], *, after: int = 0) -> FileColour | None:
    """Return the first colour that nobody has answered, from the block ``after`` on and then from the start."""
    still = [each for each in colours if not each.is_answered and not each.is_left_out]
    return next((each for each in still if each.number > after), still[0] if still else None)


def last_named(pins: Sequence[str], plan: BatchPlan) -> PlannedThread | None:
    """Return the thread that was named last: whoever has several often has them of one maker."""
    for pin in reversed(pins):
        written = pin.partition("=")[2].strip().casefold()
        for thread in plan.threads:
            shade = thread.choice.shade
            if shade and full_name(shade).casefold() == written:
                return thread
    return None
