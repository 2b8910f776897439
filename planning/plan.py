"""The question *is there enough?*, put to the shelf as it stands."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TypeVar

from inventory.compute.errors import WorkshopError
from planning.compute.asked import AskedDesign, Terms
from planning.compute.batch import BatchPlan, plan_batch
from planning.compute.placing import field_needed
from planning.compute.stabilizing import LayerNeed
from planning.models import Fabric, Hoop, Machine, Rules, Strictness
from planning.pinning import NOTHING_HELD, HeldShades, excluded_shades, held_now, pinned_shades
from planning.queries import shelf

Named = TypeVar("Named", Fabric, Hoop, Machine)


class NoSuchName(WorkshopError):
    """There is no machine, fabric or hoop of that name."""


@dataclass(frozen=True)
class Question:
    """What a person asks: so many pieces, on this cloth, machine and hoop, by that day.

    A name left out means: the first machine, the plain default cloth without stabilizer, the smallest hoop of
    the machine that holds every design. ``tests`` of None means as the rules say. ``pins`` are written
    BLOCK=SHADE and ``exclude`` SHADE, as ``planning.pinning`` reads them. ``strictness`` says whether near enough
    is that of a picture or of brand colours.
    """

    pieces: int
    fabric: str | None = None
    machine: str | None = None
    hoop: str | None = None
    tests: int | None = None
    needed_on: date | None = None
    pins: tuple[str, ...] = ()
    exclude: tuple[str, ...] = ()
    strictness: str = Strictness.PICTURE


def chosen_machine(name: str | None) -> Machine:
    """Return the machine of that name, the first one for None, or one with stated defaults where none is known."""
    if name is None:
        return Machine.objects.select_related("bobbin_style").first() or Machine(name="default machine")
    return by_name(Machine, name)


def plan(
    designs: Sequence[AskedDesign],
    question: Question,
    *,
    lettering: Sequence[AskedDesign] = (),
    held: HeldShades = NOTHING_HELD,
) -> BatchPlan:
    """Return the plan for ``designs`` on every piece of the ``question``, with one ``lettering`` each if given.

    Nothing is saved. Shades that a kept job has ``held`` on to are used where the question says nothing else; one
    that is no longer on the shelf is told of and chosen anew. Designs of one hooping number must fit the hoop
    together, where they lie.

    Raises NoSuchName, and WorkshopError for numbers that make no batch.
    """
    rules = Rules.current()
    machine = chosen_machine(question.machine)
    fabric = by_name(Fabric, question.fabric) if question.fabric else Fabric(name="", thickness_mm=0.6)
    hoop, notes = _hoop([*designs, *lettering], question, machine)
    layers = list(fabric.layers.all()) if fabric.pk else []
    if not layers:
        notes.append("No stabilizer is planned: choose a fabric that has a recipe.")
    if machine.pk is None:
        notes.append("No machine is set up yet; the times and tails are the stated defaults.")
    on_shelf = shelf(fibre=rules.fibre, weight_label=rules.weight_label, bobbin_style=machine.bobbin_style)
    every = [*designs, *dict.fromkeys(lettering)]
    kept, gone = held_now(held, every, on_shelf.shades)
    notes += gone
    terms = Terms(
        thread=machine.thread_settings(thickness_mm=fabric.thickness_mm, allowance=rules.allowance),
        times=machine.times,
        layers=tuple(
            LayerNeed(
                kind=layer.kind,
                weight_from_g_m2=layer.weight_from_g_m2,
                weight_to_g_m2=layer.weight_to_g_m2,
                method=layer.get_method_display(),
                count=layer.count,
                grain_matters=layer.grain_matters,
            )
            for layer in layers
        ),
        piece_mm=hoop.piece_mm(margin_mm=rules.stabilizer_margin_mm) if hoop else None,
        test_pieces=rules.test_pieces if question.tests is None else question.tests,
        spoilage=rules.spoilage,
        enough_at=rules.enough_at,
        tight_at=rules.tight_at,
        strictness=question.strictness,
        colour_limit=rules.limit_for(question.strictness),
        currency=rules.currency,
        machine_rate=float(rules.machine_rate),
        hands_on_rate=float(rules.hands_on_rate),
        pinned=kept | pinned_shades(question.pins, every, on_shelf.shades),
        excluded=held.excluded | excluded_shades(question.exclude, [*on_shelf.shades, *on_shelf.on_offer]),
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


def _hoop(
    designs: Sequence[AskedDesign], question: Question, machine: Machine
) -> tuple[Hoop | None, list[str]]:
    """Return the hoop asked for, or the smallest that holds every hooping, with what a person should know."""
    fields = [_field(designs, hooping) for hooping in sorted({design.hooping for design in designs})]
    if question.hoop:
        hoop = by_name(Hoop, question.hoop)
        return hoop, [
            f"{names} needs {width_mm:.0f} × {height_mm:.0f} mm, beyond the field of {hoop}."
            for names, width_mm, height_mm in fields
            if not hoop.holds(width_mm=width_mm, height_mm=height_mm)
        ]
    hoops = list(machine.hoops.smallest_first()) if machine.pk else list(Hoop.objects.smallest_first())
    for hoop in hoops:
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
