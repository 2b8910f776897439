"""The question *is there enough?*, put to the shelf as it stands."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal, TypeVar

from inventory.compute.errors import WorkshopError
from planning.compute.batch.asked import AskedDesign, Shelf, Terms
from planning.compute.batch.copies_compared import boxes_needed
from planning.compute.batch.plan import BatchPlan, plan_batch
from planning.compute.certainty.enough import BOBBIN_PRIOR
from planning.compute.hooping.copies import COPY_SPACING_MM, HoopField, most_copies, smallest_hoop
from planning.compute.hooping.pieces import pieces_to_stitch
from planning.compute.stabilizer.layers import CutBefore, LayerNeed
from planning.compute.stitches.placing import field_needed
from planning.facts.layers import layer_needs, losses_of
from planning.facts.learning import Learned, learned
from planning.facts.recipes import recipe_notes
from planning.models import Fabric, Hoop, Machine, Rules, Strictness
from planning.plan.pins import NOTHING_HELD, HeldShades, excluded_shades, held_now, pinned_shades
from planning.plan.shelf import shelf as read_shelf

Named = TypeVar("Named", Fabric, Hoop, Machine)


class NoSuchName(WorkshopError):
    """There is no machine, fabric or hoop of that name."""


@dataclass(frozen=True)
class Question:
    """What a person asks: so many pieces, on this cloth, machine and hoop, by that day.

    A name left out means: the first machine, the plain default cloth without stabilizer, the smallest hoop of
    the machine that holds every design. ``tests`` of None means as the rules say. ``pins`` are written
    BLOCK=SHADE and ``exclude`` SHADE, as ``planning.plan.pins`` reads them. ``copies`` are pieces hooped together:
    a number, or as many as a hoop holds. ``strictness`` says whether near enough is that of a picture or of brand
    colours.
    """

    pieces: int
    fabric: str | None = None
    machine: str | None = None
    hoop: str | None = None
    tests: int | None = None
    needed_on: date | None = None
    pins: tuple[str, ...] = ()
    exclude: tuple[str, ...] = ()
    copies: int | Literal["most"] = 1
    # Whose stock counts as free: what a job has set aside is there for that job.
    holder: str = ""
    # Shades that are settled already, by (design, block number) and id; they are pinned where they are known.
    settled: tuple[tuple[tuple[int, int], int], ...] = ()
    with_advice: bool = True
    cut_before: tuple[CutBefore, ...] = ()
    strictness: str = Strictness.PICTURE


def chosen_machine(name: str | None) -> Machine:
    """Return the machine of that name, the first one for None, or one with stated defaults where none is known."""
    if name is None:
        return Machine.objects.select_related("bobbin_style").first() or Machine(name="default machine")
    return by_name(Machine, name)


@dataclass(frozen=True)
class Setting:
    """The records that a question names, and the workshop's own."""

    rules: Rules
    machine: Machine
    fabric: Fabric
    layers: tuple[LayerNeed, ...]
    hoop: Hoop | None  # the one asked for
    hoops: tuple[Hoop, ...]  # those to choose from, the smallest first
    known: Learned


def setting_of(question: Question) -> Setting:
    """Return the records that ``question`` names. Raises NoSuchName."""
    machine = chosen_machine(question.machine)
    fabric = by_name(Fabric, question.fabric) if question.fabric else Fabric(name="", thickness_mm=0.6)
    return Setting(
        rules=Rules.current(),
        machine=machine,
        fabric=fabric,
        layers=layer_needs(fabric),
        hoop=by_name(Hoop, question.hoop) if question.hoop else None,
        hoops=tuple((machine.hoops if machine.pk else Hoop.objects).smallest_first()),
        known=learned(machine),
    )


def plan(
    designs: Sequence[AskedDesign],
    question: Question,
    *,
    lettering: Sequence[AskedDesign] = (),
    held: HeldShades = NOTHING_HELD,
    shelf: Shelf | None = None,
    setting: Setting | None = None,
) -> BatchPlan:
    """Return the plan for ``designs`` on every piece of the ``question``, with one ``lettering`` each if given.

    Nothing is saved. Shades that a kept job has ``held`` on to are used where the question says nothing else; one
    that is no longer on the shelf is told of and chosen anew. Designs of one hooping number must fit the hoop
    together, where they lie. Without a ``shelf`` and a ``setting`` they are read.

    Raises NoSuchName, and WorkshopError for numbers that make no batch.
    """
    setting = setting or setting_of(question)
    rules, machine, fabric = setting.rules, setting.machine, setting.fabric
    test_pieces = rules.test_pieces if question.tests is None else question.tests
    spoilage = rules.spoilage
    total = pieces_to_stitch(question.pieces, test_pieces=test_pieces, spoilage=spoilage).total
    hoops = [setting.hoop] if setting.hoop else list(setting.hoops)
    fields = tuple(_hoop_field(hoop, rules) for hoop in hoops)
    copies, hoop, notes = _hooped([*designs, *lettering], question, setting, hoops, fields, total=total)
    layers = setting.layers
    if not layers:
        notes.append("No stabilizer is planned: choose a fabric that has a recipe.")
    notes += recipe_notes(fabric, layers, [*designs, *lettering])
    if machine.pk is None:
        notes.append("No machine is set up yet; the times and tails are the stated defaults.")
    on_shelf = shelf or read_shelf(
        fibre=rules.fibre,
        weight_label=rules.weight_label,
        bobbin_style=machine.bobbin_style,
        holder=question.holder,
    )
    known = setting.known
    bobbin_range = on_shelf.bobbins.range_id if on_shelf.bobbins else 0
    every = [*designs, *dict.fromkeys(lettering)]
    kept, gone = held_now(held, every, on_shelf.shades)
    notes += gone
    # What a job was promised with goes before what it holds on to, and what is asked now before both.
    kept |= {place: shade for place, shade in question.settled if shade in {s.id for s in on_shelf.shades}}
    terms = Terms(
        thread=machine.thread_settings(thickness_mm=fabric.thickness_mm, allowance=rules.allowance),
        times=machine.times_at(efficiency=min(1.0, machine.efficiency / known.time.median)),
        layers=layers,
        piece_mm=hoop.piece_mm(margin_mm=rules.stabilizer_margin_mm) if hoop else None,
        topping_margin_mm=rules.stabilizer_margin_mm,
        losses=losses_of(rules),
        cut_before=question.cut_before,
        test_pieces=test_pieces,
        spoilage=spoilage,
        enough_at=rules.enough_at,
        tight_at=rules.tight_at,
        strictness=question.strictness,
        colour_limit=rules.limit_for(question.strictness),
        currency=rules.currency,
        machine_rate=float(rules.machine_rate),
        hands_on_rate=float(rules.hands_on_rate),
        bobbin_factor=known.bobbin.get(bobbin_range, BOBBIN_PRIOR),
        range_factors=known.needle,
        working_minutes_a_day=rules.working_hours_a_day * 60,
        with_advice=question.with_advice,
        pinned=kept | pinned_shades(question.pins, every, on_shelf.shades),
        excluded=held.excluded | excluded_shades(question.exclude, [*on_shelf.shades, *on_shelf.on_offer]),
        copies_per_hooping=copies,
        hoops=fields,
    )
    return plan_batch(
        designs,
        pieces=question.pieces,
        shelf=on_shelf,
        terms=terms,
        lettering=lettering,
        needed_on=question.needed_on,
        notes=notes,
    )


def each_in_its_own_hooping(designs: Sequence[AskedDesign]) -> list[AskedDesign]:
    """Return ``designs`` as they are stitched where nobody has said how they lie together."""
    return [replace(design, hooping=number) for number, design in enumerate(designs)]


def by_name(model: type[Named], name: str) -> Named:
    """Return the record of that name, in any case of letters, or raise NoSuchName with the names there are."""
    found = model.objects.filter(name__iexact=name.strip()).first()
    if found is None:
        names = ", ".join(model.objects.values_list("name", flat=True)) or "none yet"
        raise NoSuchName(f"There is no {model._meta.verbose_name} called {name}. Known: {names}.")
    return found


def _hoop_field(hoop: Hoop, rules: Rules) -> HoopField:
    return HoopField(
        name=hoop.name,
        width_mm=hoop.field_width_mm,
        height_mm=hoop.field_height_mm,
        piece_mm=hoop.piece_mm(margin_mm=rules.stabilizer_margin_mm),
    )


def _hooped(
    designs: Sequence[AskedDesign],
    question: Question,
    setting: Setting,
    hoops: Sequence[Hoop],
    fields: Sequence[HoopField],
    *,
    total: int,
) -> tuple[int, Hoop | None, list[str]]:
    """Return copies a hooping, the smallest hoop that holds them, and what a person should know.

    Raises WorkshopError for more copies than any hoop holds, or fewer than one.
    """
    if question.copies == 1:
        return 1, *_hoop(designs, setting)
    boxes = boxes_needed(designs)
    most = max((most_copies(boxes, field) for field in fields), default=0)
    copies = max(1, min(most, total)) if question.copies == "most" else question.copies
    if copies < 1:
        raise WorkshopError(f"{copies} copies per hooping stitch nothing; give 1 or more.")
    if copies > most and copies > 1:
        which = f"The hoop {hoops[0]} holds" if setting.hoop else "No hoop of this machine holds more than"
        raise WorkshopError(
            f"{which} {most} cop{'y' if most == 1 else 'ies'} at a time, {COPY_SPACING_MM:g} mm apart; "
            f"{copies} are asked for. Give fewer copies per hooping, or a larger hoop."
        )
    if copies == 1:
        return 1, *_hoop(designs, setting)
    chosen = smallest_hoop(boxes, fields, copies=copies)
    return copies, next(hoop for hoop in hoops if chosen and hoop.name == chosen.name), []


def _hoop(designs: Sequence[AskedDesign], setting: Setting) -> tuple[Hoop | None, list[str]]:
    """Return the hoop asked for, or the smallest that holds every hooping, with what a person should know."""
    fields = [_field(designs, hooping) for hooping in sorted({design.hooping for design in designs})]
    if setting.hoop:
        hoop = setting.hoop
        return hoop, [
            f"{names} needs {width_mm:.0f} × {height_mm:.0f} mm, beyond the field of {hoop}."
            for names, width_mm, height_mm in fields
            if not hoop.holds(width_mm=width_mm, height_mm=height_mm)
        ]
    for hoop in setting.hoops:
        if all(hoop.holds(width_mm=width_mm, height_mm=height_mm) for _, width_mm, height_mm in fields):
            return hoop, []
    names, width_mm, height_mm = max(fields, key=lambda field: field[1] * field[2])
    size = f"{width_mm:.0f} × {height_mm:.0f} mm"
    return None, [f"No hoop of this machine holds {names} ({size}), so its stabilizer is not known."]


def _field(designs: Sequence[AskedDesign], hooping: int) -> tuple[str, float, float]:
    """Return the names, width and height of what is stitched in one hooping; of letterings, the largest counts."""
    together = [design for design in designs if design.hooping == hooping]
    width_mm, height_mm = field_needed((each.width_mm, each.height_mm, each.placement) for each in together)
    more = f" with {len(together) - 1} more" if len(together) > 1 else ""
    return f"{together[0].name}{more}", width_mm, height_mm


def verdict_exit_code(verdict: str) -> int:
    """Return what a command exits with: 0 enough, 3 short or tight, 4 unknown."""
    return {"enough": 0, "tight": 3, "short": 3, "unknown": 4}[verdict]
