"""Every material that can be bought: what is free of it, what is on order, who sells it, whether it is a staple."""

import math
from collections import defaultdict
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from django.db.models import QuerySet, Sum
from django.utils.translation import gettext as _

from inventory.compute.colour.lab import Lab
from inventory.compute.knowing import NOTHING_CUT, StripsCut, of_rolls_together
from inventory.compute.on_the_way import OnTheWay
from inventory.compute.units import told_length_plainly
from inventory.ledger.use_history import bobbin_material, roll_material, shade_material
from inventory.models import (
    BobbinBatch,
    Offer,
    Reservation,
    Shade,
    Spool,
    SprayCan,
    StabilizerProduct,
    StabilizerRoll,
    Staple,
)
from inventory.orders.coming import on_the_way
from inventory.shelf.offcuts import cut_of_open
from planning.compute.buying.netting import Receipt
from planning.compute.certainty.enough import combine_free
from planning.plan.bobbins import bobbins_by_kind
from planning.plan.shelf import is_of

# Black and white are staples of every workshop (common practice, no source); what counts as one is ours.
BLACK_UP_TO_L, WHITE_FROM_L, GREY_UP_TO_CHROMA = 25.0, 92.0, 8.0


@dataclass(frozen=True)
class Material:
    """One material as buying sees it; ``free`` and the like in mm, mg for sprays, or pieces for bobbins.

    ``minimum`` is what is to be there of a staple; None where it is none.
    """

    key: str
    kind: str
    name: str
    detail: str
    hex: str | None
    free: float
    free_sigma: float
    orders: tuple[OnTheWay, ...] = ()
    offers: tuple[Offer, ...] = ()
    minimum: int | None = None
    widths_mm: tuple[int, ...] = ()  # of the rolls there are
    record: Any = field(default=None, compare=False)

    @property
    def unit(self) -> str:
        return {"thread": "mm", "stabilizer": "mm", "spray": "mg"}.get(self.kind, "pieces")

    @property
    def coming(self) -> tuple[Receipt, ...]:
        """What placed orders bring."""
        return tuple(Receipt(each.day, each.quantity) for each in self.orders if not each.is_draft)

    @property
    def drafted(self) -> tuple[Receipt, ...]:
        """What drafts would bring if they were sent today."""
        return tuple(Receipt(each.day, each.quantity) for each in self.orders if each.is_draft)

    @property
    def on_order(self) -> float:
        return sum(each.quantity for each in self.coming)

    @property
    def lab(self) -> Lab | None:
        return self.record.lab if isinstance(self.record, Shade) else None


def all_materials(*, jobs: set[int], today: date) -> dict[str, Material]:
    """Return every material that is known, by its key, in a number of queries that does not grow.

    What is set aside for one of ``jobs`` is free for them; what is set aside otherwise is not.
    """
    aside = _set_aside_elsewhere(jobs)
    offers = _offers()
    found = [*_threads(offers, aside), *_bobbins(offers, aside), *_stabilizers(offers, aside)]
    coming = on_the_way(today=today)
    minimums = _minimums()
    ever_owned = set(Spool.objects.order_by().values_list("shade_id", flat=True).distinct())
    materials = {}
    for each in found:
        minimum = minimums.get(each.key)
        if each.key not in minimums and _is_black_or_white(each) and each.record.pk in ever_owned:
            minimum = min((offer.put_up.length_mm for offer in each.offers if offer.put_up), default=None)
        materials[each.key] = replace(
            each, orders=coming.get(each.key, ()), minimum=minimum if minimum else None
        )
    return materials


def _set_aside_elsewhere(jobs: set[int]) -> dict[int, int]:
    others = Reservation.objects.exclude(holder__in=[f"job {pk}" for pk in jobs])
    return dict(others.order_by().values_list("item_id").annotate(sum=Sum("quantity")))


def _offers() -> dict[str, list[Offer]]:
    """Return offers by what they are for: ``put_up`` of a range, a bobbin or a product; cheapest first."""
    by_what: dict[str, list[Offer]] = defaultdict(list)
    for offer in Offer.objects.cheapest_first().prefetch_related("breaks"):
        if offer.put_up is not None:
            by_what[f"range {offer.put_up.range_id}"].append(offer)
        elif offer.bobbin_style_id is not None and offer.shade_id is not None:
            by_what[bobbin_material(offer.bobbin_style_id, offer.shade_id)].append(offer)
        elif offer.product_id is not None:
            by_what[roll_material(offer.product_id)].append(offer)
    return by_what


def _threads(offers: dict[str, list[Offer]], aside: dict[int, int]) -> list[Material]:
    spools: dict[int, list[tuple[float, float]]] = defaultdict(list)
    known = Spool.objects.on_the_shelf().filter(sigma__isnull=False).exclude(known=Spool.Known.UNKNOWN)
    for pk, of, on_hand, sigma in known.values_list("pk", "shade_id", "on_hand", "sigma"):
        spools[of].append((on_hand - aside.get(pk, 0), sigma or 0.0))
    materials = []
    for shade in Shade.objects.prefetch_related("range"):  # each range once
        free, sigma = combine_free(spools[shade.pk])
        of_range = offers.get(f"range {shade.range_id}", ())
        materials.append(
            Material(
                key=shade_material(shade.pk),
                kind="thread",
                name=shade.name or shade.code,
                detail=f"{shade.range} {shade.code}",
                hex=shade.hex or None,
                free=free,
                free_sigma=sigma,
                offers=tuple(offer for offer in of_range if is_of(offer, shade.pk)),
                record=shade,
            )
        )
    return materials


def _bobbins(offers: dict[str, list[Offer]], aside: dict[int, int]) -> list[Material]:
    """Return full bobbins, of each style and shade those of the length that holds most thread in all."""
    batches = BobbinBatch.objects.filter(retired_at__isnull=True).select_related("shade__range", "style")
    by_thread: dict[tuple[int, int], list[BobbinBatch]] = defaultdict(list)
    for batch in batches:
        by_thread[batch.style_id, batch.shade_id].append(batch)
    materials = []
    for (style_id, shade_id), own in by_thread.items():
        chosen = bobbins_by_kind(own, free=lambda batch: batch.on_hand)[0]
        shade, style, length = chosen[0].shade, chosen[0].style, chosen[0].length_mm
        materials.append(
            Material(
                key=bobbin_material(style_id, shade_id),
                kind="bobbins",
                name=f"{shade.range} {shade.code} {shade.name}".strip() + f", {style}",
                detail=_("bobbins with {length}").format(length=told_length_plainly(length)),
                hex=shade.hex or None,
                free=sum(each.on_hand - aside.get(each.pk, 0) for each in chosen),
                free_sigma=0.0,
                offers=tuple(offers.get(bobbin_material(style_id, shade_id), ())),
                record=chosen[0],
            )
        )
    return materials


def _stabilizers(offers: dict[str, list[Offer]], aside: dict[int, int]) -> list[Material]:
    held: dict[int, list[float]] = defaultdict(list)
    sigmas: dict[int, list[tuple[float, StripsCut]]] = defaultdict(list)
    widths: dict[int, set[int]] = defaultdict(set)
    found: QuerySet[StabilizerRoll] = StabilizerRoll.objects.filter(retired_at__isnull=True)
    cut = cut_of_open(found)
    for roll in found:
        widths[roll.product_id].add(roll.width_mm)
        if roll.is_known:
            held[roll.product_id].append(roll.on_hand - aside.get(roll.pk, 0))
            sigmas[roll.product_id].append((roll.sigma or 0.0, cut.get(roll.pk, NOTHING_CUT)))
    for can in SprayCan.objects.filter(retired_at__isnull=True):
        if can.is_known:
            held[can.product_id].append(can.on_hand - aside.get(can.pk, 0))
            sigmas[can.product_id].append((can.sigma or 0.0, NOTHING_CUT))
    materials = []
    for product in StabilizerProduct.objects.all():
        materials.append(
            Material(
                key=roll_material(product.pk),
                kind="spray" if product.kind == StabilizerProduct.Kind.SPRAY else "stabilizer",
                name=str(product),
                detail=product.in_words,
                hex=None,
                free=math.fsum(held[product.pk]),
                free_sigma=of_rolls_together(sigmas[product.pk]),
                offers=tuple(offers.get(roll_material(product.pk), ())),
                widths_mm=tuple(sorted(widths[product.pk])),
                record=product,
            )
        )
    return materials


def _minimums() -> dict[str, int]:
    minimums = {}
    for staple in Staple.objects.all():
        if staple.product_id is not None:
            key = roll_material(staple.product_id)
        elif staple.bobbin_style_id is not None:
            key = bobbin_material(staple.bobbin_style_id, staple.shade_id or 0)
        else:
            key = shade_material(staple.shade_id or 0)
        minimums[key] = staple.minimum
    return minimums


def _is_black_or_white(material: Material) -> bool:
    shade, lab = material.record, material.lab
    if not isinstance(shade, Shade) or lab is None or shade.range.purpose != shade.range.Purpose.NEEDLE:
        return False
    return (lab.a**2 + lab.b**2) ** 0.5 <= GREY_UP_TO_CHROMA and not BLACK_UP_TO_L < lab.L < WHITE_FROM_L
