"""What finished jobs teach: the factors of a machine, their observations, and leaving one out or starting anew."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from inventory.compute.errors import WorkshopError
from inventory.ledger import KeyUsedForAnother
from inventory.models import ThreadRange
from planning.compute.certainty.enough import BOBBIN_PRIOR, NEEDLE_PRIOR, Factor, observed
from planning.compute.certainty.learned import JudgedObservation, Taught, learn
from planning.models import FactorReset, Job, Machine, Observation

Kind = Observation.Kind

# Effective speed strays more from machine to machine than from job to job: common practice, no source.
TIME_PRIOR = Factor(mean_log=0.0, sigma=0.20, scatter=0.08)
PRIORS: Mapping[str, Factor] = {Kind.NEEDLE: NEEDLE_PRIOR, Kind.BOBBIN: BOBBIN_PRIOR, Kind.TIME: TIME_PRIOR}


@dataclass(frozen=True)
class Learned:
    """The factors of one machine: those of thread by the id of its range; ranges that are left out have the prior."""

    needle: Mapping[int, Factor] = field(default_factory=dict)
    bobbin: Mapping[int, Factor] = field(default_factory=dict)
    time: Factor = TIME_PRIOR


@dataclass(frozen=True)
class LearnedFactor:
    """One factor as a page shows it, with all that was observed since it was last started anew."""

    kind: str
    machine: Machine
    range: ThreadRange | None
    prior: Factor
    factor: Factor
    observations: tuple[tuple[Observation, JudgedObservation], ...]

    @property
    def counted(self) -> int:
        return sum(judged.counts for _, judged in self.observations)


def learned(machine: Machine) -> Learned:
    """Return what is known of ``machine``, in two queries; the priors for one that is not kept."""
    return Learned() if machine.pk is None else learned_of([machine])[machine.pk]


def learned_of(machines: Iterable[Machine]) -> dict[int, Learned]:
    """Return what is known of each of these kept machines, by its id, in two queries for all of them."""
    own = list(machines)
    by_kind: dict[int, dict[str, dict[int, Factor]]] = {
        machine.pk: {Kind.NEEDLE: {}, Kind.BOBBIN: {}, Kind.TIME: {}} for machine in own
    }
    for (machine_id, kind, range_id), observations in _since_reset(own).items():
        by_kind[machine_id][kind][range_id or 0] = _taught(kind, observations).factor
    return {
        machine_id: Learned(
            needle=factors[Kind.NEEDLE],
            bobbin=factors[Kind.BOBBIN],
            time=factors[Kind.TIME].get(0, TIME_PRIOR),
        )
        for machine_id, factors in by_kind.items()
    }


def learned_factors(machine: Machine) -> list[LearnedFactor]:
    """Return every factor that ``machine`` has observations for, needle thread first."""
    found = _since_reset([machine])
    ranges = ThreadRange.objects.in_bulk([range_id for _, _, range_id in found if range_id])
    order = list(PRIORS)
    return sorted(
        (
            LearnedFactor(
                kind=kind,
                machine=machine,
                range=ranges.get(range_id or 0),
                prior=PRIORS[kind],
                factor=(taught := _taught(kind, observations)).factor,
                observations=tuple(zip(observations, taught.observations, strict=True)),
            )
            for (_, kind, range_id), observations in found.items()
        ),
        key=lambda each: (order.index(each.kind), str(each.range or "")),
    )


def observe(
    machine: Machine,
    kind: str,
    *,
    estimated: float,
    actual: float,
    sigma: float,
    key: str,
    at: datetime,
    by: Any,
    range: ThreadRange | None = None,
    job: Job | None = None,
) -> Observation:
    """Return the observation of ``actual`` ± ``sigma`` where ``estimated`` was reckoned, before any factor.

    One far from what all the others say is kept but not counted, until a person says that it counts. The same key
    sent again answers with the first. Raises WorkshopError for what teaches nothing.
    """
    if not key:
        raise KeyUsedForAnother("An observation needs a key, so that sending it twice teaches once.")
    observed(actual, geometry_mm=estimated, sigma_mm=sigma)  # refuses what teaches nothing
    try:
        with transaction.atomic():
            return Observation.objects.create(
                kind=kind,
                machine=machine,
                range=range,
                job=job,
                estimated=estimated,
                actual=actual,
                sigma=sigma,
                at=at,
                by=by,
                key=key,
            )
    except IntegrityError:
        earlier = Observation.objects.filter(key=key).first()
        if earlier is None:
            raise
        return earlier


def leave_out(observation: Observation, *, why: str) -> Observation:
    """Return ``observation``, no longer counted."""
    return _said(observation, False, why=why[:120] or "left out by hand")


def count_in(observation: Observation) -> Observation:
    """Return ``observation``, counted, whatever the rule for outliers says of it."""
    return _said(observation, True, why="")


def start_anew(
    machine: Machine, kind: str, *, at: datetime, by: Any, range: ThreadRange | None = None
) -> FactorReset:
    """Return the reset after which the factor is the prior again; what was observed before stays on record."""
    if kind not in PRIORS:
        raise WorkshopError(f"There is no factor called {kind}; say one of {', '.join(PRIORS)}.")
    return FactorReset.objects.create(machine=machine, kind=kind, range=range, at=at, by=by)


def take_back_reset(reset: FactorReset) -> None:
    """Delete a reset: what was observed before counts again."""
    reset.delete()


def _said(observation: Observation, counts: bool, *, why: str) -> Observation:
    observation.said, observation.why = counts, why
    observation.save(update_fields=["said", "why"])
    return observation


def _taught(kind: str, observations: Sequence[Observation]) -> Taught:
    return learn(
        PRIORS[kind],
        [observed(each.actual, geometry_mm=each.estimated, sigma_mm=each.sigma) for each in observations],
        said={number: each.said for number, each in enumerate(observations) if each.said is not None},
    )


def _since_reset(machines: Sequence[Machine]) -> dict[tuple[int, str, int | None], list[Observation]]:
    """Return what was observed of each machine's factors since they were last started anew, oldest first."""
    resets: dict[tuple[int, str, int | None], datetime] = {}
    for reset in FactorReset.objects.filter(machine__in=machines):
        place = (reset.machine_id, reset.kind, reset.range_id)
        resets[place] = max(reset.at, resets.get(place, reset.at))
    found: dict[tuple[int, str, int | None], list[Observation]] = defaultdict(list)
    observations = Observation.objects.filter(machine__in=machines).select_related("job")
    for each in observations.order_by("at", "id"):
        place = (each.machine_id, each.kind, each.range_id)
        if place not in resets or each.at > resets[place]:
            found[place].append(each)
    return found
