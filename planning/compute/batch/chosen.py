"""The shades that are chosen together for the blocks of a batch, before anything is reckoned of their spools."""

from collections.abc import Sequence
from dataclasses import dataclass

from planning.compute.batch.asked import Shelf, Terms
from planning.compute.batch.carrying import Carried
from planning.compute.colour.choice import ColourRequest
from planning.compute.colour.fibres import METALLIC, in_one_fibre
from planning.compute.colour.rules import Conditions
from planning.compute.colour.substitution import Substitution, substitute
from planning.compute.colour.wishes import wished_thread_colour

BRAND = "brand"


@dataclass(frozen=True)
class ChosenTogether:
    """The shades chosen together for a batch: ``members`` are the blocks of each request, by their index.

    ``sharing`` are the requests, by their place, that go in one thread: in the order in which it is first stitched.
    """

    members: tuple[tuple[int, ...], ...]
    requests: tuple[ColourRequest, ...]
    conditions: Conditions
    together: Substitution
    sharing: tuple[tuple[int, ...], ...]

    def furthest(self, numbers: Sequence[int]) -> int:
        """Return which of the requests of one thread it is furthest off."""
        return max(numbers, key=lambda number: self.together.choices[number].delta_e_00 or 0.0)

    def blocks_of(self, numbers: Sequence[int]) -> list[int]:
        """Return the blocks of the requests of one thread, in order."""
        return sorted(index for number in numbers for index in self.members[number])


def choose_together(carried: Carried, shelf: Shelf, terms: Terms) -> ChosenTogether:
    """Return the shades that are chosen from a shelf for the blocks of a batch."""
    groups: dict[object, list[int]] = {}
    for index, block in enumerate(carried.blocks):
        groups.setdefault(block.colour, []).append(index)
    members = tuple(map(tuple, groups.values()))
    requests = requests_of(carried, members, terms)
    conditions = conditions_on(shelf, requests, conditions_of(carried, members, terms), terms)
    together = substitute(requests, shelf.shades, conditions)
    shared: dict[object, list[int]] = {}
    for number, choice in enumerate(together.choices):
        # A shade that is not near enough is no stock of either colour: nothing is shared then.
        key = choice.shade.id if choice.shade and choice.near_enough else ("apart", number)
        shared.setdefault(key, []).append(number)
    return ChosenTogether(members, requests, conditions, together, tuple(map(tuple, shared.values())))


def requests_of(
    carried: Carried, members: Sequence[Sequence[int]], terms: Terms
) -> tuple[ColourRequest, ...]:
    """Return what each of these groups of blocks, all of one colour, asks for together."""
    totals_mm = carried.needle_totals_mm(members).tolist()
    return tuple(
        _request(carried, group, total, terms) for group, total in zip(members, totals_mm, strict=True)
    )


def _request(
    carried: Carried, blocks: Sequence[int], total_mm: tuple[float, float], terms: Terms
) -> ColourRequest:
    asked = carried.blocks[blocks[0]].block
    # What a person asked for in one of the blocks holds for all of that colour; of a brand, colours are demands.
    is_wish = terms.strictness != BRAND and all(carried.blocks[index].block.is_wish for index in blocks)
    geometry_mm, path_mm = total_mm
    return ColourRequest(
        hex=asked.hex,
        lab=asked.lab,
        geometry_mm=geometry_mm,
        name=asked.name,
        sigma=asked.sigma,
        path_mm=path_mm,
        wished=wished_thread_colour(asked.lab) if is_wish and asked.lab else None,
        fibre=next((fibre for index in blocks if (fibre := carried.blocks[index].block.fibre)), "")
        if terms.one_fibre
        else "",
    )


def place_of(carried: Carried, index: int) -> tuple[int, int]:
    """Return a block of the batch as (design, block number)."""
    return carried.blocks[index].design, carried.blocks[index].block.number


def conditions_of(carried: Carried, members: Sequence[Sequence[int]], terms: Terms) -> Conditions:
    """Return what the terms ask of the shades, but for its fibre; ``members`` are blocks by request."""
    pinned = {}
    for number, group in enumerate(members):
        places = [place for index in group if (place := place_of(carried, index)) in terms.pinned]
        # What was said of this batch goes before what was said once for every file.
        for place in sorted(places, key=lambda place: place not in terms.remembered):
            pinned[number] = terms.pinned[place]
    return Conditions(
        factor=terms.needle_factor,
        range_factors=terms.range_factors,
        certainty=terms.enough_at,
        colour_limit=terms.colour_limit,
        pinned=pinned,
        excluded=terms.excluded,
    )


def conditions_on(
    shelf: Shelf, requests: Sequence[ColourRequest], conditions: Conditions, terms: Terms
) -> Conditions:
    """Return ``conditions`` with the fibre of the piece where it is to be of one, chosen from what is on the shelf.

    Where nothing is owned but metallic thread, or nothing at all, it is chosen from what can be bought.
    """
    if not terms.one_fibre:
        return conditions
    owned = any(shade.fibre != METALLIC and shade.lab is not None for shade in shelf.shades)
    return in_one_fibre(requests, shelf.shades if owned else (*shelf.shades, *shelf.on_offer), conditions)
