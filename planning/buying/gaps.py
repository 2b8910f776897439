"""The gap map of the shelf as it stands, with what the shades that would fill it cost."""

from dataclasses import dataclass

from inventory.schema.unchanged import read_as
from planning.compute.buying.packs import PackOffer
from planning.compute.colour.gaps import GapMap, Suggestion, gap_map
from planning.jobs.rests_on import CATALOGUE, STOCK, mark_of
from planning.jobs.season import kept
from planning.models import Rules
from planning.plan.shelf import needle_shades, thread_offers

MOST_SUGGESTED = 20


@dataclass(frozen=True)
class PricedSuggestion:
    """A suggestion with the cheapest pack that it can be had in; None where nobody is known to sell it."""

    suggestion: Suggestion
    offer: PackOffer | None


@dataclass(frozen=True)
class ShelfGaps:
    gaps: GapMap
    limit: float
    suggested: tuple[PricedSuggestion, ...]


def shelf_gaps(*, most: int = 5, limit: float | None = None) -> ShelfGaps:
    """Return the gap map of the planned fibre and weight, within the limit of a picture unless another is given."""
    return kept(
        ("gaps", most, limit, read_as()),
        lambda: (mark_of(CATALOGUE), mark_of(STOCK), mark_of([Rules])),
        lambda: _shelf_gaps(most=most, limit=limit),
    )


def _shelf_gaps(*, most: int, limit: float | None) -> ShelfGaps:
    rules = Rules.current()
    asked = rules.colour_limit if limit is None else limit
    shades = needle_shades(fibre=rules.fibre, weight_label=rules.weight_label)
    found = gap_map(shades, limit=asked, most=min(max(1, most), MOST_SUGGESTED))
    offers = thread_offers([each.shade for each in found.suggestions])
    suggested = tuple(
        PricedSuggestion(each, min(offers[each.shade.id], key=lambda pack: pack.price, default=None))
        for each in found.suggestions
    )
    return ShelfGaps(found, asked, suggested)
