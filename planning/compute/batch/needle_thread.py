"""Each colour of a batch: the shade chosen, the metres needed and free, and the spools in their order."""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from inventory.compute.names.plain import plain_name
from planning.compute.batch.asked import Shelf, Terms
from planning.compute.batch.carrying import Carried
from planning.compute.batch.chosen import choose_together, place_of
from planning.compute.batch.sentences import said_of_plan
from planning.compute.batch.wished_thread import given_up, known_threads, shades_with_enough, wish_verdict
from planning.compute.buying.packs import PackPurchase, cheapest_purchase
from planning.compute.buying.priced_instead import PricedInstead, price_instead
from planning.compute.certainty.enough import (
    NEEDLE_PRIOR,
    Factor,
    missing_mm,
    need,
    p_enough,
    pieces_covered,
    verdict,
)
from planning.compute.colour import sentences as say
from planning.compute.colour.choice import Choice, ColourRequest, OwnedShade
from planning.compute.colour.fibres import spools_of_other_fibres
from planning.compute.colour.instead import buy_instead, more_of
from planning.compute.colour.rules import Conditions, lab_array
from planning.compute.colour.substitution import RunnerUp, Substitution, nearest_first, prepare
from planning.compute.colour.vision import fallen_together
from planning.compute.colour.wishes import GivenUp
from planning.compute.spools.turns import SpoolUse, choose_spools

RUNNERS_UP = 3
MOST_NOTED_PAIRS = 4


@dataclass(frozen=True)
class PlannedThread:
    """One thread over the whole batch: what asks for it, the shade chosen, and whether there is enough.

    ``blocks`` are (design, block number); ``hex`` and ``name`` are those of the first that asks. Requests that
    nobody tells apart share a thread, and ``choice`` is then that of the one furthest off. ``verdict`` is of the
    stock; ``colour_verdict`` is ``near``, ``off colour`` or ``unknown``. ``given_up`` tells how the shade stands for
    a wish of the file; it is None for a demand, and where a person has pinned a shade.
    """

    hex: str
    name: str
    blocks: tuple[tuple[int, int], ...]
    choice: Choice
    needed_mm: int
    needed_sigma_mm: int
    free_mm: int
    free_sigma_mm: int
    p_enough: float
    verdict: str
    colour_verdict: str
    kept_reason: str
    pieces_possible: int
    missing_mm: int
    spools: tuple[SpoolUse, ...]
    to_buy: OwnedShade | None
    purchase: PackPurchase | None
    is_pinned: bool
    is_remembered: bool  # pinned by what was said once for its colour
    runners_up: tuple[RunnerUp, ...]
    given_up: GivenUp | None
    # Where the colour asked for comes from: see planning.compute.colour.sources.
    source: str
    # For a block that asks for no colour and has no shade yet: the owned shades with enough metres.
    may_have: tuple[OwnedShade, ...]
    # What each piece to stitch takes before the factor, and what it loses at thread changes, in mm.
    geometry_mm: tuple[float, ...]
    path_mm: tuple[float, ...]
    factor_median: float
    relative_sigma: float
    level_sigma: float  # of that, what is the same on every job: how well the factor is known
    kappa_slope: float = 0.0  # ∂ ln geometry / ∂κ
    # How far the need may stray from ``needed_mm``, as a factor about one.
    spread: Factor = NEEDLE_PRIOR

    @property
    def reason(self) -> str:
        """Why it is short or unknown, where that is no matter of metres, in the reader's language."""
        return said_of_plan(self.kept_reason)

    @property
    def is_asked(self) -> bool:
        """Whether anything was asked of the shelf: not for a block without a colour that has no shade yet."""
        return bool(self.hex) or self.choice.shade is not None


@dataclass(frozen=True)
class PlannedThreads:
    """The threads of a batch in the order in which they are first stitched, and what a person should know."""

    threads: tuple[PlannedThread, ...]
    notes: tuple[str, ...]
    instead: tuple[PricedInstead, ...]
    mean_delta_e: float = 0.0  # over the thread that is stitched
    # The labels of spools that were left out for their fibre, by what they are spools of.
    of_other_fibres: Mapping[str, Sequence[str]] = field(default_factory=dict)


def plan_threads(carried: Carried, shelf: Shelf, terms: Terms) -> PlannedThreads:
    """Return the threads of a batch, their shades chosen together so that the whole design keeps working."""
    chosen = choose_together(carried, shelf, terms)
    requests, conditions, together = chosen.requests, chosen.conditions, chosen.together
    choices = together.choices
    wishes = [number for number, request in enumerate(requests) if request.wished]
    # What a file wishes for is of the piece's fibre: only a person asks for another.
    known = known_threads(shelf, fibre=conditions.fibres.get(wishes[0])) if wishes else ()
    labs = lab_array([each.lab for each in known])
    others: dict[int, tuple[RunnerUp, ...]] = {}
    if terms.with_advice:
        matching = together.matching if not conditions.pinned else None
        matching = matching or prepare(requests, shelf.shades, replace(conditions, pinned={}))
        others = dict(zip(matching.numbers, nearest_first(matching), strict=True))
    threads = []
    for numbers in chosen.sharing:
        worst = chosen.furthest(numbers)
        furthest, is_pinned = choices[worst], any(number in conditions.pinned for number in numbers)
        threads.append(
            _thread(
                carried,
                chosen.blocks_of(numbers),
                requests[numbers[0]],
                furthest,
                shelf,
                terms,
                is_pinned=is_pinned,
                given_up_for_it=None
                if worst in conditions.pinned
                else given_up(requests[worst], furthest, known, colour_limit=terms.colour_limit, labs=labs),
                conditions=conditions,
                fibre=conditions.fibres.get(numbers[0]),
                runners_up=tuple(each for each in others.get(numbers[0], ()) if each.shade != furthest.shade)[
                    :RUNNERS_UP
                ],
            )
        )
    notes = _notes(together, terms, conditions.pinned)
    others_left_out = spools_of_other_fibres(shelf.shades, conditions)
    if not terms.with_advice:
        return PlannedThreads(tuple(threads), notes, (), together.mean_delta_e, others_left_out)
    more = [more_of(shade) for shade in shelf.shades if shade.lab and shelf.thread_offers.get(shade.id)]
    instead = price_instead(
        buy_instead(requests, shelf.shades, [*shelf.on_offer, *more], conditions, now=together),
        offers=shelf.thread_offers,
        blocks=[[place_of(carried, index) for index in group] for group in chosen.members],
        conditions=conditions,
        owned=shelf.shades,
    )
    notes = (*notes, *_notes_for_other_eyes(requests, choices))
    return PlannedThreads(tuple(threads), notes, instead, together.mean_delta_e, others_left_out)


@dataclass(frozen=True)
class JudgedThreads:
    """How the threads of a batch stand against a shelf, in words, and how far off they are: of ``PlannedThreads``.

    ``verdicts`` are (verdict, colour verdict) of each thread, as ``PlannedThread`` has them.
    """

    verdicts: tuple[tuple[str, str], ...]
    mean_delta_e: float


def judge_threads(carried: Carried, shelf: Shelf, terms: Terms) -> JudgedThreads:
    """Return the verdicts that ``plan_threads`` would come to, without spools, purchases and advice."""
    chosen = choose_together(carried, shelf, terms)
    verdicts = []
    for numbers in chosen.sharing:
        request, choice = chosen.requests[numbers[0]], chosen.together.choices[chosen.furthest(numbers)]
        takes = _takes(carried, chosen.blocks_of(numbers), choice, terms)
        p = p_enough(takes.total_mm, takes.factor.about_one, **takes.stock)
        verdicts.append((_verdict(choice, p, request, terms)[0], _colour_verdict(request, choice, terms)))
    return JudgedThreads(tuple(verdicts), chosen.together.mean_delta_e)


@dataclass(frozen=True)
class _Takes:
    """What one thread takes over the first 0, 1, … pieces, (pieces + 1,), and what is free of its shade."""

    shade: OwnedShade | None
    factor: Factor
    slope: float
    geometry_mm: NDArray[np.float64]
    path_mm: NDArray[np.float64]

    @cached_property
    def lengths_mm(self) -> NDArray[np.float64]:
        """At the median of the shade's own factor, with what is lost at thread changes, which no factor scales.

        What is not known of the factor is taken to scatter the whole length: on the safe side.
        """
        return np.asarray(self.geometry_mm * self.factor.median + self.path_mm)

    @property
    def total_mm(self) -> float:
        return float(self.lengths_mm[-1])

    @cached_property
    def stock(self) -> dict[str, float]:
        free_mm, free_sigma_mm = self.shade.free if self.shade else (0.0, 0.0)
        return {"free_mm": free_mm, "free_sigma_mm": free_sigma_mm}


def _takes(carried: Carried, blocks: Sequence[int], choice: Choice, terms: Terms) -> _Takes:
    shade = choice.shade if choice.near_enough else None
    slope = carried.needle_slope(blocks, terms.thread)
    geometry_mm, path_mm = carried.cumulative_needle_mm(blocks)
    return _Takes(shade, terms.factor_of(shade, slope=slope), slope, geometry_mm, path_mm)


def _notes(together: Substitution, terms: Terms, pinned: Collection[int]) -> tuple[str, ...]:
    """What the choice could not hold. Which metres lack, or that nothing is near, each thread says of itself."""
    notes = [problem.text for problem in together.broken if problem.rule in ("apart", "order")]
    notes += [
        say.PINNED_FAR_OFF.format(
            code=choice.shade.code,
            difference=f"{choice.delta_e_00:.1f}",
            limit=f"{terms.colour_limit:g}",
        )
        for number, choice in enumerate(together.choices)
        if number in pinned and choice.shade and (choice.delta_e_00 or 0.0) > terms.colour_limit
    ]
    if not together.is_proven:
        notes.append(say.NOT_PROVEN.format(proof=together.proof, gap=f"{together.gap * 100:.0f}"))
    if together.must_break:
        notes.append(say.MUST_BREAK)
    return tuple(notes)


def _notes_for_other_eyes(requests: Sequence[ColourRequest], choices: Sequence[Choice]) -> list[str]:
    """What viewers whose eyes lack a kind of cone told apart as asked for, and will not as chosen."""
    pairs = [
        (request, request.lab, choice.shade.lab)
        for request, choice in zip(requests, choices, strict=True)
        if request.lab and choice.shade and choice.shade.lab and choice.near_enough
    ]
    fallen = fallen_together([tuple(asked) for _, asked, _ in pairs], [tuple(got) for _, _, got in pairs])
    notes = [
        say.FALLEN_TOGETHER.format(
            one=pairs[each.one][0].called,
            other=pairs[each.other][0].called,
            viewers=" or ".join(each.viewers),
        )
        for each in fallen[:MOST_NOTED_PAIRS]
    ]
    if len(fallen) > MOST_NOTED_PAIRS:
        more = len(fallen) - MOST_NOTED_PAIRS
        notes.append(say.ONE_MORE_FALLEN if more == 1 else say.MORE_FALLEN.format(pairs=more))
    return notes


def _thread(
    carried: Carried,
    blocks: Sequence[int],
    request: ColourRequest,
    choice: Choice,
    shelf: Shelf,
    terms: Terms,
    *,
    is_pinned: bool,
    runners_up: tuple[RunnerUp, ...],
    given_up_for_it: GivenUp | None,
    conditions: Conditions,
    fibre: str | None,
) -> PlannedThread:
    takes = _takes(carried, blocks, choice, terms)
    shade, factor, spread = takes.shade, takes.factor, takes.factor.about_one
    wanted = need(takes.total_mm, spread)
    p = p_enough(takes.total_mm, spread, **takes.stock)
    lacking = math.ceil(missing_mm(takes.total_mm, spread, certainty=terms.enough_at, **takes.stock))
    word, reason = _verdict(choice, p, request, terms, thread=_thread_sought(shelf, fibre))
    if choice.shade is None and request.lab is None:
        lacking = 0  # nothing was asked of the shelf yet
    to_buy = shade or _nearest_on_offer(request, shelf, terms, fibre=fibre)
    offers = shelf.thread_offers.get(to_buy.id, ()) if to_buy else ()
    first = carried.blocks[blocks[0]].block
    return PlannedThread(
        hex=request.hex,
        name=first.name,
        blocks=tuple(place_of(carried, index) for index in blocks),
        choice=choice,
        needed_mm=round(wanted.median_mm),
        needed_sigma_mm=round(wanted.sigma_mm),
        free_mm=round(takes.stock["free_mm"]),
        free_sigma_mm=round(takes.stock["free_sigma_mm"]),
        p_enough=p,
        verdict=word,
        colour_verdict=_colour_verdict(request, choice, terms),
        kept_reason=reason,
        pieces_possible=pieces_covered(takes.lengths_mm, spread, certainty=terms.enough_at, **takes.stock),
        missing_mm=lacking,
        spools=_spools(carried, blocks, shade, word, terms, factor=factor) if shade else (),
        to_buy=to_buy,
        purchase=cheapest_purchase(lacking, offers) if lacking else None,
        is_pinned=is_pinned,
        is_remembered=is_pinned
        and all(
            place in terms.remembered
            for index in blocks
            if (place := place_of(carried, index)) in terms.pinned
        ),
        runners_up=runners_up,
        given_up=given_up_for_it,
        source=first.source,
        may_have=shades_with_enough(request, shelf.shades, conditions, fibre=fibre)
        if choice.shade is None and request.lab is None and terms.with_advice
        else (),
        geometry_mm=tuple(np.diff(takes.geometry_mm).tolist()),
        path_mm=tuple(np.diff(takes.path_mm).tolist()),
        factor_median=factor.median,
        relative_sigma=factor.predictive_sigma,
        level_sigma=min(factor.sigma, factor.predictive_sigma),
        kappa_slope=takes.slope,
        spread=spread,
    )


def colour_verdict(choice: Choice, *, limit: float) -> str:
    """Return whether the shade of a choice is ``near`` the colour asked for, ``off colour``, or ``unknown``.

    A pinned shade may be off colour as well: that somebody wants it does not make it nearer.

    >>> colour_verdict(Choice(None), limit=5.0)
    'unknown'
    """
    if choice.shade is None or choice.delta_e_00 is None:
        return "unknown"
    return "near" if choice.delta_e_00 <= limit else "off colour"


def _colour_verdict(request: ColourRequest, choice: Choice, terms: Terms) -> str:
    if request.wished is None:
        return colour_verdict(choice, limit=terms.colour_limit)
    return wish_verdict(choice)


def _spools(
    carried: Carried, blocks: Sequence[int], shade: OwnedShade, word: str, terms: Terms, *, factor: Factor
) -> tuple[SpoolUse, ...]:
    """Spools changed early enough to be sure; where all together are enough but each with its margin is not,
    changed at even odds, for then the margins of some must serve the others; inside a block only if that
    too leaves a piece undone."""
    pieces_mm = carried.needle_loads(blocks, median=factor.median)
    ways = [(terms.enough_at, False), (0.5, False), (0.5, True)]
    for certainty, inside in ways if word == "enough" else ways[:1]:
        choice = choose_spools(
            shade.spools,
            pieces_mm=pieces_mm,
            factor=factor.about_one,
            certainty=certainty,
            may_change_inside=inside,
        )
        if choice.is_complete:
            break
    wanted = frozenset(blocks)
    margin = math.exp(factor.quantile(terms.enough_at) - factor.mean_log)

    def on_pieces(use: SpoolUse) -> SpoolUse:
        """The turn in pieces, where spools were chosen for loads."""
        own = [block for block in carried.stitched_blocks(use.from_piece - 1) if block[0] in wanted]
        return replace(
            use,
            sure_mm=round(use.needed_mm * margin),
            from_piece=carried.load(use.from_piece - 1)[0] + 1,
            to_piece=carried.load(use.to_piece - 1)[-1] + 1,
            at_block=place_of(carried, own[use.from_block][0]),
        )

    return tuple(map(on_pieces, choice.uses))


def _nearest_on_offer(
    request: ColourRequest, shelf: Shelf, terms: Terms, *, fibre: str | None
) -> OwnedShade | None:
    """The nearest shade of that fibre (None: any) that could be bought where nothing near is owned."""
    fibres = {} if fibre is None else {0: fibre}
    conditions = Conditions(colour_limit=terms.colour_limit, excluded=terms.excluded, fibres=fibres)
    matching = prepare([request], shelf.on_offer, conditions)
    if not matching.numbers or not matching.open.any():
        return None
    return matching.shades[int(np.where(matching.open[0], matching.distance[0], np.inf).argmin())]


def _thread_sought(shelf: Shelf, fibre: str | None) -> str:
    """What is looked for on the shelf, in words: its fibre is told where there are others."""
    if fibre is None or all(shade.fibre == fibre for shade in shelf.shades):
        return say.THREAD
    return say.OF_FIBRE.get(fibre, f"{fibre} thread") if fibre else say.ALL_BUT_METALLIC


def _verdict(
    choice: Choice, p: float, request: ColourRequest, terms: Terms, *, thread: str = say.THREAD
) -> tuple[str, str]:
    if choice.shade is None and request.lab is None:
        return "unknown", say.NO_COLOUR
    if choice.shade is None:
        return "short", say.NONE_OF_KNOWN_COLOUR.format(thread=thread)
    if not choice.near_enough and request.wished is not None:
        wished = plain_name(request.wished)
        return (
            "short",
            say.NONE_OF_THAT_COLOUR.format(thread=thread, wished=wished),
        )
    if not choice.near_enough:
        sentence = say.NOTHING_NEAR if thread == say.THREAD else say.NO_THREAD_NEAR
        return "short", sentence.format(
            thread=thread, difference=f"{choice.delta_e_00:.2f}", limit=f"{terms.colour_limit:g}"
        )
    if not choice.shade.is_known:
        return "unknown", say.NOBODY_KNOWS
    return verdict(p, enough_at=terms.enough_at, tight_at=terms.tight_at), ""
