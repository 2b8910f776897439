"""What keeps a whole design working when its colours are replaced, and a check of any choice against it."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from inventory.compute.colour.lab import Lab, delta_e_00_matrix
from inventory.compute.names.plain import share_a_hue
from planning.compute.certainty.enough import NEEDLE_PRIOR, Factor, p_enough
from planning.compute.colour import sentences as say
from planning.compute.colour.choice import ColourRequest, OwnedShade

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Requests nearer to each other than this may share a shade: nobody tells them apart on cloth.
# Just noticeable side by side: common practice, no source.
SAME_COLOUR = 1.0
# Colours that were apart stay half as far apart, but no more than this is asked. Common practice, no source.
FAR_ENOUGH_APART = 5.0
# From this difference of L* on it is clear which of two colours is the lighter. Common practice, no source.
CLEARLY_LIGHTER = 5.0

Rule = Literal["chosen", "excluded", "pinned", "fibre", "near", "metres", "apart", "order"]


@dataclass(frozen=True)
class Conditions:
    """What a choice must respect beside the colours themselves.

    ``range_factors`` is what was learned of thread by the id of its range; others have the ``factor``.
    ``pinned`` maps the place of a request to the id of the one shade it may have, however far off that is;
    ``excluded`` are ids of shades that are not to be used. ``fibres`` maps the place of a request to the one fibre its
    shade may be of, unless it is pinned; without it any will do. Shades of another weight are not offered.
    """

    factor: Factor = NEEDLE_PRIOR
    certainty: float = 0.95
    colour_limit: float = 5.0
    pinned: Mapping[int, int] = field(default_factory=dict)
    excluded: frozenset[int] = frozenset()
    range_factors: Mapping[int, Factor] = field(default_factory=dict)
    fibres: Mapping[int, str] = field(default_factory=dict)

    def factor_of(self, shade: OwnedShade) -> Factor:
        """Return what is believed of thread of this shade."""
        return self.range_factors.get(shade.range_id, self.factor)

    def is_of_its_fibre(self, number: int, shade: OwnedShade) -> bool:
        """Return whether the fibre of a shade lets it stand for the request in this place."""
        return self.fibres.get(number, shade.fibre) == shade.fibre


@dataclass(frozen=True)
class ChoiceProblem:
    """A rule that a choice breaks, the requests it concerns, and what that means in words."""

    rule: Rule
    requests: tuple[int, ...]
    text: str


def lab_array(labs: Sequence[Lab | None]) -> Floats:
    return np.array([(lab.L, lab.a, lab.b) for lab in labs if lab is not None], dtype=float).reshape(-1, 3)


def least_apart(asked: Floats) -> Floats:
    """Return the CIEDE2000 difference, (m, m), that shades chosen for ``asked``, (m, 3), must have at least.

    >>> least_apart(np.array([(50.0, 0.0, 0.0), (50.0, 0.0, 0.5), (90.0, 0.0, 0.0)])).round(1).tolist()
    [[0.0, 0.0, 5.0], [0.0, 0.0, 5.0], [5.0, 5.0, 0.0]]
    """
    differences = delta_e_00_matrix(asked, asked)
    floors = np.minimum(differences / 2, FAR_ENOUGH_APART)
    floors[differences <= SAME_COLOUR] = 0.0
    return np.maximum(floors, floors.T)


def clearly_lighter(asked: Floats) -> NDArray[np.bool_]:
    """Return whether each of ``asked``, (m, 3), is clearly lighter than each other: (m, m).

    >>> clearly_lighter(np.array([(50.0, 0.0, 0.0), (56.0, 0.0, 0.0)])).tolist()
    [[False, False], [True, False]]
    """
    L = asked[:, 0]
    return np.asarray(L[:, None] - L[None, :] >= CLEARLY_LIGHTER)


def within_reach(
    request: ColourRequest, distances: Floats, shades: Sequence[OwnedShade], *, limit: float, own: Bools
) -> Bools:
    """Return which ``shades`` may stand for a request that lie ``distances``, (n,), from the colour it seeks.

    A demand takes what is within the limit, and so does a wish. For a wish, moreover, those of its basic hue will do
    that are no more than the limit farther than the nearest of them that is ``own``, (n,), if any is.

    A shade that is not to be used is infinitely far.
    """
    near = (distances <= limit) & np.isfinite(distances)
    if request.wished is None or not np.isfinite(distances).any():
        return np.asarray(near)
    reach = np.inf
    of_its_hue = np.zeros_like(near)
    for one_of in (own, ~own):
        for column in np.flatnonzero(one_of)[np.argsort(distances[one_of], kind="stable")]:
            if not np.isfinite(distances[column]) or distances[column] > reach:
                break
            lab = shades[column].lab
            if lab is not None and share_a_hue(request.wished, lab):
                of_its_hue[column] = True
                reach = min(reach, float(distances[column]) + limit)
    return np.asarray(near | of_its_hue)


def choice_problems(
    chosen: Sequence[OwnedShade | None],
    requests: Sequence[ColourRequest],
    shades: Sequence[OwnedShade],
    conditions: Conditions,
) -> list[ChoiceProblem]:
    """Return every rule that the ``chosen`` shades, one for each request, break.

    A shade that is too far off is a problem of its own and stands for nothing: no other rule is asked of it. A
    request without a colour may go without a shade, and asks for the colour of the shade that is pinned to it.
    """
    if len(chosen) != len(requests):
        raise ValueError(f"{len(chosen)} shades are chosen for {len(requests)} requests")
    problems: list[ChoiceProblem] = []
    standing: list[tuple[int, OwnedShade, Lab]] = []
    offered = {shade.id: shade for shade in shades if shade.lab is not None}
    for number, (shade, request) in enumerate(zip(chosen, requests, strict=True)):
        found = _problem_of_one(number, shade, request, offered, conditions)
        if found:
            problems.append(found)
        if shade is not None and shade.lab is not None and (found is None or found.rule == "excluded"):
            standing.append((number, shade, request.sought or shade.lab))
    problems += _metres(standing, requests, conditions)
    return problems + _pairs(standing, requests)


def _problem_of_one(
    number: int,
    shade: OwnedShade | None,
    request: ColourRequest,
    offered: Mapping[int, OwnedShade],
    conditions: Conditions,
) -> ChoiceProblem | None:
    pinned = conditions.pinned.get(number)
    if pinned is not None and (shade is None or shade.id != pinned):
        return ChoiceProblem("pinned", (number,), f"{request.called} does not have the shade pinned to it.")
    if shade is None:
        if request.lab is None:
            return None
        return ChoiceProblem("chosen", (number,), f"No shade is chosen for {request.called}.")
    if shade.id not in offered:
        return ChoiceProblem(
            "chosen", (number,), f"{shade.code}, chosen for {request.called}, is not to be had."
        )
    if pinned is not None:
        return None
    if shade.id in conditions.excluded:
        return ChoiceProblem(
            "excluded", (number,), f"{shade.code} is not to be used, but is chosen for {request.called}."
        )
    if not conditions.is_of_its_fibre(number, shade):
        return ChoiceProblem(
            "fibre",
            (number,),
            f"{shade.code} is {shade.fibre}, and {request.called} is to be {conditions.fibres[number]}.",
        )
    if request.lab is None:
        return ChoiceProblem("chosen", (number,), f"{request.called} asks for no colour, yet has a shade.")
    distance = float(delta_e_00_matrix(lab_array([request.sought]), lab_array([shade.lab]))[0, 0])
    if distance > conditions.colour_limit and not _does_for_a_wish(
        number, request, shade, offered, conditions
    ):
        if request.wished is not None:
            text = f"{shade.code} is another colour than {request.called}, by ΔE00 {distance:.1f}."
            return ChoiceProblem("near", (number,), text)
        return ChoiceProblem(
            "near",
            (number,),
            f"{shade.code} differs from {request.called} by ΔE00 {distance:.1f}, beyond the limit of "
            f"{conditions.colour_limit:g}.",
        )
    return None


def _does_for_a_wish(
    number: int,
    request: ColourRequest,
    shade: OwnedShade,
    offered: Mapping[int, OwnedShade],
    conditions: Conditions,
) -> bool:
    if request.wished is None:
        return False
    usable = [
        each
        for each in offered.values()
        if each.id not in conditions.excluded and conditions.is_of_its_fibre(number, each)
    ]
    distances = delta_e_00_matrix(lab_array([request.wished]), lab_array([each.lab for each in usable]))[0]
    every = np.ones(len(usable), dtype=bool)
    reach = within_reach(request, distances, usable, limit=conditions.colour_limit, own=every)
    return bool(reach[[each.id for each in usable].index(shade.id)])


def _metres(
    standing: Sequence[tuple[int, OwnedShade, Lab]],
    requests: Sequence[ColourRequest],
    conditions: Conditions,
) -> list[ChoiceProblem]:
    users: dict[int, list[int]] = defaultdict(list)
    by_id = {shade.id: shade for _, shade, _ in standing}
    for number, shade, _ in standing:
        users[shade.id].append(number)
    problems = []
    for id, numbers in users.items():
        free_mm, sigma_mm = by_id[id].free
        factor = conditions.factor_of(by_id[id])
        needed_mm = sum(
            requests[number].geometry_mm * factor.median + requests[number].path_mm for number in numbers
        )
        p = p_enough(needed_mm, factor.about_one, free_mm=free_mm, free_sigma_mm=sigma_mm)
        if p < conditions.certainty:
            names = " and ".join(requests[number].called for number in numbers)
            problems.append(
                ChoiceProblem("metres", tuple(numbers), f"{by_id[id].code} does not surely cover {names}.")
            )
    return problems


def _pairs(
    standing: Sequence[tuple[int, OwnedShade, Lab]], requests: Sequence[ColourRequest]
) -> list[ChoiceProblem]:
    asked = lab_array([lab for _, _, lab in standing])
    got = lab_array([shade.lab for _, shade, _ in standing])
    floors, lighter, apart = least_apart(asked), clearly_lighter(asked), delta_e_00_matrix(got, got)
    problems = []
    for one, (first, shade, _) in enumerate(standing):
        for other, (second, another, _) in enumerate(standing):
            if one < other and apart[one, other] < floors[one, other]:
                sentence = say.SHARED if shade.id == another.id else say.TOO_ALIKE
                text = sentence.format(
                    one=requests[first].called,
                    other=requests[second].called,
                    difference=f"{apart[one, other]:.1f}",
                    shade=shade.code,
                    another=another.code,
                )
                problems.append(ChoiceProblem("apart", (first, second), text))
            if lighter[one, other] and got[one, 0] <= got[other, 0]:
                problems.append(
                    ChoiceProblem(
                        "order",
                        (first, second),
                        say.WRONG_ORDER.format(
                            light=requests[first].called,
                            dark=requests[second].called,
                            shade=shade.code,
                            another=another.code,
                        ),
                    )
                )
    return problems
