"""The question *is there enough?*, put to the shelf as it stands."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from django.utils import timezone

from inventory.compute.on_the_way import OnTheWay
from inventory.compute.spoken import _
from inventory.ledger.use_history import bobbin_material, roll_material, shade_material
from inventory.orders.coming import on_the_way
from planning.compute.batch.asked import AskedDesign, Shelf, Terms
from planning.compute.batch.bought import bought_in_time, shelf_with
from planning.compute.batch.carrying import Carried, carry
from planning.compute.batch.copies_compared import boxes_needed
from planning.compute.batch.needle_thread import judge_threads
from planning.compute.batch.plan import BatchPlan, batch_verdict, carried_so, is_worse, layers_of, plan_batch
from planning.compute.buying.in_time import USUAL_LEAD_DAYS
from planning.compute.buying.netting import Receipt, counted
from planning.compute.buying.priced_instead import PricedInstead
from planning.compute.colour.instead import LEAST_FALL
from planning.compute.hooping.copies import copies_size_mm
from planning.compute.stabilizer.layers import JobLayers
from planning.facts.layers import losses_of
from planning.facts.names import NoSuchName, by_name
from planning.facts.recipes import recipe_notes
from planning.models import Fabric, Hoop, Machine, Strictness
from planning.plan.asked import Copies, JobAsked, workshop_facts
from planning.plan.considered import what_leaving_out_changes
from planning.plan.hooping import Hooping, hoop_fields, hooping_of
from planning.plan.pins import excluded_shades, pinned_now, pinned_shades, remembered_pins
from planning.plan.settling import look_first
from planning.plan.shelf import shelf as read_shelf
from planning.plan.suits import suiting_notes

__all__ = [
    "NoSuchName",
    "Question",
    "asked_by",
    "chosen_machine",
    "each_in_its_own_hooping",
    "layers_asked",
    "plan",
    "plan_asked",
    "question_named",
    "stitched_mm",
    "verdict_exit_code",
]


@dataclass(frozen=True)
class Question:
    """What a person asks: so many pieces, on this cloth, machine and hoop, by that day.

    One left out means: the first machine, the plain default cloth without stabilizer, the smallest hoop of the
    machine that holds every design. ``tests`` of None means as the rules say. ``pins`` are written BLOCK=SHADE and
    ``exclude`` SHADE, as ``planning.plan.pins`` reads them. ``copies`` are pieces hooped together: a number, or as
    many as a hoop holds. ``strictness`` says whether near enough is that of a picture or of brand colours.
    """

    pieces: int
    fabric: Fabric | None = None
    machine: Machine | None = None
    hoop: Hoop | None = None
    tests: int | None = None
    needed_on: date | None = None
    pins: tuple[str, ...] = ()
    exclude: tuple[str, ...] = ()
    copies: Copies = 1
    strictness: str = Strictness.PICTURE


def question_named(
    question: Question, *, fabric: str | None = None, machine: str | None = None, hoop: str | None = None
) -> Question:
    """Return ``question`` with the records of the names that are typed. Raises NoSuchName."""
    return replace(
        question,
        fabric=by_name(Fabric, fabric) if fabric else question.fabric,
        machine=by_name(Machine, machine) if machine else question.machine,
        hoop=by_name(Hoop, hoop) if hoop else question.hoop,
    )


def chosen_machine(name: str | None) -> Machine:
    """Return the machine of that name, the first one for None, or one with stated defaults where none is known."""
    if name is None:
        return Machine.objects.select_related("bobbin_style").first() or Machine(name=_("a usual machine"))
    return by_name(Machine, name)


def asked_by(question: Question, designs: Sequence[AskedDesign]) -> JobAsked:
    """Return what ``question`` asks for ``designs`` on every piece."""
    facts = workshop_facts([question.machine])
    return facts.asked(
        designs,
        pieces=question.pieces,
        machine=question.machine,
        fabric=question.fabric,
        hoop=question.hoop,
        tests=question.tests,
        copies=question.copies,
        needed_on=question.needed_on,
        strictness=question.strictness,
        typed_pins=question.pins,
        typed_left_out=question.exclude,
    )


def plan(designs: Sequence[AskedDesign], question: Question) -> BatchPlan:
    """Return the plan that answers ``question`` for ``designs`` on every piece, as ``plan_asked`` makes it."""
    return plan_asked(asked_by(question, designs))


def plan_asked(asked: JobAsked, *, shelf: Shelf | None = None, with_advice: bool = True) -> BatchPlan:
    """Return the plan for what is ``asked``, against the shelf as it stands or against ``shelf``.

    Nothing is saved. Shades that a job pins are used where nothing else is typed; one that is no longer on the shelf
    is told of and chosen anew. ``with_advice`` looks for what could be bought instead, too.

    Raises WorkshopError for numbers that make no batch.
    """
    rules, hooping = asked.rules, hooping_of(asked)
    on_shelf = shelf or read_shelf(
        fibre=rules.fibre,
        weight_label=rules.weight_label,
        bobbin_style=asked.machine.bobbin_style,
        holder=asked.holder,
    )
    terms, gone = terms_on(asked, hooping, on_shelf, with_advice=with_advice)
    notes = [*hooping.notes, *_notes(asked), *gone, *on_shelf.notes]

    answer = plan_batch(
        asked.designs,
        pieces=asked.pieces,
        shelf=on_shelf,
        terms=terms,
        lettering=asked.lettering,
        needed_on=asked.needed_on,
        notes=notes,
        too_big=hooping.too_big,
    )
    if shelf is not None or not with_advice:
        return answer
    # What it carries rests on nothing that is owned: it is the same against every shelf it is held against.
    _, carried, terms = carried_so(asked.designs, pieces=asked.pieces, terms=terms, lettering=asked.lettering)
    changed = what_leaving_out_changes(
        answer,
        asked,
        judged=lambda wider, may_mix: judge_threads(
            carried, wider, replace(terms, one_fibre=terms.one_fibre and not may_mix)
        ),
    )
    suits = suiting_notes(answer.threads, asked.fabric)
    today = timezone.localdate()
    answer = bought_in_time(answer, today=today)
    coming = _on_order(answer, today=today)
    return replace(
        answer,
        notes=(*answer.notes, *changed, *suits),
        look_first=look_first(answer),
        on_order=coming,
        counted=_counted(answer, coming, today=today),
        instead=_made_again(answer, asked, hooping, on_shelf, carried),
    )


def _made_again(
    answer: BatchPlan, asked: JobAsked, hooping: Hooping, on_shelf: Shelf, carried: Carried
) -> tuple[PricedInstead, ...]:
    """Return what could be bought instead, with mean and verdict of the plan made again with it on the shelf.

    What then comes to no good is left out: it brings the colours no nearer, and no better verdict. Bobbins and
    stabilizer stand as they do in ``answer``: no thread that is bought changes them.
    """
    found: list[PricedInstead] = []
    least = answer.mean_delta_e
    for each in answer.instead:
        with_it = shelf_with(on_shelf, each)
        terms, _gone = terms_on(asked, hooping, with_it, with_advice=False)
        then = judge_threads(carried, with_it, terms.for_designs(asked.every_design))
        verdict = batch_verdict(
            then.verdicts,
            answer.bobbins.verdict,
            [layer.verdict for layer in answer.stabilizer],
            is_too_big=bool(answer.too_big),
        )
        if is_worse(verdict, than=answer.verdict) or then.mean_delta_e > least - LEAST_FALL:
            continue
        least = then.mean_delta_e
        found.append(
            replace(
                each,
                mean_before=answer.mean_delta_e,
                mean_after=then.mean_delta_e,
                verdict_after=verdict,
            )
        )
    return tuple(found)


def _on_order(answer: BatchPlan, *, today: date) -> tuple[OnTheWay, ...]:
    """Return what orders and drafts bring of all that the plan lacks."""
    lacking = [shade_material(each.to_buy.id) for each in answer.threads if each.to_buy and each.missing_mm]
    lacking += [roll_material(each.product_id) for each in answer.stabilizer if each.verdict != "enough"]
    lacking += [bobbin_material(answer.bobbins.style_id, answer.bobbins.shade_id)]
    way = on_the_way(today=today)
    return tuple(each for material in dict.fromkeys(lacking) for each in way.get(material, ()))


def _counted(answer: BatchPlan, coming: Sequence[OnTheWay], *, today: date) -> tuple[tuple[str, int], ...]:
    """Return how much of what is coming counts for the batch, by material, as it does for all jobs together."""
    bought = {
        shade_material(each.to_buy.id): each.purchase for each in answer.threads if each.to_buy is not None
    }
    bought |= {roll_material(each.product_id): each.purchase for each in answer.stabilizer if each.product_id}
    bought[bobbin_material(answer.bobbins.style_id, answer.bobbins.shade_id)] = answer.bobbins.purchase
    found = []
    for material in dict.fromkeys(each.material for each in coming):
        purchase = bought.get(material)
        days = purchase.offer.lead_time_days if purchase else USUAL_LEAD_DAYS
        receipts = [Receipt(each.day, each.quantity) for each in coming if each.material == material]
        counts = counted(receipts, day=answer.material_day, soonest=today + timedelta(days=days))
        found.append((material, round(counts)))
    return tuple(found)


def _notes(asked: JobAsked) -> list[str]:
    notes = []
    if not asked.layers:
        notes.append(_("No stabilizer is planned: choose a fabric that has a recipe."))
    notes += recipe_notes(asked.fabric, asked.layers, [*asked.designs, *asked.lettering])
    if asked.machine.pk is None:
        notes.append(_("No machine is set up yet; its times and tails are the usual ones."))
    return notes


def terms_of(asked: JobAsked, hooping: Hooping) -> Terms:
    """Return the terms of the batch, as far as they do not hang on what is on the shelf."""
    rules, machine, known = asked.rules, asked.machine, asked.known
    return Terms(
        thread=machine.thread_settings(thickness_mm=asked.fabric.thickness_mm, allowance=rules.allowance),
        times=machine.times_at(
            efficiency=min(1.0, machine.efficiency / known.time.median),
            at_most=asked.fabric.most_stitches_per_minute,
        ),
        layers=asked.layers,
        piece_mm=hooping.hoop.piece_mm(margin_mm=rules.stabilizer_margin_mm) if hooping.hoop else None,
        topping_margin_mm=rules.stabilizer_margin_mm,
        losses=losses_of(rules),
        cut_before=asked.cut_before,
        test_pieces=asked.test_pieces,
        spoilage=rules.spoilage,
        enough_at=rules.enough_at,
        tight_at=rules.tight_at,
        strictness=asked.strictness,
        colour_limit=rules.limit_for(asked.strictness),
        one_fibre=not rules.fibre and not rules.may_mix_fibres,
        currency=rules.currency,
        machine_rate=float(rules.machine_rate),
        hands_on_rate=float(rules.hands_on_rate),
        taught=known.thread,
        applique_s=float(rules.applique_s),
        working_minutes_a_day=rules.working_hours_a_day * 60,
        copies_per_hooping=hooping.copies,
        hoops=hoop_fields(asked),
    )


def terms_on(
    asked: JobAsked, hooping: Hooping, on_shelf: Shelf, *, with_advice: bool = True
) -> tuple[Terms, list[str]]:
    """Return the terms of the batch against a shelf, and a sentence for each shade kept to that is not on it."""
    held, gone = pinned_now(asked.pins, asked.every_design, on_shelf.shades)
    known = [*on_shelf.shades, *on_shelf.on_offer] if asked.typed_left_out else []
    excluded = asked.pins.left_out | excluded_shades(asked.typed_left_out, known)
    # What is said of this question goes before what was said once: typed now, promised with, pinned, remembered.
    remembered, missing = remembered_pins(
        asked.remembered, asked.every_design, on_shelf.shades, excluded=excluded, strictness=asked.strictness
    )
    there = {shade.id for shade in on_shelf.shades} if asked.settled else set()
    pinned = remembered | held
    pinned |= {place: shade for place, shade in asked.settled if shade in there}
    pinned |= pinned_shades(asked.typed_pins, asked.every_design, on_shelf.shades)
    terms = replace(
        terms_of(asked, hooping),
        borne_by_range=asked.borne_by_range,
        bobbin_range=on_shelf.bobbins.range_id if on_shelf.bobbins else 0,
        pinned=pinned,
        remembered=frozenset(place for place, shade in remembered.items() if pinned[place] == shade),
        excluded=excluded,
        with_advice=with_advice,
    )
    return terms, [*gone, *missing]


def layers_asked(asked: JobAsked, *, name: str = "") -> JobLayers:
    """Return what is asked of stabilizer, called ``name`` on what is cut for several: the same as in its plan."""
    terms = terms_of(asked, hooping_of(asked))
    carried = carry(asked.designs, lettering=asked.lettering, to_stitch=asked.to_stitch, terms=terms)
    return layers_of(carried, terms, job=name)


def stitched_mm(asked: JobAsked) -> tuple[int, int]:
    """Return a width and height that hold whatever one hooping stitches, all its copies, none of it turned further."""
    hooping = hooping_of(asked)
    sizes: list[tuple[float, float]] = boxes_needed(asked.every_design)
    if hooping.copies > 1:
        (field,) = [each for each in hoop_fields(asked) if hooping.hoop and each.name == hooping.hoop.name]
        sizes = [copies_size_mm(*size, field, copies=hooping.copies) for size in sizes]
    widths, heights = zip(*sizes, strict=True)
    return math.ceil(max(widths)), math.ceil(max(heights))


def each_in_its_own_hooping(designs: Sequence[AskedDesign]) -> list[AskedDesign]:
    """Return ``designs`` as they are stitched where nobody has said how they lie together."""
    return [replace(design, hooping=number) for number, design in enumerate(designs)]


def verdict_exit_code(verdict: str) -> int:
    """Return what a command exits with: 0 enough, 3 short or tight, 4 unknown."""
    return {"enough": 0, "tight": 3, "short": 3, "unknown": 4}[verdict]
