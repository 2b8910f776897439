"""What is carried out beside requests: by a worker, or by the site itself where none runs."""

from django.utils import timezone

from inventory.work import Carrying, long_work
from planning.library.importing import carry_out
from planning.plan.ask import chosen_machine


@long_work
def carry_out_import(work: Carrying, run_id: int) -> str:
    """Import the files that a run waits with."""
    run = carry_out(
        run_id, trim_at_jumps=chosen_machine(None).trim_at_jumps, clock=timezone.now, progress=work.progress
    )
    if run is None:
        return "Nothing was left to do."
    return f"{run.kept} kept, {run.known} known already, {run.refused} refused."
