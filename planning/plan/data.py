"""A plan as plain data: the stable JSON that scripts rely on."""

from dataclasses import replace
from datetime import date
from typing import Any

from django.utils import translation

from inventory.compute.colour.lab import hex_from_lab
from inventory.compute.left_out import left_out_as_data
from inventory.compute.names.plain import plain_name
from inventory.compute.spoken import _
from inventory.ledger.use_history import bobbin_material, roll_material, shade_material
from planning.compute.batch.asked import AskedBlock, AskedDesign
from planning.compute.batch.copies_compared import CopiesOption
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan, PlannedBlock
from planning.compute.buying.packs import PackPurchase, packs_needed
from planning.compute.buying.priced_instead import PricedInstead
from planning.compute.colour.choice import OwnedShade
from planning.compute.stabilizer.supply import LayerPlan
from planning.compute.stitches.thread_length import ThreadSettings, bobbin_laid_mm, needle_laid_mm
from planning.compute.stitches.warnings import GRADE_IN_WORDS
from planning.plan.appliques import appliques_as_data
from planning.plan.settling import look_first_as_data
from planning.plan.words import colour_word

# What programs read, and what is kept with a promise, is the same whoever asks.
DATA_LANGUAGE = "en-gb"


def plan_as_data(plan: BatchPlan) -> dict[str, Any]:
    """Return the plan as JSON-ready data: lengths in whole mm, money as text, keys that are never renamed."""
    with translation.override(DATA_LANGUAGE):
        return _plan_as_data(plan)


def _plan_as_data(plan: BatchPlan) -> dict[str, Any]:
    return {
        "verdict": plan.verdict,
        "strictness": plan.strictness,
        "colour_limit": plan.colour_limit,
        "mean_delta_e_00": round(plan.mean_delta_e, 2),
        "colour_verdict": "off colour" if plan.off_colour else "near",
        "pieces": plan.pieces.ordered,
        "pieces_to_stitch": plan.pieces.total,
        "test_pieces": plan.pieces.tests,
        "spoiled_allowed": plan.pieces.spoiled_allowed,
        "copies_per_hooping": plan.copies_per_hooping,
        "hoopings": plan.hoopings,
        "designs": [design_as_data(design) for design in plan.designs],
        "blocks": [_block(block) for block in plan.blocks],
        "threads": [_thread(thread) for thread in plan.threads],
        "bobbins": {
            "thread": plan.bobbins.thread,
            "needed_mm": plan.bobbins.needed_mm,
            "count": plan.bobbins.count,
            "owned": plan.bobbins.owned,
            "verdict": plan.bobbins.verdict,
            "p_enough": round(plan.bobbins.p_enough, 4),
            "changes": [
                {
                    "piece": change.piece,
                    "design": change.at_block[0] if change.at_block else 0,
                    "block": change.called,
                    "bobbin": change.bobbin,
                }
                for change in plan.bobbins.changes
            ],
            "first": plan.bobbins.first,
            "interruptions": [
                {"piece": each.piece, "block": each.called, "inside_block": each.inside}
                for each in plan.bobbins.interruptions
            ],
            "wind": [{"label": each.label, "bobbins": each.bobbins} for each in plan.bobbins.wind],
        },
        "stabilizer": [_layer(layer) for layer in plan.stabilizer],
        "applique": appliques_as_data(plan.designs),
        "time": {
            "machine_min": round(plan.machine_min, 1),
            "hands_on_min": round(plan.hands_on_min, 1),
            "thread_changes": plan.thread_changes,
            "start_by": plan.start_by.isoformat() if plan.start_by else None,
            "material_by": plan.material_day.isoformat() if plan.material_day else None,
        },
        "cost": {
            "currency": plan.cost.currency,
            "material": str(plan.cost.material),
            "material_per_piece": str(plan.cost.material_per_piece),
            "time": str(plan.cost.time),
            "machine": str(plan.cost.machine),
            "hands_on": str(plan.cost.hands_on),
            "total": str(plan.cost.total),
            "total_per_piece": str(plan.cost.total_per_piece),
            "tests_and_spoilage": str(plan.cost.tests_and_spoilage),
            "unpriced": list(plan.cost.unpriced),
            "by_quantity": [
                {
                    "pieces": each.pieces,
                    "pieces_to_stitch": each.stitched,
                    "machine_min": round(each.machine_min, 1),
                    "hands_on_min": round(each.hands_on_min, 1),
                    "material": str(each.material),
                    "time": str(each.time),
                    "total": str(each.total),
                    "per_piece": str(each.total_per_piece),
                }
                for each in plan.quantities
            ],
        },
        "left_out": left_out_as_data(plan.left_out),
        "too_big": plan.too_big or None,
        "shopping": shopping_rows(plan),
        "on_order": on_order_rows(plan),
        "instead": [_instead(each) for each in plan.instead],
        "measure_first": look_first_as_data(plan.look_first),
        "notes": list(plan.notes),
        "needles": {
            "threadings": plan.needles.threadings,
            "start": [{"needle": needle, "thread": thread} for needle, thread in plan.needles.start.items()],
            "rethreads": [
                {
                    "hooping": each.hooping,
                    "block": each.block + 1,
                    "needle": each.needle,
                    "off": each.off,
                    "on": each.on,
                }
                for each in plan.needles.rethreads
                if plan.needles.needles > 1  # with one needle that is every change of thread
            ],
            "spool_changes": [
                {
                    "thread": each.end.thread,
                    "hooping": each.end.hooping,
                    "block": each.end.block + 1,
                    "inside_block": each.end.inside,
                    "off": each.end.off,
                    "on": each.end.on,
                    "needle": each.needle,
                    "on_needle": each.on_needle,
                    "ready_from": each.ready_from,
                    "stops": each.stops,
                }
                for each in plan.spool_changes
            ],
        },
        "copies_compared": [_copies(option) for option in plan.copies],
    }


def design_as_data(design: AskedDesign) -> dict[str, Any]:
    return {
        "name": design.name,
        "sha256": design.sha256,
        "format": design.format,
        "width_mm": round(design.width_mm, 1),
        "height_mm": round(design.height_mm, 1),
        "stitches": design.stitches,
        "trims": design.trims,
        "stops": design.stops,
        "warnings": list(design.warnings),
        "graded_warnings": [
            {"grade": GRADE_IN_WORDS[each.grade], "text": each.text} for each in design.graded_warnings
        ],
    }


def read_design_as_data(design: AskedDesign, settings: ThreadSettings) -> dict[str, Any]:
    """Return a design with its blocks, each with the thread of one piece before any factor or thread change."""
    return design_as_data(design) | {
        "blocks": [
            _block_as_data(
                block,
                needle=needle_laid_mm(block.sums, settings),
                bobbin=bobbin_laid_mm(block.sums, settings),
                measured="laid",
            )
            for block in design.blocks
        ]
    }


def shopping_rows(plan: BatchPlan) -> list[dict[str, Any]]:
    """Return one row for each material that must be bought, also where nobody is known to sell it.

    What orders and drafts bring by the day is counted first: only the rest is to be bought.
    """
    rows = []

    def lacks(what: str, material: str, missing: int, purchase: PackPurchase | None) -> None:
        """Add the row of what is still to be bought; ``missing`` and ``purchase`` are of all that is not there."""
        rest = missing - _on_its_way(plan, material)
        if rest > 0 or not missing:
            rows.append(_row(what, max(0, rest), _packs_for(rest, purchase, of=missing), plan.material_day))

    for thread in plan.threads:
        if thread.is_asked and thread.missing_mm and thread.verdict != "enough":
            material = shade_material(thread.to_buy.id) if thread.to_buy else ""
            lacks(_what(thread), material, thread.missing_mm, thread.purchase)
    bobbins = plan.bobbins
    if bobbins.purchase:
        each_mm = round(bobbins.needed_mm / bobbins.count) if bobbins.count else 0
        offer = bobbins.purchase.offer
        coming = _on_its_way(plan, bobbin_material(bobbins.style_id, bobbins.shade_id))
        packs = bobbins.purchase.packs - coming // max(1, offer.pack)
        if packs > 0:
            lacking = packs * offer.pack * each_mm
            bought = replace(bobbins.purchase, packs=packs)
            rows.append(
                _row(_("bobbins: {thread}").format(thread=bobbins.thread), lacking, bought, plan.material_day)
            )
    for layer in plan.stabilizer:
        material = roll_material(layer.product_id) if layer.product_id else ""
        if layer.missing_mm or (not layer.product and layer.verdict != "enough"):
            lacks(layer.product or _(layer.kind), material, layer.missing_mm, layer.purchase)
        elif layer.spray and (missing := layer.spray.missing_mg - _on_its_way(plan, material)) > 0:
            rows.append(_row(layer.product, 0, None, plan.material_day) | {"need_mg": missing})
    return rows


def on_order_rows(plan: BatchPlan) -> list[dict[str, Any]]:
    """Return what orders and drafts bring of all that the plan lacks, by order."""
    names = {shade_material(each.to_buy.id): _what(each) for each in plan.threads if each.to_buy}
    names |= {roll_material(each.product_id): each.product for each in plan.stabilizer}
    return [
        {
            "what": names.get(each.material) or _("bobbins: {thread}").format(thread=plan.bobbins.thread),
            "quantity": round(each.quantity),
            "order": each.order,
            "supplier": each.supplier,
            "comes_on": None if each.is_draft else each.day.isoformat(),
            "is_draft": each.is_draft,
        }
        for each in plan.on_order
    ]


def _on_its_way(plan: BatchPlan, material: str) -> int:
    """Return what orders and drafts bring of a material in time, or no later than what is bought today."""
    return dict(plan.counted).get(material, 0)


def _packs_for(rest: int, purchase: PackPurchase | None, *, of: int) -> PackPurchase | None:
    if purchase is None or rest >= of:
        return purchase
    return replace(purchase, packs=packs_needed(rest, holds=purchase.offer.holds))


def _what(thread: PlannedThread) -> str:
    shade = thread.to_buy
    if shade is None:
        named = f" ({thread.name})" if thread.name else ""
        if not thread.hex:
            return _("thread for an uncoloured block")
        return _("thread near {colour}").format(colour=thread.hex) + named
    return f"{shade.maker} {shade.range} {shade.code} {shade.name}".strip()


def _row(what: str, need_mm: int, purchase: PackPurchase | None, there_by: date | None) -> dict[str, Any]:
    order_by = purchase.order_by(there_by) if purchase else None
    return {
        "what": what,
        "need_mm": need_mm,
        "need_mg": 0,
        "packs": purchase.packs if purchase else 0,
        "put_up": purchase.offer.put_up if purchase else "",
        "supplier": purchase.offer.supplier if purchase else "",
        # What nobody knows is no price of nothing.
        "unit_price": str(purchase.offer.price) if purchase else None,
        "total": str(purchase.total) if purchase else None,
        "order_by": order_by.isoformat() if order_by else None,
    }


def _block(planned: PlannedBlock) -> dict[str, Any]:
    return {"design": planned.design} | _block_as_data(
        planned.block, needle=planned.needle_mm, bobbin=planned.bobbin_mm, measured="used"
    )


def _block_as_data(block: AskedBlock, *, needle: float, bobbin: float, measured: str) -> dict[str, Any]:
    """A block, its lengths also under keys that say what they are: ``used``, with factor and changes, or ``laid``."""
    sums = block.sums
    return {
        "block": block.number,
        "requested": {"hex": block.hex or None, "name": block.name},
        "stitches": sums.penetrations,
        "penetrations": sums.penetrations,
        "trims": sums.trims,
        "drawn_mm": round(sums.drawn_mm, 2),
        "needle_mm_per_piece": round(needle, 2),
        "bobbin_mm_per_piece": round(bobbin, 2),
        f"needle_{measured}_mm_per_piece": round(needle, 2),
        f"bobbin_{measured}_mm_per_piece": round(bobbin, 2),
    }


def shade_as_data(shade: OwnedShade) -> dict[str, Any]:
    return {
        "id": shade.id,
        "maker": shade.maker,
        "range": shade.range,
        "code": shade.code,
        "name": shade.name,
        "hex": shade.hex,
    }


def _thread(thread: PlannedThread) -> dict[str, Any]:
    choice = thread.choice
    shade = choice.shade
    return {
        "shade": shade_as_data(shade) if shade else None,
        "pinned": thread.is_pinned,
        "remembered": thread.is_remembered,
        "runners_up": [
            {"shade": shade_as_data(each.shade), "delta_e_00": round(each.delta_e_00, 1)}
            for each in thread.runners_up
        ],
        "requested": {"hex": thread.hex or None, "name": thread.name},
        "blocks": [list(pair) for pair in thread.blocks],
        "delta_e_00": None if choice.delta_e_00 is None else round(choice.delta_e_00, 1),
        "delta_e_00_from": None if choice.between is None else round(choice.between[0], 1),
        "delta_e_00_to": None if choice.between is None else round(choice.between[1], 1),
        "grey_scale_grade": choice.grade,
        "colour_verdict": thread.colour_verdict,
        "colour": colour_as_data(thread),
        "needed_mm": thread.needed_mm,
        "needed_sigma_mm": thread.needed_sigma_mm,
        "free_mm": thread.free_mm,
        "free_sigma_mm": thread.free_sigma_mm,
        "p_enough": round(thread.p_enough, 4),
        "verdict": thread.verdict,
        "reason": thread.reason,
        "pieces_possible": thread.pieces_possible,
        "missing_mm": thread.missing_mm,
        "spools": [
            {
                "label": use.label,
                "place": use.place,
                "from_piece": use.from_piece,
                "to_piece": use.to_piece,
                "needed_mm": use.needed_mm,
                "left_mm": use.left_mm,
                "lot": use.lot,
                "from_block": list(use.at_block) if use.at_block else None,
                "inside_block": use.inside,
            }
            for use in thread.spools
        ],
    }


def colour_as_data(thread: PlannedThread) -> dict[str, Any]:
    """Return how the thread stands for the colour asked for, in a word and in numbers from the gamut."""
    found = thread.given_up
    nearer = found.buy if found else None
    return {
        "source": thread.source or None,
        "is_wish": found is not None,
        "word": colour_word(thread),
        "text": found.text if found else "",
        "wished": {"hex": hex_from_lab(found.wished), "name": plain_name(found.wished)} if found else None,
        "delta_e_00": None if found is None or found.delta_e_00 is None else round(found.delta_e_00, 1),
        "given_up_delta_e_00": None if found is None or found.given_up is None else round(found.given_up, 1),
        "known": found.known if found else None,
        "nearer": {"id": nearer.id, "thread": nearer.called, "supplier": nearer.seller} if nearer else None,
        "enough_metres": [shade_as_data(shade) for shade in thread.may_have],
    }


def _instead(instead: PricedInstead) -> dict[str, Any]:
    return {
        "shades": [
            {
                "shade": shade_as_data(each.shade),
                "blocks": [list(place) for place in each.blocks],
                "need_mm": each.needed_mm,
                "packs": each.purchase.packs,
                "put_up": each.purchase.offer.put_up,
                "supplier": each.purchase.offer.supplier,
                "total": str(each.purchase.total),
            }
            for each in instead.shades
        ],
        "mean_delta_e_00": round(instead.mean_before, 2),
        "mean_delta_e_00_then": round(instead.mean_after, 2),
        "verdict_then": instead.verdict_after,
        "total": str(instead.total),
    }


def _copies(option: CopiesOption) -> dict[str, Any]:
    return {
        "copies_per_hooping": option.copies,
        "hoop": option.hoop.name,
        "hoopings": option.hoopings,
        "thread_changes": option.thread_changes,
        "rethreads": option.rethreads,
        "machine_min": round(option.machine_min, 1),
        "hands_on_min": round(option.hands_on_min, 1),
        "stabilizer_pieces": option.stabilizer_pieces,
        "stabilizer_mm2": option.stabilizer_mm2,
        "planned": option.is_planned,
    }


def _layer(layer: LayerPlan) -> dict[str, Any]:
    return {
        "product": layer.product,
        "kind": layer.kind,
        "method": layer.words,
        "pieces": layer.pieces,
        "cut_before": layer.cut_before,
        "piece_mm": list(layer.piece_mm),
        "from_offcuts": layer.cut.flat_pieces if layer.cut else 0,
        "roll_mm": layer.cut.roll_mm if layer.cut else 0,
        "bound_mm": layer.cut.bound_mm if layer.cut else 0,
        "missing_pieces": layer.missing_pieces,
        "free_mm": layer.free_mm,
        "verdict": layer.verdict,
        "holds_by": layer.holds_by,
        "comes_off": layer.comes_off,
        "spray_mg": layer.spray.needed_mg if layer.spray else 0,
        "spray_free_mg": layer.spray.free_mg if layer.spray else 0,
        "spray_missing_mg": layer.spray.missing_mg if layer.spray else 0,
        "cautions": list(layer.cautions),
    }
