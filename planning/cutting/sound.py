"""What must hold of stabilizer that was cut, and every place where it does not."""

from collections import Counter

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from inventory.models import Entry
from planning.compute.stabilizer.layers import Size, pieces_of
from planning.jobs.asked import AskedByJobs
from planning.models import Job, JobCut
from planning.plan.ask import layers_asked

Piece = tuple[str, str, Size]


def cut_problems() -> list[str]:
    """Return a sentence for every cut without its entries, and every job that more was cut for than it asks for."""
    keys = set(Entry.objects.filter(reason=Entry.Reason.CUT).values_list("key", flat=True))
    lost = [
        _("{job}: {pieces} are noted as cut, but no stock moved for them").format(job=cut.job, pieces=cut)
        for cut in JobCut.objects.select_related("job")
        if cut.key not in keys
    ]
    jobs = list(Job.objects.waiting().filter(stabilizer_cuts__isnull=False).distinct().with_everything())
    asked_by = AskedByJobs(jobs)
    return lost + [sentence for job in jobs for sentence in _too_much(job, asked_by)]


def _too_much(job: Job, asked_by: AskedByJobs) -> list[str]:
    try:
        asked = layers_asked(asked_by.of(job))
    except WorkshopError:
        return []  # its design does not lie as it is placed; the job's page says so
    needs: Counter[Piece] = Counter()
    for each in pieces_of(asked):
        needs[each.layer.kind, each.layer.method, each.piece_mm] += each.layer.count * each.hoopings
    cut: Counter[Piece] = Counter()
    for before in asked.cut_before:
        cut[before.kind, before.method, before.piece_mm] += before.count
    return [
        _("{job}: {cut} pieces of {kind} were cut, and it asks for {needs}").format(
            job=job, cut=cut[piece], kind=_(piece[0]), needs=needs[piece]
        )
        for piece in cut
        if piece in needs and cut[piece] > needs[piece]
    ]
