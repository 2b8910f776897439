"""Which owned shade stands for each requested colour: nearest first, with enough metres on the shelf."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inventory.compute.colour import Lab, delta_e_00_matrix, delta_e_76, grey_scale_grade
from planning.compute.certainty import Factor, combine_free, p_enough

# Requests nearer to each other than this may share a shade: nobody tells them apart on cloth.
# Just noticeable side by side: common practice, no source.
SAME_COLOUR = 1.0


@dataclass(frozen=True)
class OwnedSpool:
    """A spool as the planner sees it; ``sigma_mm`` is None where nobody knows what is on it."""

    id: int
    label: str
    free_mm: int
    sigma_mm: float | None
    price_per_mm: float | None = None
    place: str = ""

    @property
    def is_known(self) -> bool:
        return self.sigma_mm is not None


@dataclass(frozen=True)
class OwnedShade:
    """A shade with its spools in the order in which they would be taken."""

    id: int
    range_id: int
    maker: str
    range: str
    code: str
    name: str
    hex: str
    lab: Lab | None
    spools: tuple[OwnedSpool, ...]

    @property
    def free(self) -> tuple[float, float]:
        """Return the free length in mm and its sigma, over the spools that are known."""
        return combine_free(
            (spool.free_mm, spool.sigma_mm) for spool in self.spools if spool.sigma_mm is not None
        )

    @property
    def is_known(self) -> bool:
        return any(spool.is_known for spool in self.spools)


@dataclass(frozen=True)
class ColourRequest:
    """One requested colour and the thread it takes over the whole batch."""

    hex: str
    lab: Lab | None
    geometry_mm: float


@dataclass(frozen=True)
class Choice:
    """The shade for one request. ``shade`` is None where the request has no colour or nothing is owned."""

    shade: OwnedShade | None
    delta_e_00: float | None = None
    grade: str | None = None
    near_enough: bool = False


def choose_shades(
    requests: Sequence[ColourRequest],
    shades: Sequence[OwnedShade],
    *,
    factor: Factor,
    certainty: float,
    colour_limit: float,
) -> list[Choice]:
    """Return a choice for each request, in their order.

    The request that takes most thread chooses first. Each takes the nearest shade within ``colour_limit``
    (CIEDE2000) whose free metres cover it, on top of what was chosen before, at the ``certainty``; if none
    does, the nearest within the limit; if none is near, the nearest of all, marked as not near enough.
    Requests that can be told apart never share a shade.
    """
    choices = [Choice(None)] * len(requests)
    coloured = [index for index, request in enumerate(requests) if request.lab is not None]
    known = [shade for shade in shades if shade.lab is not None]
    if not coloured or not known:
        return choices
    asked = _array([requests[index].lab for index in coloured])
    distances = delta_e_00_matrix(asked, _array([shade.lab for shade in known]))
    apart = delta_e_00_matrix(asked, asked)
    taken: dict[int, list[int]] = {}
    for row in sorted(range(len(coloured)), key=lambda each: -requests[coloured[each]].geometry_mm):
        open_to_it = [
            column
            for column in np.argsort(distances[row], kind="stable")
            if all(apart[row, other] <= SAME_COLOUR for other in taken.get(int(column), []))
        ]
        if not open_to_it:
            continue
        near = [column for column in open_to_it if distances[row, column] <= colour_limit]

        def covers(column: int, row: int = row) -> bool:
            sharing = [*taken.get(column, []), row]
            total_mm = sum(requests[coloured[each]].geometry_mm for each in sharing)
            free_mm, sigma_mm = known[column].free
            return p_enough(total_mm, factor, free_mm=free_mm, free_sigma_mm=sigma_mm) >= certainty

        column = int(next((each for each in near if covers(int(each))), open_to_it[0]))
        taken.setdefault(column, []).append(row)
        request, shade = requests[coloured[row]], known[column]
        assert request.lab is not None
        assert shade.lab is not None
        choices[coloured[row]] = Choice(
            shade=shade,
            delta_e_00=float(distances[row, column]),
            grade=grey_scale_grade(float(delta_e_76(_array([request.lab])[0], _array([shade.lab]))[0])),
            near_enough=bool(distances[row, column] <= colour_limit),
        )
    return choices


def _array(labs: Sequence[Lab | None]) -> np.ndarray:
    return np.array([(lab.L, lab.a, lab.b) for lab in labs if lab is not None], dtype=float).reshape(-1, 3)
