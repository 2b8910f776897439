"""The bobbins that a run took, as a person counts them at its end: the shelf put right, the factor taught.

What is left on the last one can be kept as a part bobbin, which the next plans reckon with.
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from inventory.acting import held
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, as_written_here, ngettext
from inventory.ledger import Finding, Line, NotEnough, post, sigma_without
from inventory.models import BobbinBatch, Entry, PartBobbin, StockItem
from inventory.shelf.bobbins import open_bobbin, put_back_part_bobbin
from planning.compute.run.state import at_position
from planning.facts.learning import Kind as Learns
from planning.facts.learning import observe
from planning.models import Job
from planning.run.promise import bobbin_batches, machine_of
from planning.run.standing import Run, ending_key, entries_of_run, used_so_far

# How well a person tells what is left on the last bobbin, as a share of a full one: common practice, no source.
BOBBIN_SIGMA = 0.15


def settle_bobbins(
    run: Run, told: float | None, *, keep_rest: bool, at: datetime, by: Any
) -> tuple[float, PartBobbin | None]:
    """Return how many bobbins the run took, and the part bobbin that is kept of the last, with the shelf put right.

    ``told`` may have a fraction: 3.5 is three empty ones and half of a fourth, whose rest is kept where a person says
    ``keep_rest``. None is believed as it was ticked.
    """
    used = used_so_far(run.job)
    batches = {batch.pk: batch for batch in bobbin_batches(run.job)}
    gone = list(held(StockItem.objects.filter(pk__in=used, kind=StockItem.Kind.BOBBINS)))
    taken = sum(used[item.pk] for item in gone)
    if told is None:
        if keep_rest:
            raise WorkshopError(
                _("Say how many bobbins were used, such as 3.5, so that the rest can be kept.")
            )
        return float(taken), None
    if told < 0:
        raise WorkshopError(
            _("{number} bobbins cannot be used up; give 0 or more.").format(
                number=as_written_here(f"{told:g}")
            )
        )
    if keep_rest and told == math.floor(told):
        raise WorkshopError(
            _(
                "{number} bobbins used leaves nothing on the last one. With half of it left, write {half}."
            ).format(number=as_written_here(f"{told:g}"), half=as_written_here(f"{told - 0.5:g}"))
            if told
            else _("No bobbin was used, so that nothing of one is left.")
        )
    lines = _corrections(
        (math.floor(told) if keep_rest else math.ceil(told)) - taken,
        gone={item.pk: used[item.pk] for item in gone},
        batches=list(batches.values()),
    )
    lines = _as_counted(run.job, gone, lines)
    if lines:
        post(
            lines,
            reason=Entry.Reason.COUNT,
            key=ending_key(run.job, "bobbins"),
            at=at,
            by=by,
            reference=f"{run.job.holder}: bobbins counted",
        )
    kept = None
    if keep_rest:
        of = [item.pk for item in gone] or list(batches)
        kept = _rest_kept(run, of, left=math.ceil(told) - told, at=at, by=by)
    _teach(run, told, batch=next(iter(batches.values()), None), at=at, by=by)
    return told, kept


def _rest_kept(run: Run, of: list[int], *, left: float, at: datetime, by: Any) -> PartBobbin:
    """Return the part bobbin with the share ``left``, of the first of the batches ``of`` that has one to open."""
    there = BobbinBatch.objects.in_bulk(of)
    batch = next((there[pk] for pk in of if there[pk].free > 0), None)
    if batch is None:
        raise NotEnough(
            _("No bobbin of this machine's style is on the shelf, so that nothing of one is left.")
        )
    shared: dict[str, Any] = {"at": at, "by": by, "reference": f"{run.job.holder}: rest of the last bobbin"}
    part = open_bobbin(batch, key=ending_key(run.job, "part"), **shared)
    put_back_part_bobbin(
        part,
        left_mm=round(left * batch.length_mm),
        sigma_mm=BOBBIN_SIGMA * batch.length_mm,
        key=ending_key(run.job, "part-left"),
        **shared,
    )
    return part


def _teach(run: Run, told: float, *, batch: BobbinBatch | None, at: datetime, by: Any) -> None:
    machine = machine_of(run.job)
    geometry_mm = sum(at_position(run.promise.bobbin_geometry_mm, position) for position in run.done)
    if not (told > 0 and geometry_mm > 0 and run.promise.bobbin_mm and machine.pk):
        return
    observe(
        machine,
        Learns.BOBBIN,
        range=batch.shade.range if batch else None,
        job=run.job,
        estimated=geometry_mm,
        actual=told * run.promise.bobbin_mm,
        sigma=BOBBIN_SIGMA * run.promise.bobbin_mm,
        kappa_slope=run.promise.bobbin_kappa_slope,
        kappa=run.promise.kappa,
        key=ending_key(run.job, "bobbins"),
        at=at,
        by=by,
    )


def _corrections(more: int, *, gone: Mapping[int, int], batches: list[Any]) -> list[Line]:
    """Return the lines that take ``more`` bobbins off the shelf, or put back those that were not used after all."""
    lines: list[Line] = []
    if more < 0:
        for pk, quantity in gone.items():
            back = min(-more, quantity)
            if back > 0:
                lines.append(Line(StockItem(pk=pk), back))
                more += back
        return lines
    for batch in batches:
        take = min(more, batch.free)
        if take > 0:
            lines.append(Line(batch, -take))
            more -= take
    if more:
        raise NotEnough(
            ngettext(
                "{number} more bobbin was used than the shelf has. Count the bobbins first.",
                "{number} more bobbins were used than the shelf has. Count the bobbins first.",
                more,
            ).format(number=more)
        )
    return lines


def _as_counted(job: Job, gone: list[StockItem], lines: list[Line]) -> list[Line]:
    """Return ``lines`` with what is known of each batch once it is known what this run took of it."""
    own = set(entries_of_run(job).values_list("key", flat=True))
    found = {line.item.pk: line for line in lines}
    for item in gone:
        line = found.get(item.pk, Line(item, 0))
        found[item.pk] = replace(line, finding=Finding(sigma_without(item, own), item.known))
    return [found[pk] for pk in sorted(found)]
