"""What finished jobs teach: a machine's factors, how often they held, changes noticed and told, and starting anew."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

from django.db import IntegrityError
from django.utils.translation import gettext as _

from inventory.acting import whole_act
from inventory.acting.days import plain_day
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_, listed
from inventory.ledger import KeyUsedForAnother
from inventory.models import ThreadRange
from planning.compute.certainty.enough import Factor, observed
from planning.compute.certainty.learned import (
    TIME_PRIOR,
    InsideBand,
    Judged,
    Taught,
    UseSeen,
    WeighedJob,
    learn,
    thread_prior,
)
from planning.models import FactorReset, Job, Machine, Observation, ToldChange

Kind = Observation.Kind
# The place of each kind of use in what is learned; time is learned by itself.
THREAD_KINDS: Mapping[str, int] = {Kind.NEEDLE: 0, Kind.BOBBIN: 1}
KINDS = (Kind.NEEDLE, Kind.BOBBIN, Kind.TIME)
TIME = 0


@dataclass(frozen=True)
class Learned:
    """What is known of one machine: its thread, its pace, and the observations and words behind both."""

    thread: Taught = field(default_factory=lambda: learn(thread_prior(), ()))
    pace: Taught = field(default_factory=lambda: learn(TIME_PRIOR, ()))

    def of(self, kind: str, range: int | None, *, slope: float | None = None) -> Factor:
        """Return what is believed of the next use of a kind, of thread of a range; None and new ones start alike."""
        if kind == Kind.TIME:
            return self.pace.factor(TIME, 0)
        return self.thread.factor(THREAD_KINDS[kind], range or 0, slope=slope)

    @cached_property
    def needle(self) -> dict[int, Factor]:
        """The needle factors of the ranges that were weighed, by their id, for a usual job."""
        return {range: self.of(Kind.NEEDLE, range) for kind, range in self.thread.ranges if kind == 0}

    @property
    def time(self) -> Factor:
        return self.of(Kind.TIME, None)


@dataclass(frozen=True)
class SeenChange:
    """Since about ``since`` the machine uses thread otherwise: by these factors, needle and bobbin."""

    since: datetime
    needle: float
    bobbin: float


@dataclass(frozen=True)
class LearnedFactor:
    """One factor as a page shows it, with all that was observed since it was last started anew."""

    kind: str
    machine: Machine
    range: ThreadRange | None
    prior: Factor
    factor: Factor
    observations: tuple[tuple[Observation, Judged], ...]

    @property
    def counted(self) -> int:
        return sum(judged.counts for _, judged in self.observations)


@dataclass(frozen=True)
class MachineLearned:
    """All that is known of a machine: its factors, how often the stated bands held, and its changes."""

    machine: Machine
    factors: tuple[LearnedFactor, ...]
    kept: Mapping[str, InsideBand]  # by kind of use, and under "thread" of both threads together
    changes: tuple[SeenChange, ...]
    told: tuple[ToldChange, ...]


def learned(machine: Machine) -> Learned:
    """Return what is known of ``machine``, in three queries; the priors for one that is not kept."""
    return Learned() if machine.pk is None else learned_of([machine])[machine.pk]


def learned_of(machines: Iterable[Machine]) -> dict[int, Learned]:
    """Return what is known of each of these kept machines, by its id, in three queries for all of them.

    What the same observations taught once is not worked out again, and would come out the same to the last bit.
    """
    return {each.machine.pk: each.learned for each in _weighed_on(list(machines))}


def machine_learned(machine: Machine) -> MachineLearned:
    """Return all that ``machine`` taught, needle thread first."""
    (weighed,) = _weighed_on([machine])
    found: dict[tuple[str, int | None], list[tuple[Observation, Judged]]] = defaultdict(list)
    for seen, judged in weighed.judged():
        found[seen.kind, seen.range_id].append((seen, judged))
    ranges = ThreadRange.objects.in_bulk([range_id for _, range_id in found if range_id])
    untaught = Learned(learn(thread_prior(machine.bobbin_start), ()))
    factors = sorted(
        (
            LearnedFactor(
                kind=kind,
                machine=machine,
                range=ranges.get(range_id or 0),
                prior=untaught.of(kind, range_id),
                factor=weighed.learned.of(kind, range_id),
                observations=tuple(rows),
            )
            for (kind, range_id), rows in found.items()
        ),
        key=lambda each: (KINDS.index(Kind(each.kind)), str(each.range or "")),
    )
    return MachineLearned(machine, tuple(factors), weighed.kept(), weighed.changes(), tuple(weighed.told))


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
    kappa_slope: float | None = None,
    kappa: float | None = None,
) -> Observation:
    """Return the observation of ``actual`` ± ``sigma`` where ``estimated`` was reckoned, before any factor.

    ``kappa_slope`` is ∂ ln estimated / ∂κ of what was stitched, reckoned with ``kappa``. One far from what the others
    say weighs little by itself, until a person says that it counts. The same key sent again answers with the first.
    Raises WorkshopError for what teaches nothing.
    """
    if not key:
        raise KeyUsedForAnother("An observation needs a key, so that sending it twice teaches once.")
    observed(actual, geometry_mm=estimated, sigma_mm=sigma)  # refuses what teaches nothing
    try:
        return whole_act(Observation.objects.create)(
            kind=kind,
            machine=machine,
            range=range,
            job=job,
            estimated=estimated,
            actual=actual,
            sigma=sigma,
            kappa_slope=kappa_slope,
            kappa=kappa,
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
    return _said(observation, False, why=why[:120] or N_("left out by hand"))


def count_in(observation: Observation) -> Observation:
    """Return ``observation``, counted in full, however far it lies from the others."""
    return _said(observation, True, why="")


def start_anew(
    machine: Machine, kind: str, *, at: datetime, by: Any, range: ThreadRange | None = None
) -> FactorReset:
    """Return the reset after which the factor is the prior again; what was observed before stays on record."""
    if kind not in KINDS:
        raise WorkshopError(
            _("There is no factor called {kind}; say one of {kinds}.").format(
                kind=kind, kinds=", ".join(KINDS)
            )
        )
    return FactorReset.objects.create(machine=machine, kind=kind, range=range, at=at, by=by)


def take_back_reset(reset: FactorReset) -> None:
    """Delete a reset: what was observed before counts again."""
    reset.delete()


def tell_change(machine: Machine, *, key: str, at: datetime, by: Any, what: str = "") -> ToldChange:
    """Return the word that ``machine`` was set otherwise ``at`` that time, its tension above all.

    From the next job on, what was learned is known less well, and learned anew from there. Sent again with the same
    key it answers with the first.
    """
    if not key:
        raise KeyUsedForAnother("A change needs a key, so that sending it twice tells it once.")
    if machine.pk is None:
        raise WorkshopError(_("No machine is set up yet. Set one up first; then say what was changed on it."))
    return ToldChange.objects.get_or_create(
        key=key, defaults={"machine": machine, "at": at, "by": by, "what": what[:120]}
    )[0]


def take_back_change(told: ToldChange) -> None:
    """Delete the word: the machine runs as it did before."""
    told.delete()


def _said(observation: Observation, counts: bool, *, why: str) -> Observation:
    observation.said, observation.why = counts, why
    observation.save(update_fields=["said", "why"])
    return observation


class _Weighed:
    """What was observed of one machine since its factors were last started anew, job by job, oldest first."""

    def __init__(
        self,
        machine: Machine,
        *,
        told: Sequence[ToldChange],
        resets: Sequence[FactorReset],
        observations: Sequence[Observation],
    ) -> None:
        self.machine, self.told = machine, told
        anew: dict[tuple[str, int | None], datetime] = {}
        for reset in resets:
            place = (reset.kind, reset.range_id)
            anew[place] = max(reset.at, anew.get(place, reset.at))
        jobs: dict[tuple[str, object], list[Observation]] = defaultdict(list)
        for each in observations:
            place = (each.kind, each.range_id)
            if place not in anew or each.at > anew[place]:
                group = "time" if each.kind == Kind.TIME else "thread"
                jobs[group, each.job_id or each.key].append(each)
        self.thread = [rows for (group, _), rows in jobs.items() if group == "thread"]
        self.pace = [rows for (group, _), rows in jobs.items() if group == "time"]

    @cached_property
    def learned(self) -> Learned:
        words = sorted(each.at for each in self.told)
        last = self.thread[-1][0].at if self.thread else None
        since = bool(words) and last is not None and words[-1] > last
        return Learned(
            learn(thread_prior(self.machine.bobbin_start), self._thread_jobs, changed_since=since),
            learn(TIME_PRIOR, self._pace_jobs),
        )

    @cached_property
    def _thread_jobs(self) -> tuple[WeighedJob, ...]:
        jobs = []
        before: datetime | None = None
        for rows in self.thread:
            at = rows[0].at
            told = before is not None and any(before < each.at <= at for each in self.told)
            jobs.append(WeighedJob(tuple(map(self._weigh_back, rows)), told))
            before = at
        return tuple(jobs)

    @cached_property
    def _pace_jobs(self) -> tuple[WeighedJob, ...]:
        return tuple(
            WeighedJob(tuple(UseSeen(TIME, 0, *_log_ratio(each), 0.0, each.said) for each in rows))
            for rows in self.pace
        )

    def _weigh_back(self, seen: Observation) -> UseSeen:
        log_ratio, sigma = _log_ratio(seen)
        if seen.kappa is not None and seen.kappa_slope is not None:
            # As if it had been reckoned with the κ that the machine is set to now.
            log_ratio -= seen.kappa_slope * (self.machine.kappa - seen.kappa)
        return UseSeen(
            THREAD_KINDS[seen.kind], seen.range_id or 0, log_ratio, sigma, seen.kappa_slope, seen.said
        )

    def judged(self) -> list[tuple[Observation, Judged]]:
        """Return each observation with how it was judged."""
        pairs = ((self.thread, self.learned.thread), (self.pace, self.learned.pace))
        return [
            each
            for jobs, taught in pairs
            for rows, answers in zip(jobs, taught.judged, strict=True)
            for each in zip(rows, answers, strict=True)
        ]

    def kept(self) -> dict[str, InsideBand]:
        thread = {
            str(name): self.learned.thread.kept(kind, jobs=self._thread_jobs)
            for name, kind in THREAD_KINDS.items()
        }
        both = self.learned.thread.kept(jobs=self._thread_jobs)
        return {"thread": both, **thread, "time": self.learned.pace.kept(jobs=self._pace_jobs)}

    def changes(self) -> tuple[SeenChange, ...]:
        return tuple(
            SeenChange(self.thread[each.job - 1][0].at, *map(math.exp, each.effects))
            for each in self.learned.thread.changes
        )


def _weighed_on(machines: Sequence[Machine]) -> list[_Weighed]:
    """Return what was observed of each of the machines, in three queries for all of them."""
    told: dict[int, list[ToldChange]] = defaultdict(list)
    resets: dict[int, list[FactorReset]] = defaultdict(list)
    observations: dict[int, list[Observation]] = defaultdict(list)
    for word in ToldChange.objects.filter(machine__in=machines).select_related("by"):
        told[word.machine_id].append(word)
    for reset in FactorReset.objects.filter(machine__in=machines):
        resets[reset.machine_id].append(reset)
    seen = Observation.objects.filter(machine__in=machines).select_related("job")
    for each in seen.order_by("at", "id"):
        observations[each.machine_id].append(each)
    return [
        _Weighed(each, told=told[each.pk], resets=resets[each.pk], observations=observations[each.pk])
        for each in machines
    ]


def _log_ratio(seen: Observation) -> tuple[float, float]:
    return observed(seen.actual, geometry_mm=seen.estimated, sigma_mm=seen.sigma)


def kept_in_words(kept: InsideBand) -> str:
    """Return how often the stated bands held, and what it means where that is too seldom.

    >>> kept_in_words(InsideBand(20, 18))
    'Of the last 20 weigh-backs, 18 fell inside the 95 % band.'
    """
    if not kept.of:
        return _("Nothing was weighed back yet, so nobody knows how well the stated bands hold.")
    if kept.of == 1:
        text = (
            _("The one weigh-back so far fell inside the 95 % band.")
            if kept.inside
            else _("The one weigh-back so far fell outside the 95 % band.")
        )
    else:
        text = _("Of the last {number} weigh-backs, {inside} fell inside the 95 % band.").format(
            number=kept.of, inside=kept.inside
        )
    if kept.is_too_few:
        text += " " + _(
            "That is fewer than chance explains: a promise that says 95 % holds less often here. Leave a margin, and"
            " look at the tension, the scale and the tex of the thread."
        )
    return text


def change_in_words(change: SeenChange) -> str:
    """Return since when a machine draws more or less of which thread.

    >>> from datetime import UTC
    >>> change_in_words(SeenChange(datetime(2026, 3, 3, tzinfo=UTC), 1.01, 1.2))
    'Since about 3 March 2026 this machine draws 20 % more bobbin thread.'
    """
    told = [
        (more if factor > 1 else less).format(share=f"{abs(factor - 1):.0%}".replace("%", " %"))
        for factor, more, less in (
            (change.needle, _("{share} more needle thread"), _("{share} less needle thread")),
            (change.bobbin, _("{share} more bobbin thread"), _("{share} less bobbin thread")),
        )
        if abs(factor - 1) >= 0.05
    ]
    day = plain_day(change.since)
    return _("Since about {day} this machine draws {draws}.").format(day=day, draws=listed(told))


def learned_as_data(known: MachineLearned) -> dict[str, Any]:
    """Return what a machine taught, as scripts get it."""

    def factor(each: Factor) -> dict[str, float]:
        low, high = (math.exp(each.quantile(p)) for p in (0.025, 0.975))
        return {"median": each.median, "next_job_low": low, "next_job_high": high}

    return {
        "machine": known.machine.name,
        "factors": [
            {
                "kind": str(each.kind),
                "range": str(each.range or ""),
                **factor(each.factor),
                "before": factor(each.prior),
                "observations": len(each.observations),
                "counted": each.counted,
            }
            for each in known.factors
        ],
        "band": {
            name: {"weigh_backs": kept.of, "inside": kept.inside, "too_few": kept.is_too_few}
            for name, kept in known.kept.items()
        },
        "changes": [
            {
                "since": each.since.date().isoformat(),
                "needle": each.needle,
                "bobbin": each.bobbin,
                "text": change_in_words(each),
            }
            for each in known.changes
        ],
        "told": [{"id": each.pk, "at": each.at.isoformat(), "what": each.what} for each in known.told],
    }


def latest_told(machine: Machine) -> ToldChange:
    """Return the last word of a change on ``machine``. Raises WorkshopError where there is none."""
    told = machine.told_changes.first()
    if told is None:
        raise WorkshopError(_("Nobody has said that {machine} was set otherwise.").format(machine=machine))
    return told
