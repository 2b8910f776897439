"""What must hold of stabilizer that was cut, and every place where it does not."""

from collections import Counter

from inventory.models import Entry
from planning.compute.stabilizer.layers import pieces_of
from planning.jobs.layers import Setting, job_layers, with_layers
from planning.models import Job, JobCut


def cut_problems() -> list[str]:
    """Return a sentence for every cut without its entries, and every job that more was cut for than it asks for."""
    keys = set(Entry.objects.filter(reason=Entry.Reason.CUT).values_list("key", flat=True))
    lost = [
        f"{cut.job}: {cut} are noted as cut, but no stock moved for them"
        for cut in JobCut.objects.select_related("job")
        if cut.key not in keys
    ]
    jobs = with_layers(
        Job.objects.waiting().filter(stabilizer_cuts__isnull=False, fabric__isnull=False).distinct()
    )
    setting = Setting.of(jobs)
    found = []
    for job in jobs:
        asked = job_layers(job, setting, copies=job.copies)
        needs: Counter[tuple[str, tuple[int, int]]] = Counter()
        for each in pieces_of(asked):
            needs[each.layer.name, each.piece_mm] += each.layer.count * each.hoopings
        cut: Counter[tuple[str, tuple[int, int]]] = Counter()
        for before in asked.cut_before:
            cut[before.layer, before.piece_mm] += before.count
        found += [
            f"{job}: {cut[what]} pieces of {what[0]} were cut, and it asks for {needs[what]}"
            for what in cut
            if what in needs and cut[what] > needs[what]
        ]
    return lost + found
